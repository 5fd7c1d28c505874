"""What is heard becomes one text with the place and time of every word, whatever the recogniser says."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dictate import hear, speech
from dictate.credible import kept
from dictate.hear import join, transcribe
from dictate.hearings import groups
from dictate.read import RATE, Recording
from dictate.recognise import BATCH, HeardWord, Phrase, Settings
from dictate.speech import Clip, Stretch
from shared.errors import BadRecording

Samples = npt.NDArray[np.float32]


class Scripted:
    """Answers from a list; keeps the length of what it was given."""

    def __init__(self, *answers: list[Phrase]) -> None:
        self.answers: Iterator[list[Phrase]] = iter(answers)
        self.given: list[float] = []
        self.plain: list[bool] = []

    def settings(self) -> Settings:
        return {"model": "scripted", "workers": 1}

    def hear(self, sound: Samples, *, plain: bool = False) -> list[Phrase]:
        self.given.append(len(sound) / RATE)
        self.plain.append(plain)
        return next(self.answers)


def phrase(text: str, start: float, **judged: float) -> Phrase:
    """A phrase of half-second words from `start` on, each as sure as 0.9."""
    words = text.split()
    return Phrase(
        tuple(HeardWord(f" {w}", start + i / 2, start + i / 2 + 0.5, 0.9) for i, w in enumerate(words)),
        **judged,
    )


@pytest.fixture
def spoken(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Lets speech be found in the stretches given in seconds; in a gap between words, what is in `missed`."""

    def between(*seconds: tuple[float, float], missed: tuple[tuple[float, float], ...] = ()) -> None:
        def find(recording: Recording, within: Stretch | None = None, **how: float) -> list[Stretch]:
            there = [Stretch(round(a * RATE), round(b * RATE)) for a, b in (missed if within else seconds)]
            return [s for s in there if not within or within.start <= s.start < s.end <= within.end]

        monkeypatch.setattr(speech, "find", find)
        monkeypatch.setattr(speech, "faint", lambda recording, stretches: [])  # though the sound is silence

    return between


def test_words_times_and_settings(spoken: Callable[..., None]) -> None:
    spoken((5, 25), (40, 58), (70, 75))
    script = Scripted(
        [phrase("Right ear.", 1.0), phrase("Hard wax.", 10.0)],
        [phrase("Clear now.", 0.5), phrase("Dry.", 19.0)],
    )
    progress: list[tuple[float, float]] = []
    heard = transcribe(
        np.zeros(80 * RATE, np.float32), recogniser=script, progress=lambda a, b: progress.append((a, b))
    )
    assert script.given == [20.0, 23.0]
    assert heard.text == "Right ear. Hard wax. Clear now. Dry."
    assert [heard.text[slice(*w.chars)] for w in heard.words] == heard.text.split()
    assert [w.seconds for w in heard.words] == [
        (6, 6.5), (6.5, 7), (15, 15.5), (15.5, 16), (40.5, 41), (41, 41.5), (71, 71.5)
    ]  # fmt: skip
    assert {w.probability for w in heard.words} == {0.9}
    assert (heard.duration, heard.speech, heard.source) == (80.0, 43.0, "")
    assert heard.settings == {"model": "scripted", "workers": 1}
    assert progress == [(25.0, 80.0), (75.0, 80.0), (80.0, 80.0)]


def test_nobody_speaks(sine: Callable[[float, int], Samples]) -> None:
    script = Scripted()
    heard = transcribe(sine(20, RATE), recogniser=script)
    assert (heard.text, heard.words, heard.speech, heard.duration) == ("", (), 0.0, 20.0)
    assert script.given == []


def test_nobody_speaks_in_an_empty_array() -> None:
    assert transcribe(np.zeros(0, np.float32), recogniser=Scripted()).text == ""


def test_weights_are_not_needed_for_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hear, "whisper", lambda model: pytest.fail("the recogniser was loaded"))
    assert transcribe(np.zeros(RATE, np.float32)).text == ""


def test_a_bad_recording_is_refused_before_the_recogniser_is_loaded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hear, "whisper", lambda model: pytest.fail("the recogniser was loaded"))
    with pytest.raises(BadRecording):
        transcribe(tmp_path / "gone.wav")


def test_what_is_missing_is_said(record: Callable[..., Path], spoken: Callable[..., None]) -> None:
    spoken((0, 1))
    path = record("cut.wav", "wav", "pcm_s16le", 16_000)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    heard = transcribe(path, recogniser=Scripted([phrase("No bleeding.", 0)]))
    assert heard.text == "No bleeding."
    assert heard.source == str(path)
    assert heard.settings["note"] == "the last 1.5 of its 3.0 seconds are missing"


@pytest.mark.parametrize(
    ("judged", "stays"),
    [
        ({}, True),
        ({"no_speech": 0.9}, True),
        ({"log_probability": -1.5}, True),
        ({"no_speech": 0.9, "log_probability": -1.5}, False),
        ({"compression": 2.5}, False),
    ],
)
def test_made_out_of_noise_or_going_round(
    judged: dict[str, float], stays: bool, spoken: Callable[..., None]
) -> None:
    made_up = phrase("Thank you thank you.", 3.0, **judged)
    assert bool(kept(made_up)) is stays
    spoken((0, 20))
    script = Scripted([phrase("Left ear.", 1.0), made_up])
    heard = transcribe(np.zeros(20 * RATE, np.float32), recogniser=script)
    assert heard.text == ("Left ear. Thank you thank you." if stays else "Left ear.")


@pytest.mark.parametrize(
    ("text", "stays"),
    [
        ("No, no, no, no. Left.", "No, no, no, no. Left."),
        ("Hard wax, hard wax, hard wax, hard wax.", "Hard wax, hard wax, hard wax, hard wax."),
        ("Hard wax, hard wax. Hard wax hard wax, hard wax.", ""),
        ("Clear. I'm sorry, I'm sorry, I'm sorry, I'm sorry, I'm sorry, I'm", "Clear."),
        ("Left, left ear, left ear, left ear, left ear, left ear. Soft wax.", "Left, Soft wax."),
        ("one one one one one", ""),
    ],
)
def test_the_same_five_times_running(text: str, stays: str) -> None:
    assert (
        " ".join(w.text.strip() for w in kept(phrase(text, 0.0, compression=2.5 if not stays else 1.0)))
        == stays
    )


def test_a_passage_left_out_is_heard_again(spoken: Callable[..., None]) -> None:
    spoken((0, 20), missed=((4.0, 7.0),))
    script = Scripted(
        [phrase("Left ear.", 1.0), phrase("No bleeding.", 9.0)],
        [phrase("ear. Soft wax. No", 0.0)],
    )
    heard = transcribe(np.zeros(20 * RATE, np.float32), recogniser=script)
    assert heard.text == "Left ear. ear. Soft wax. No No bleeding."
    assert [w.seconds for w in heard.words][2:4] == [(2.0, 2.5), (2.5, 3.0)]
    assert script.given == [20.0, 7.0]
    assert script.plain == [False, True]
    assert "unheard_seconds" not in heard.settings


def test_what_a_second_hearing_wrote_otherwise_is_noted(spoken: Callable[..., None]) -> None:
    spoken((0, 20))
    first = Scripted([phrase("Right ear. Eighteen mm, bleeding. Dry.", 1.0)])
    second = Scripted([phrase("right ear 80 millimetres, no bleeding", 1.0)])
    heard = transcribe(np.zeros(20 * RATE, np.float32), recogniser=first, second=second)
    assert heard.text == "Right ear. Eighteen mm, bleeding. Dry."
    assert [w.also_heard for w in heard.words] == [None, None, "80", None, "no bleeding.", ""]
    sure = [w.probability or 0 for w in heard.words]
    assert max(sure[2], sure[4], sure[5]) < 0.7
    assert min(sure[0], sure[1], sure[3]) > 0.9
    assert (first.plain, second.plain) == ([False], [True])
    assert heard.settings["second_look"] == "scripted"


def test_clips_that_are_heard_at_once_depend_on_the_recording_alone(spoken: Callable[..., None]) -> None:
    spoken(*((40.0 * i, 40.0 * i + 20) for i in range(9)))

    class Together(Scripted):
        def hear_all(self, sounds: list[Samples], *, plain: bool = False) -> list[list[Phrase]]:
            self.given.append(len(sounds))
            return [[phrase("Left ear.", 1.0)] for _ in sounds]

    script = Together()
    heard = transcribe(np.zeros(400 * RATE, np.float32), recogniser=script)
    assert sorted(script.given) == [1, 1, 3, 4]
    assert [w.seconds[0] for w in heard.words[::2] if w.seconds] == [40 * i + 1 for i in range(9)]


def test_what_stays_unheard_is_counted(spoken: Callable[..., None]) -> None:
    spoken((0, 20), missed=((4.0, 7.0), (12.0, 12.5)))
    round_and_round = phrase("wax wax wax wax", 3.0, compression=3.0)
    script = Scripted([phrase("Left ear.", 1.0), round_and_round, phrase("Clear.", 9.0)], [round_and_round])
    heard = transcribe(np.zeros(20 * RATE, np.float32), recogniser=script)
    assert heard.text == "Left ear. Clear."
    assert heard.settings["unheard_seconds"] == 3.0


def test_parts_of_a_word_are_one_word() -> None:
    text, words = join(
        [
            HeardWord(" Jobson", 1.0, 1.4, 0.9),
            HeardWord("-Horne", 1.4, 1.8, 0.5),
            HeardWord(" probe,", 1.8, 2.2, 0.8),
            HeardWord(" ", 2.2, 2.3, 0.1),
        ],
        10.0,
    )
    assert text == "Jobson-Horne probe,"
    assert [w.chars for w in words] == [(0, 12), (13, 19)]
    assert [w.seconds for w in words] == [(1.0, 1.8), (1.8, 2.2)]
    assert [w.probability for w in words] == [0.5, 0.8]


parts = st.builds(
    HeardWord,
    text=st.from_regex(r"[ \n]?[ab,é-]{0,5} ?", fullmatch=True),
    start=st.floats(-5, 100),
    end=st.floats(-5, 100),
    probability=st.floats(-0.1, 1.1),
)


@given(st.lists(parts), st.floats(0, 60))
def test_whatever_is_heard_has_its_place_and_time(heard: list[HeardWord], duration: float) -> None:
    text, words = join(heard, duration)
    assert [text[slice(*w.chars)] for w in words] == text.split()
    times = [t for w in words for t in w.seconds or ()]
    assert all(0 <= t <= duration for t in times)
    assert all(a <= b for a, b in pairwise(times))


@given(st.integers(0, 200))
def test_groups_leave_no_processor_idle_at_the_end(many: int) -> None:
    """Whoever is free takes the next group: nobody works on when the others have long finished."""
    clips = [Clip((Stretch(i, i + 1),)) for i in range(many)]
    shared_out = list(groups(clips))
    assert [clip for group in shared_out for clip in group] == clips
    assert all(1 <= len(group) <= BATCH for group in shared_out)
    busy = [0, 0]
    for group in shared_out:
        busy[busy.index(min(busy))] += len(group)
    assert max(busy) - min(busy) <= 1
