"""An interrupted hearing goes on where it stopped, and gives what an undisturbed one gives, value for value."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

import pytest

from dictate.hear import transcribe
from dictate.heard_before import HeardBefore, HeardFile
from dictate.recognise import HeardWord, Phrase, Recogniser, Samples, Settings, Whisper, whisper
from shared.transcript import Transcript

SAMPLES = Path(__file__).parents[2] / "sample_audio"


class Interrupted(Exception):
    """What a killed program is in these tests."""


class Hearer:
    """Makes up words from the sound alone, a third of them missing so that there are second looks. Is interrupted
    before call number `stop`."""

    def __init__(self, stop: int = -1, beam: int = 5, words: str = "alpha beta gamma delta") -> None:
        self.stop, self.beam, self.calls = stop, beam, 0
        self._words = words.split()

    def settings(self) -> Settings:
        return {"model": "scripted", "workers": 1, "beam_size": self.beam}

    def second(self) -> Recogniser:
        return Other(self)

    def hear(self, sound: Samples, *, plain: bool = False) -> list[Phrase]:
        return self.hear_all([sound], plain=plain)[0]

    def hear_all(self, sounds: Sequence[Samples], *, plain: bool = False) -> list[list[Phrase]]:
        if 0 <= self.stop <= self.calls:
            raise Interrupted
        self.calls += 1
        return [[self._phrase(sound, plain)] for sound in sounds]

    def _phrase(self, sound: Samples, plain: bool) -> Phrase:
        drawn = hashlib.sha256(sound.tobytes() + bytes([plain])).digest()
        words = tuple(
            HeardWord(f" {self._words[d % len(self._words)]}", i + 0.1, i + d / 300, d / 256)
            for i, d in enumerate(drawn[: int(len(sound) / 16_000)])
            if i % 9 < 6
        )
        return Phrase(words, d / 1000 if (d := drawn[0]) else 0.0, -0.1)


class Other:
    """The second of a Hearer."""

    def __init__(self, first: Hearer) -> None:
        self._first = first

    def settings(self) -> Settings:
        return {"model": "other", "beam_size": self._first.beam}

    def hear(self, sound: Samples, *, plain: bool = False) -> list[Phrase]:
        return self._first.hear(sound, plain=plain)

    def hear_all(self, sounds: Sequence[Samples], *, plain: bool = False) -> list[list[Phrase]]:
        return self._first.hear_all(sounds, plain=plain)


def heard(path: Path, hearer: Hearer | Whisper, place: Path) -> tuple[Transcript, int]:
    """The transcript, and how many calls were answered by the file."""
    with HeardFile(place) as file:
        return transcribe(path, recogniser=HeardBefore(lambda: hearer, file)), file.answered


@pytest.fixture(scope="module")
def undisturbed() -> Transcript:
    return transcribe(SAMPLES / "teaching_session.opus", recogniser=Hearer())


def test_interrupted_again_and_again_it_gives_the_same(tmp_path: Path, undisturbed: Transcript) -> None:
    path, place, calls = SAMPLES / "teaching_session.opus", tmp_path / "heard", 0
    for _ in range(4):
        hearer = Hearer(stop=8)
        with pytest.raises(Interrupted):
            heard(path, hearer, place)
        calls += hearer.calls
        with place.open("ab") as file:
            file.write(place.read_bytes()[-300:-40])  # the next line, cut off by the kill
    last = Hearer()
    found, answered = heard(path, last, place)
    assert found == undisturbed
    whole = Hearer()
    assert transcribe(path, recogniser=whole) == undisturbed
    assert calls == 32
    assert answered >= calls
    assert calls + last.calls <= whole.calls  # nothing was heard twice (the same sound, by both, once only)
    assert place.stat().st_mode & 0o077 == 0


def test_heard_otherwise_it_is_heard_afresh(tmp_path: Path) -> None:
    path, place = SAMPLES / "half_pauses.ogg", tmp_path / "heard"
    heard(path, Hearer(), place)
    _, answered = heard(path, Hearer(), place)
    assert answered > 0
    other = Hearer(beam=1)
    assert heard(path, other, place)[1] == 0
    assert other.calls > 0


def test_a_place_that_cannot_be_written_is_done_without(tmp_path: Path) -> None:
    path = SAMPLES / "half_pauses.ogg"
    found, answered = heard(path, Hearer(), tmp_path / "no such folder" / "heard")
    assert found == transcribe(path, recogniser=Hearer())
    assert answered == 0


@pytest.mark.recogniser
def test_the_real_recogniser_interrupted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, place = SAMPLES / "half_pauses.ogg", tmp_path / "heard"
    expected, calls = transcribe(path), list[int]()
    hear_all = Whisper.hear_all

    def at_most_two(self: Whisper, sounds: Sequence[Samples], *, plain: bool = False) -> list[list[Phrase]]:
        calls.append(len(sounds))
        if len(calls) > 2:
            raise Interrupted
        return hear_all(self, sounds, plain=plain)

    with monkeypatch.context() as patched:
        patched.setattr(Whisper, "hear_all", at_most_two)
        with pytest.raises(Interrupted):
            heard(path, whisper("base"), place)
    found, answered = heard(path, whisper("base"), place)
    assert answered == 2
    assert found == expected.model_copy(update={"source": found.source})
