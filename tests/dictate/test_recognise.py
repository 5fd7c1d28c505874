"""The real recogniser, against human speech whose wording is known, and against nobody speaking.

Speech: jfk.flac (openai/whisper, tests; MIT), english.wav (Uberi/speech_recognition, tests; BSD), single
digits (Jakobovski/free-spoken-digit-dataset; CC BY-SA 4.0). Wording: jfk.flac from memory, agreeing with the
parts that its own test checks; the others from their tests and file names. Words are compared after Whisper's
English normaliser; none of them holds "mm" or "point", which that normaliser spoils.
"""

from __future__ import annotations

import re
import socket
import time
from itertools import pairwise
from pathlib import Path

import jiwer
import no_speech
import numpy as np
import numpy.typing as npt
import pytest
from whisper_normalizer.english import EnglishTextNormalizer

from desk.checks import UNCLEAR
from dictate.bias import nouns_prompt
from dictate.credible import kept
from dictate.hear import transcribe
from dictate.read import RATE, read
from dictate.recognise import Whisper
from extract.reader import Reader
from shared.errors import WeightsError
from shared.record import Canal, Colour, Complication, Consistency, Drum, Side, closed_values
from shared.transcript import Transcript

pytestmark = pytest.mark.recogniser

JFK = (
    "And so my fellow Americans ask not what your country can do for you ask what you can do for your country"
)
SAMPLES = Path(__file__).parents[2] / "sample_audio"
NOISES = ["silence", "white noise", "pink noise", "tones", "breathing", "suction pump"]
Samples = npt.NDArray[np.float32]
normal = EnglishTextNormalizer()


@pytest.fixture(autouse=True)
def no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever asks the network fails here."""

    def refuse(*about: object, **more: object) -> None:
        pytest.fail(f"the network was asked: {about}")

    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    monkeypatch.setattr(socket.socket, "connect", refuse)


def word_errors(said: str, heard: str) -> int:
    """Substitutions, deletions and insertions."""
    found = jiwer.process_words(normal(said), normal(heard))
    return found.substitutions + found.deletions + found.insertions


def digits(heard: str) -> str:
    """The digits that were heard, in words or figures; anything else stays a word.

    Without the normaliser, which turns "one two three" into "123" but leaves "one, 2, 3" as it is.
    """
    names = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
    parts = re.findall(r"\d|[a-z]+", heard.lower())
    return "".join(str(names.index(part)) if part in names else part for part in parts)


def well_formed(heard: Transcript) -> bool:
    times = [t for w in heard.words for t in w.seconds or ()]
    return (
        [heard.text[slice(*w.chars)] for w in heard.words] == heard.text.split()
        and all(a <= b for a, b in pairwise(times))
        and all(0 <= t <= (heard.duration or 0) for t in times)
        and all(0 < (w.probability or 0) <= 1 for w in heard.words)
    )


@pytest.mark.parametrize("model", ["base", "tiny.en"])
def test_human_speech(model: str, open_speech: Path) -> None:
    heard = transcribe(open_speech / "jfk.flac", model=model)
    assert word_errors(JFK, heard.text) == 0
    assert well_formed(heard)
    assert (heard.model, heard.settings["model"]) == (model, model)
    counted = transcribe(open_speech / "english.wav", model=model)
    assert digits(counted.text) == "123"


def test_digits_of_six_people(open_speech: Path) -> None:
    """Ten digits a person, half a second apart. Bar, ours: one in ten wrong (measured: 1 of 60)."""
    wrong = said = 0
    for person in ("george", "jackson", "lucas", "nicolas", "theo", "yweweler"):
        gap = np.zeros(RATE // 2, np.float32)
        sound = [gap]
        for digit in range(10):
            one = read(open_speech / "digits" / f"{digit}_{person}_0.wav")
            sound += [one.floats(0, len(one.samples)), gap]
        heard = transcribe(np.concatenate(sound))
        found = jiwer.process_characters("0123456789", digits(heard.text))
        wrong += found.substitutions + found.deletions + found.insertions
        said += 10
    assert wrong / said <= 0.1


def test_after_a_long_silence_times_are_the_recordings_own(open_speech: Path) -> None:
    said = read(open_speech / "jfk.flac")
    sound = said.floats(0, len(said.samples))
    quiet = np.zeros(40 * RATE, np.float32)
    heard = transcribe(np.concatenate([quiet, sound, quiet, sound]))
    assert word_errors(f"{JFK} {JFK}", heard.text) == 0
    assert well_formed(heard)
    middle = len(heard.words) // 2
    for words, start in ((heard.words[:middle], 40), (heard.words[middle:], 91)):
        assert all(start - 0.1 <= t <= start + said.seconds + 0.1 for w in words for t in w.seconds or ())


@pytest.mark.parametrize("loudness", [0.1, 1, 5])
@pytest.mark.parametrize("name", NOISES)
def test_nobody_speaks_and_nothing_is_written(name: str, loudness: float, noises: dict[str, Samples]) -> None:
    assert transcribe(np.clip(loudness * noises[name], -1, 1)).text == ""


def test_twelve_minutes_without_dictation() -> None:
    """Silence, suction, music, breathing, talk behind a wall; tests/benchmarks/bench_no_speech.py hears more.

    The talk is dictation of our own samples as from the next room. Nothing is recorded, or marked at least.
    """
    reader = Reader()
    said = read(SAMPLES / "both_ears.opus")
    for what, sound in no_speech.minutes(12, [said.floats(0, len(said.samples))]):
        heard = transcribe(sound)
        values = [v for visit in reader.read(heard) for _, v in visit.values()]
        assert what.startswith("distant") or heard.text == "", what
        assert [v for v in values if v.confidence >= UNCLEAR] == [], what


def test_a_clip_twice_is_the_same(open_speech: Path) -> None:
    once, again = (transcribe(open_speech / "english.wav") for _ in range(2))
    assert once == again


def test_the_prompt_names_no_side_finding_denial_or_number() -> None:
    """Whatever it says, the recogniser may write: so nothing that could stand in a record as a finding."""
    told = nouns_prompt().lower()
    values = [
        v for kind in (Drum, Canal, Complication, Consistency, Colour, Side) for v in closed_values(kind)
    ]
    never = [*values, "both", "no", "not", "none", "without", "grommets", "wax is", "one", "two"]
    assert [v for v in never if re.search(rf"\b{v.replace('_', ' ')}\b", told)] == []
    assert not re.search(r"\d", told)
    assert told.count(",") >= 5


def test_not_a_model(tmp_path: Path) -> None:
    for name in ("model.bin", "config.json", "tokenizer.json"):
        (tmp_path / name).write_text("{}")
    with pytest.raises(WeightsError) as refused:
        Whisper(str(tmp_path))
    assert refused.value.where == str(tmp_path)


def test_clips_heard_at_once_are_heard_as_alone(open_speech: Path) -> None:
    said = read(open_speech / "jfk.flac")
    sound = said.floats(0, len(said.samples))
    clips = [sound, sound[: 4 * RATE], np.zeros(RATE, np.float32), sound[5 * RATE :]]
    model = Whisper("tiny.en", beam=1)
    together = model.hear_all(clips)
    alone = [model.hear(clip) for clip in clips]
    assert [[w.text for p in phrases for w in p.words] for phrases in together] == [
        [w.text for p in phrases for w in p.words] for phrases in alone
    ]
    assert [kept(phrase) for phrase in together[2]] in ([], [()])


def test_words_without_an_alignment_are_the_same_words(open_speech: Path) -> None:
    said = read(open_speech / "jfk.flac")
    sound = said.floats(0, len(said.samples))
    (aligned,), (spread,) = (Whisper("tiny.en", beam=1, timed=timed).hear(sound) for timed in (True, False))
    assert [w.text.strip() for w in spread.words] == [w.text.strip() for w in aligned.words]
    assert spread.log_probability == aligned.log_probability
    times = [t for w in spread.words for t in (w.start, w.end)]
    assert times == sorted(times)
    assert 0 <= times[0] < times[-1] <= said.seconds + 0.1


def test_a_minute_within_twenty_seconds(open_speech: Path) -> None:
    """The bar is the first issue's for the main job on two cores, loading included.

    Counted in processor time, twice twenty seconds, since other work may share the machine.
    """
    said = read(open_speech / "jfk.flac")
    with_pause = np.concatenate([said.floats(0, len(said.samples)), np.zeros(4 * RATE, np.float32)])
    started = time.process_time()
    heard = transcribe(np.tile(with_pause, 4), recogniser=Whisper("base"))
    assert time.process_time() - started < 2 * 20
    assert heard.duration == pytest.approx(60, abs=0.1)
    assert word_errors(" ".join([JFK] * 4), heard.text) <= 2
