"""Sound to test with: made here, or human speech from the open data laid beside the project."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
import pytest

Samples = npt.NDArray[np.float32]
RATE = 16_000


@pytest.fixture
def sine() -> Callable[[float, int], Samples]:
    """A tone of 440 Hz at half of full scale: sine(seconds, rate)."""

    def make(seconds: float, rate: int = RATE) -> Samples:
        return (0.5 * np.sin(2 * np.pi * 440 * np.arange(round(seconds * rate)) / rate)).astype(np.float32)

    return make


@pytest.fixture
def record(tmp_path: Path, sine: Callable[[float, int], Samples]) -> Callable[..., Path]:
    """Writes a file with the tone in it, and a moving grey picture if it is to be a video."""

    def write(
        name: str,
        container: str,
        codec: str | None,
        rate: int = 48_000,
        layout: str = "mono",
        *,
        video: str | None = None,
        seconds: float = 3.0,
    ) -> Path:
        path = tmp_path / name
        with av.open(str(path), "w", format=container) as out:
            # Both tracks first: what is written starts with a list of them.
            picture = out.add_stream(video, rate=10, width=64, height=64) if video else None
            strict = {"strict": "experimental"}  # which FFmpeg's own Vorbis encoder still is
            track: Any = out.add_stream(codec, rate=rate, options=strict) if codec else None
            if track:
                track.layout, track.bit_rate = layout, 96_000
            if picture:
                _film(out, picture, seconds)
            if track:
                _sound(out, track, sine(seconds, rate))
        return path

    return write


def _film(out: Any, picture: Any, seconds: float) -> None:
    picture.pix_fmt, picture.bit_rate = "yuv420p", 100_000
    for i in range(round(10 * seconds)):
        frame = av.VideoFrame.from_ndarray(np.full((64, 64, 3), i * 5 % 255, np.uint8), format="rgb24")
        frame.pts = i
        out.mux(picture.encode(frame))
    out.mux(picture.encode(None))


def _sound(out: Any, track: Any, samples: Samples) -> None:
    coder = track.codec_context
    whole = np.repeat((samples * 32767).astype(np.int16), coder.layout.nb_channels)[None]
    frame = av.AudioFrame.from_ndarray(whole, format="s16", layout=coder.layout.name)
    frame.sample_rate, frame.pts = track.rate, 0
    kind = {"format": coder.format, "layout": coder.layout.name, "rate": track.rate}
    cut = av.AudioResampler(**kind, frame_size=1024)
    for part in [*cut.resample(frame), *cut.resample(None)]:
        out.mux(track.encode(part))
    out.mux(track.encode(None))


@pytest.fixture(scope="session")
def open_speech() -> Path:
    """The folder of open human speech; EARSIDE_OPEN_DATA names another than the one beside the project."""
    beside = Path(__file__).resolve().parents[3] / "shared" / "open-data"
    folder = Path(os.environ.get("EARSIDE_OPEN_DATA", beside)) / "speech"
    if not folder.is_dir():
        pytest.skip(
            "no open speech: put shared/open-data beside the project, or name it in EARSIDE_OPEN_DATA"
        )
    return folder


@pytest.fixture(scope="session")
def noises() -> dict[str, Samples]:
    """Half a minute each of what is heard in a clinic while nobody speaks."""
    rng = np.random.default_rng(20)
    n = 30 * RATE
    t = np.arange(n) / RATE
    white = rng.standard_normal(n)
    bins = np.arange(n // 2 + 1)
    pink = np.fft.irfft(np.fft.rfft(white) / np.sqrt(np.maximum(bins, 1)), n)
    pink /= pink.std()
    notes = sum(
        np.sin(2 * np.pi * f * t) * (np.sin(np.pi * t * s) > 0) for f, s in ((262, 2), (330, 3), (392, 1))
    )
    # Breathing: band-limited noise that swells every four seconds.
    breath = np.convolve(rng.standard_normal(n), np.hanning(9), "same") * np.maximum(
        np.sin(2 * np.pi * t / 4), 0
    )
    # A suction pump: hiss, a 50 Hz hum with overtones, and gurgles.
    hum = sum(np.sin(2 * np.pi * 50 * k * t) / k for k in range(1, 6))
    gurgle = pink * (np.sin(2 * np.pi * 7 * t) > 0.3) * (np.sin(2 * np.pi * t / 5) > 0)
    made = {
        "silence": np.zeros(n),
        "white noise": 0.1 * white,
        "pink noise": 0.1 * pink,
        "tones": 0.1 * notes,
        "breathing": 0.02 * breath,
        "suction pump": 0.05 * (pink + hum) + 0.1 * gurgle,
    }
    return {name: np.clip(sound, -1, 1).astype(np.float32) for name, sound in made.items()}
