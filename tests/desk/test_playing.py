"""Seconds of a recording as WAV, judged by Python's own reader of WAV files."""

from __future__ import annotations

import io
import wave
from pathlib import Path

import numpy as np
import pytest

from desk.playing import Player
from shared.errors import BadInput, BadRecording

RATE = 44_100


@pytest.fixture
def clicks(tmp_path: Path) -> Path:
    """Three seconds at another rate, in stereo: a tone in the second second, silence around it."""
    at = np.arange(3 * RATE) / RATE
    tone = np.where((at >= 1) & (at < 2), 0.5 * np.sin(2 * np.pi * 440 * at), 0)
    path = tmp_path / "clicks.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(np.repeat((tone * 32767).astype("<i2"), 2).tobytes())
    return path


def samples(wav: bytes) -> np.ndarray:
    with wave.open(io.BytesIO(wav)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, 16_000)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(float)


def test_exactly_these_seconds(clicks: Path) -> None:
    player = Player()
    for start, end, loud in [(0.0, 0.9, False), (1.05, 1.95, True), (2.1, 3.0, False)]:
        cut = samples(player.wav(clicks, start, end))
        assert len(cut) == pytest.approx(16_000 * (end - start), abs=1)
        assert (np.sqrt(np.mean(cut**2)) > 5_000) is np.bool_(loud)


def test_what_lies_beyond_the_end_is_left_out(clicks: Path) -> None:
    assert len(samples(Player().wav(clicks, 2.5, 9.0))) == pytest.approx(8_000, abs=20)


@pytest.mark.parametrize(("start", "end"), [(-1, 1), (2, 1), (1, 1), (0, 601), (5, 6), (float("nan"), 1)])
def test_seconds_that_are_none(clicks: Path, start: float, end: float) -> None:
    with pytest.raises(BadInput):
        Player().wav(clicks, start, end)


def test_no_recording(tmp_path: Path) -> None:
    with pytest.raises(BadRecording):
        Player().wav(tmp_path / "gone.wav", 0, 1)
