"""Where the stream is parted, how loud it is, and that the detector hears a stream as it hears a file."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

from dictate import read
from dictate.level import Meter, measure
from dictate.quick import straight
from dictate.read import RATE
from dictate.voice import FRAME, Parting, Silero, Spoken

SAMPLES = Path(__file__).parents[2] / "sample_audio"


def parted(*script: tuple[float, float]) -> list[tuple[float, float]]:
    """Seconds of each utterance; the script gives (seconds, probability) in turn."""
    parting, found = Parting(), []
    for seconds, probability in script:
        for _ in range(round(seconds * RATE / FRAME)):
            found += [s for s in [parting.frame(probability)] if s]
    found += [s for s in [parting.stop(parting._at)] if s]
    return [(round(s.start / RATE, 1), round(s.end / RATE, 1)) for s in found]


@pytest.mark.parametrize(
    ("script", "utterances"),
    [
        ([(5, 0)], []),
        ([(1, 0), (2, 0.9), (1, 0)], [(0.6, 3.2)]),  # padded before and after
        ([(1, 0), (0.06, 0.9), (1, 0)], []),  # a click
        ([(1, 0), (1, 0.9), (0.5, 0), (1, 0.9), (1, 0)], [(0.6, 3.7)]),  # a breath
        ([(1, 0), (1, 0.9), (0.5, 0.25), (1, 0.9), (1, 0.25)], [(0.6, 4.5)]),  # soft, but not silent
        ([(1, 0), (1, 0.9), (1, 0), (1, 0.9)], [(0.6, 2.2), (2.6, 4.0)]),  # it stops while speaking
        ([(13, 0.9), (0.3, 0), (2, 0.9), (1, 0)], [(0.0, 13.2), (13.2, 15.5)]),  # long: a short pause will do
    ],
)
def test_utterances_are_parted_at_pauses(
    script: list[tuple[float, float]], utterances: list[tuple[float, float]]
) -> None:
    assert parted(*script) == utterances


def test_endless_speech_is_cut_at_its_quietest() -> None:
    found = parted((20, 0.9), (0.064, 0.4), (20, 0.9))
    assert found[0] == (0.0, 20.0)
    assert all(end - start <= 24.1 for start, end in found)
    assert [end for _, end in found[:-1]] == [start for start, _ in found[1:]]  # nothing falls between
    assert found[-1][1] == pytest.approx(40.1, abs=0.1)


def test_nothing_said_before_a_stop_belongs_to_what_comes_after() -> None:
    parting = Parting()
    for _ in range(100):
        parting.frame(0.9)
    assert parting.stop(100 * FRAME) == Spoken(0, 100 * FRAME)
    for _ in range(5):
        parting.frame(0.9)
    assert parting.speaking == 100 * FRAME


def test_the_detector_hears_a_stream_as_it_hears_a_file() -> None:
    """Against faster-whisper's own call on the whole recording."""
    from faster_whisper.vad import get_vad_model  # noqa: PLC0415  (slow to import)

    samples = read.read(SAMPLES / "right_ear.opus").samples
    samples = samples[: len(samples) // FRAME * FRAME]
    whole = get_vad_model()(np.pad(samples.astype(np.float32) / np.float32(32768), (0, FRAME)))
    judge, streamed, at = Silero(), list[float](), 0
    for frames in [1, 3, 7, 50] * 100:
        if at < len(samples):
            streamed += judge(samples[at : at + frames * FRAME])
            at += frames * FRAME
    assert np.allclose(streamed, whole.ravel()[: len(streamed)], atol=1e-6)
    assert len(streamed) == len(samples) // FRAME


def test_levels_of_known_sound() -> None:
    """A full-scale sine is at -3.01 dBFS RMS: its RMS is its peak by the square root of two."""
    t = np.arange(RATE // 10) / RATE
    sine = np.round(32767 * np.sin(2 * np.pi * 500 * t)).astype(np.int16)
    assert (measure(sine, 0).rms, measure(sine, 0).peak) == (-3.0, 0.0)
    assert (measure(sine // 10, 0).rms, measure(sine // 10, 0).clipped) == (-23.0, False)
    assert measure(np.clip(2.0 * sine, -32768, 32767).astype(np.int16), 0).clipped
    assert (measure(np.zeros(9, np.int16), 0).rms, measure(np.full(9, -32768, np.int16), 0).peak) == (
        -96.0,
        0.0,
    )


def test_ten_levels_a_second_whatever_the_pieces() -> None:
    meter, samples = Meter(), np.zeros(RATE * 2, np.int16)
    pieces: Iterable[int] = range(0, len(samples), 777)
    levels = [level.at for i in pieces for level in meter.feed(samples[i : i + 777])]
    assert levels == pytest.approx([n / 10 for n in range(1, 21)])


@pytest.mark.parametrize(
    ("guess", "shown"),
    [
        (" Right ear. Hard wax.", "Right ear. Hard wax."),
        ("Patient 261. Patient 261. Patient 261.", "Patient 261."),
        ("and I'll see you, and I'll see you, and I'll see you,", "and I'll see you,"),
        ("no pain, no discharge", "no pain, no discharge"),
        ("", ""),
    ],
)
def test_a_guess_that_goes_round_in_circles_is_cut(guess: str, shown: str) -> None:
    assert straight(guess) == shown
