"""Speech is found where it is and nowhere else; clips put the words back on the recording's clock."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dictate import speech
from dictate.read import RATE, Recording, read
from dictate.speech import CLIP_SECONDS, Clip, Stretch

NOISES = ["silence", "white noise", "pink noise", "tones", "breathing", "suction pump"]


@pytest.mark.parametrize("name", NOISES)
def test_nobody_speaks(name: str, noises: dict[str, npt.NDArray[np.float32]]) -> None:
    assert speech.find(Recording.of(noises[name])) == []


def test_very_short() -> None:
    for n in (0, 1, 511, 512, 513):
        assert speech.find(Recording(np.zeros(n, np.int16))) == []


def test_speech_between_silences(open_speech: Path) -> None:
    said = read(open_speech / "jfk.flac")
    quiet = np.zeros(20 * RATE, np.int16)
    found = speech.find(Recording(np.concatenate([quiet, said.samples, quiet, said.samples])))
    assert speech.seconds(found) == pytest.approx(2 * said.seconds, abs=3)
    for stretch in found:
        into = stretch.start / RATE
        assert 19 < into < 31 or 50 < into < 62


def test_stretches_over_the_blocks_of_a_long_recording(
    open_speech: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = Recording(np.tile(read(open_speech / "jfk.flac").samples, 6))
    whole = speech.find(said)
    monkeypatch.setattr(speech, "BLOCK_SECONDS", 13)
    in_blocks = speech.find(said)
    assert speech.seconds(in_blocks) == pytest.approx(speech.seconds(whole), rel=0.05)
    assert all(a.end <= b.start for a, b in pairwise(in_blocks))
    assert all(len(s) <= (CLIP_SECONDS + 1) * RATE for s in in_blocks)


stretch_lists = st.lists(
    st.tuples(st.integers(0, 60 * RATE), st.integers(1, int(CLIP_SECONDS * RATE))), max_size=12
)


@given(stretch_lists)
def test_clips_keep_everything_in_order(gaps: list[tuple[int, int]]) -> None:
    stretches, at = [], 0
    for gap, length in gaps:
        stretches.append(Stretch(at + gap, at + gap + length))
        at += gap + length
    made = speech.clips(stretches)
    held = [s for clip in made for s in clip.stretches]
    assert all(sum(map(len, clip.stretches)) <= CLIP_SECONDS * RATE for clip in made)
    assert all(a.end <= b.start for a, b in pairwise(held))
    assert all(any(h.start <= s.start and s.end <= h.end for h in held) for s in stretches)
    assert {h.start for h in held} <= {s.start for s in stretches}
    assert {h.end for h in held} <= {s.end for s in stretches}


def test_short_pauses_stay_within_a_clip_and_long_ones_do_not() -> None:
    said = [Stretch(n * RATE, (n + 1) * RATE) for n in (0, 2, 10, 11, 14)]
    assert speech.clips(said) == [Clip((Stretch(0, 3 * RATE), Stretch(10 * RATE, 12 * RATE), said[-1]))]


def test_a_clip_ends_at_a_short_pause_when_it_is_full() -> None:
    said = [Stretch(n * 9 * RATE, (n * 9 + 8) * RATE) for n in range(5)]
    assert [c.stretches for c in speech.clips(said)] == [
        (Stretch(0, 26 * RATE),),
        (Stretch(27 * RATE, 44 * RATE),),
    ]


@given(stretch_lists.filter(bool), st.lists(st.floats(0, 40), min_size=2))
def test_times_go_back_into_the_stretches_in_order(gaps: list[tuple[int, int]], times: list[float]) -> None:
    stretches, at = [], 0
    for gap, length in gaps:
        stretches.append(Stretch(at + gap, at + gap + length))
        at += gap + length
    clip = Clip(tuple(stretches))
    placed = [clip.original(t, t) for t in sorted(times)]
    assert all(a <= b for (a, _), (b, _) in pairwise(placed))
    assert all(
        any(s.start <= a * RATE + 0.01 and b * RATE - 0.01 <= s.end for s in stretches) for a, b in placed
    )


def test_a_word_beside_a_pause_that_was_left_out() -> None:
    clip = Clip((Stretch(RATE, 3 * RATE), Stretch(10 * RATE, 12 * RATE)))
    assert clip.original(0.5, 0.9) == (1.5, 1.9)
    assert clip.original(1.8, 2.1) == (2.8, 3.0)
    assert clip.original(1.9, 2.6) == (10.0, 10.6)
    assert clip.original(3.5, 9.0) == (11.5, 12.0)


def test_a_clip_holds_the_sound_of_its_stretches() -> None:
    counted = Recording(np.arange(100, dtype=np.int16))
    heard = Clip((Stretch(10, 20), Stretch(50, 55))).samples(counted)
    assert list(np.round(heard * 32768)) == [*range(10, 20), *range(50, 55)]


@pytest.mark.parametrize(
    ("levels_db", "faint"),
    [
        ((-20, -40), []),
        ((-20, -46), [1]),
        ((-40, -44), []),
        ((-40, -50), [1]),
        ((-60, -62), [0, 1]),
    ],
)
def test_speech_from_farther_away(levels_db: tuple[float, ...], faint: list[int]) -> None:
    """Tones stand in for speech: their level is known (a sine lies 3 dB under its peak)."""
    tone = np.sqrt(2) * np.sin(2 * np.pi * 200 * np.arange(RATE) / RATE)
    recording = Recording.of(np.concatenate([10 ** (db / 20) * tone for db in levels_db]).astype(np.float32))
    stretches = [Stretch(i * RATE, (i + 1) * RATE) for i in range(len(levels_db))]
    assert speech.faint(recording, stretches) == [stretches[i] for i in faint]
