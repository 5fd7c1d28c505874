"""The listening engine, with a scripted detector and recogniser: what is told, when, and that nothing is lost."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from dictate.ahead import Ahead, Remembering
from dictate.events import (
    Behind,
    Event,
    Events,
    Faulted,
    Level,
    Paused,
    Resumed,
    SpeechBegan,
    SpeechEnded,
    Utterance,
    WordsSoFar,
)
from dictate.hear import transcribe
from dictate.journal import Journal
from dictate.live import Live
from dictate.read import RATE, Recording
from dictate.recognise import HeardWord, Phrase, Settings
from dictate.voice import FRAME
from shared.transcript import Transcript, Word

Samples = npt.NDArray[np.float32]


def loud(samples: npt.NDArray[np.int16]) -> Sequence[float]:
    """A scripted detector: whatever is loud is speech."""
    return [0.9 if np.abs(f.astype(int)).max() > 1000 else 0.0 for f in samples.reshape(-1, FRAME)]


def talk(*script: float) -> bytes:
    """Sound that is silent and spoken in turn, for these seconds. Each second's samples are its number."""
    parts = [np.full(round(s * RATE), 2000 if i % 2 else 0, np.int16) for i, s in enumerate(script)]
    return np.concatenate(parts).tobytes()


class Script:
    """A careful pass that answers with how many spoken seconds it was given; it can be held up."""

    def __init__(self) -> None:
        self.given: list[Samples] = []
        self.go = threading.Event()
        self.go.set()
        self.began = threading.Semaphore(0)

    def __call__(self, sound: Samples) -> Transcript:
        self.given.append(sound)
        self.began.release()
        assert self.go.wait(30)
        spoken = round(float(np.count_nonzero(sound) / RATE))
        word = Word(chars=(0, len(str(spoken))), seconds=(0.5, 1.0), probability=0.9)
        return Transcript(text=str(spoken), words=(word,), duration=len(sound) / RATE)


class Rig:
    """An engine on a journal, and all it told."""

    def __init__(self, folder: Path) -> None:
        self.journal = Journal.begin(folder, room=0)
        self.told: list[Event] = []
        self.careful = Script()
        self.guesses: list[float] = []
        self.made: list[Live] = []

    def quick(self, sound: Samples) -> str:
        self.guesses.append(len(sound) / RATE)
        return f"guess of {len(sound) / RATE:.1f} s"

    def live(self, *, quick: bool = False, **more: Callable[[int], bool]) -> Live:
        self.made.append(
            Live(
                self.journal, self.told.append, careful=self.careful, judge=loud,
                quick=self.quick if quick else None, **more,
            )
        )  # fmt: skip
        return self.made[-1]

    def of(self, *kinds: type[Event]) -> list[Event]:
        return [event for event in self.told if isinstance(event, kinds)]


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    rig = Rig(tmp_path)
    yield rig
    rig.careful.go.set()
    for live in rig.made:
        live.finish()
    rig.journal.close()


def feed(live: Live, pcm: bytes, piece: int = 3_200) -> None:
    for start in range(0, len(pcm), piece):
        assert live.feed(pcm[start : start + piece])


@pytest.mark.parametrize("piece", [320, 1_001, 64_000])
def test_utterances_come_out_on_the_recordings_clock(rig: Rig, piece: int) -> None:
    live = rig.live()
    feed(live, talk(1, 2, 1, 3, 1), piece)
    live.settle()
    said = [e for e in rig.told if isinstance(e, Utterance)]
    assert [(e.text, round(e.start, 1), round(e.end, 1)) for e in said] == [("2", 0.6, 3.2), ("3", 3.6, 7.2)]
    assert [[w.seconds for w in e.words] for e in said] == [[(e.start + 0.5, e.start + 1.0)] for e in said]
    turns = rig.of(SpeechBegan, SpeechEnded)
    assert [type(e) for e in turns] == [SpeechBegan, SpeechEnded] * 2
    assert len(rig.of(Level)) == pytest.approx(80, abs=1)
    live.finish()


def test_the_end_is_heard_though_no_pause_comes(rig: Rig) -> None:
    live = rig.live()
    feed(live, talk(1, 2))
    live.finish()
    assert [e.text for e in rig.told if isinstance(e, Utterance)] == ["2"]


def test_words_so_far_follow_the_speech_and_cover_its_end(rig: Rig) -> None:
    live = rig.live(quick=True)
    pcm = talk(1, 5, 1)
    for start in range(0, len(pcm), 3_200):
        live.feed(pcm[start : start + 3_200])
        live.settle()
    shown = [e for e in rig.told if isinstance(e, WordsSoFar)]
    ends = [e.end for e in shown]
    assert ends[0] <= 1 + 1.5
    assert all(later - sooner <= 1.0 for sooner, later in pairwise(ends))
    (said,) = [e for e in rig.told if isinstance(e, Utterance)]
    assert {e.start for e in shown} == {said.start}
    assert ends[-1] >= 6.0  # the last word was in the last guess
    live.finish()


def test_feeding_waits_for_no_recogniser_and_falling_behind_is_told(rig: Rig) -> None:
    live = rig.live()
    rig.careful.go.clear()
    feed(live, talk(1, 2, 1))
    assert rig.careful.began.acquire(timeout=30)
    for _ in range(11):
        feed(live, talk(1, 2, 1))
    behind = [e.seconds for e in rig.told if isinstance(e, Behind)]
    assert behind[0] == 10
    assert max(behind) >= 40
    assert not rig.of(Utterance)
    rig.careful.go.set()
    live.finish()
    # All of it was heard, the waiting ones together, and the machine has caught up.
    assert sum(int(e.text) for e in rig.told if isinstance(e, Utterance)) == 24
    assert len(rig.careful.given) < 6
    assert max(len(sound) for sound in rig.careful.given) <= 24 * RATE
    assert [e for e in rig.told if isinstance(e, Behind)][-1] == Behind(0)


def test_paused_sound_is_neither_kept_nor_heard(rig: Rig) -> None:
    live = rig.live()
    feed(live, talk(1, 2))
    live.pause()
    live.pause()
    feed(live, talk(0, 7))
    live.resume()
    live.resume()
    feed(live, talk(1, 3, 1))
    live.finish()
    assert [e.text for e in rig.told if isinstance(e, Utterance)] == ["2", "3"]
    assert rig.of(Paused, Resumed) == [Paused(3.0), Resumed(3.0)]
    assert rig.journal.received == len(talk(1, 2, 1, 3, 1))


def test_a_pause_within_a_sample_does_not_turn_what_follows_into_noise(rig: Rig) -> None:
    live = rig.live()
    live.feed(talk(1)[:-1] + b"\0\0")
    live.pause()
    live.resume()
    live.feed(talk(0, 2, 1))
    live.finish()
    rest = rig.journal.read(RATE + 1, RATE + 1 + 2 * RATE)
    assert set(rest.tolist()) == {2000}


def test_no_event_comes_after_finish(rig: Rig) -> None:
    live = rig.live(quick=True)
    feed(live, talk(1, 2, 1, 2))
    live.finish(hear_rest=False)
    told = len(rig.told)
    received = rig.journal.received
    assert not live.feed(talk(1, 2))
    assert rig.journal.received == received
    live.pause()
    live.resume()
    live.finish()
    assert len(rig.told) == told


def test_a_failing_recogniser_is_told_without_the_words_and_listening_goes_on(rig: Rig) -> None:
    def failing(sound: Samples) -> Transcript:
        if len(rig.careful.given) < 2:
            rig.careful.given.append(sound)
            raise RuntimeError("Mrs Example has wax")
        return Transcript(text="heard")

    live = Live(rig.journal, rig.told.append, careful=failing, quick=None, judge=loud)
    rig.made.append(live)
    for _ in range(3):
        feed(live, talk(1, 2, 1))
        live.settle()
    live.finish()
    (fault,) = [e for e in rig.told if isinstance(e, Faulted)]
    assert "RuntimeError" in fault.what
    assert "Example" not in fault.what + fault.remedy
    assert [e.text for e in rig.told if isinstance(e, Utterance)] == ["heard"]


def test_sound_that_cannot_be_kept_is_counted_and_noted(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    live = rig.live()
    write, full = rig.journal.write, True
    monkeypatch.setattr(rig.journal, "write", lambda pcm: not full and write(pcm))
    assert not live.feed(bytes(32_000))
    assert not live.feed(bytes(32_000))
    full = False
    assert live.feed(bytes(32_000))
    assert [e.lost for e in rig.told if isinstance(e, Faulted)] == [1.0, 2.0]
    rig.journal.flush()
    assert '"what": "lost"' in rig.journal.path.with_suffix(".jsonl").read_text()


def test_what_a_journal_held_already_is_heard(rig: Rig) -> None:
    feed(rig.live(), talk(1, 2, 1))
    rig.made[0].finish()
    rig.told.clear()
    again = Live(rig.journal, rig.told.append, careful=rig.careful, quick=None, judge=loud, heard=RATE // 2)
    rig.made.append(again)
    feed(again, talk(0, 3, 1))
    again.finish()
    said = [(e.text, round(e.start, 1)) for e in rig.told if isinstance(e, Utterance)]
    assert said == [("2", 0.6), ("3", 3.6)]


def test_leisure_is_used_only_when_nothing_waits(rig: Rig) -> None:
    steps: list[int] = []

    def idle(at: int) -> bool:
        steps.append(at)
        return len(steps) % 3 != 0

    live = rig.live(idle=idle)
    feed(live, talk(1, 2, 1))
    live.settle()
    live.finish()
    assert len(steps) >= 1
    assert steps[0] >= 3.7 * RATE


def test_an_unread_level_gives_way_to_the_next_and_words_never_do() -> None:
    events = Events()
    said = Utterance(0, 1, "wax", ())
    for i in range(1000):
        events.put(Level(i / 10, -20, -10, False))
    events.put(said)
    events.put(Level(101, -20, -10, False))
    events.close()
    events.put(said)
    assert [*events] == [said, Level(101, -20, -10, False)]
    assert events.over


class Numbered:
    """A recogniser that answers with the sound's own mean, so that other sound gives other words."""

    def __init__(self) -> None:
        self.heard: list[tuple[int, bool]] = []

    def settings(self) -> Settings:
        return {"model": "numbered", "workers": 1}

    def hear(self, sound: Samples, *, plain: bool = False) -> list[Phrase]:
        self.heard.append((len(sound), plain))
        step = len(sound) / RATE / 5
        words = [HeardWord(f" w{abs(sound).mean():.5f}", i * step, (i + 1) * step, 0.9) for i in range(5)]
        return [Phrase(tuple(words))]


def test_what_was_heard_ahead_is_what_the_file_gives(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """Four minutes, one clip after another known before the end; only what is left is heard then."""
    from dictate import speech  # noqa: PLC0415

    rng = np.random.default_rng(4)
    amplitude = np.repeat(rng.integers(500, 9000, 48), 5 * RATE)
    pcm = (amplitude * np.sign(rng.standard_normal(len(amplitude)))).astype(np.int16)
    for start in range(0, len(pcm), 12 * RATE):
        pcm[start : start + 3 * RATE] = 0

    def find(
        recording: Recording, within: speech.Stretch | None = None, **how: float
    ) -> list[speech.Stretch]:
        if within:
            return []
        full = np.abs(recording.samples.astype(int)) > 0
        edges = np.flatnonzero(np.diff(np.concatenate([[0], full.view(np.int8), [0]])))
        return [speech.Stretch(int(a), int(b)) for a, b in edges.reshape(-1, 2)]

    monkeypatch.setattr(speech, "find", find)
    rig.journal.write(pcm.tobytes())
    rig.journal.flush()
    plain = transcribe(rig.journal.path, recogniser=Numbered())
    behind = Numbered()
    hearer = Remembering(lambda: behind)
    ahead = Ahead(rig.journal.read, hearer)
    for at in range(0, len(pcm), RATE):
        while ahead.step(at):
            pass
    before = len(behind.heard)
    whole = transcribe(rig.journal.path, recogniser=hearer)
    assert whole.text == plain.text
    assert whole.words == plain.words
    assert before >= 6
    assert len(behind.heard) - before <= 3
