"""What surrounds the voice in a sample recording: suction noise, a picture, and the file it is put in."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from voices import Samples

TUBE_M = 0.065  # an ear suction tube with its handle's bore: rings near 2.6 kHz and multiples
SOUND_M_PER_S = 343.0


def suction(n: int, rate: int, seed: int) -> Samples:
    """n samples of suction noise of unit power: broadband rush, the tube's resonances, and wet gurgles.

    The rush falls 4.5 dB an octave above 400 Hz; the resonances stand at c/2L and its multiples, an open
    tube's; each gurgle is a damped sine of rising pitch, as a bubble makes. Made from `seed` alone.
    """
    chance = np.random.default_rng(seed)
    freq = np.fft.rfftfreq(n, 1 / rate)
    gain = (np.maximum(freq, 400) / 400) ** -0.75 * np.clip(freq / 200, 0, 1)
    for k, height in ((1, 2.5), (2, 1.6), (3, 1.0)):
        peak = k * SOUND_M_PER_S / (2 * TUBE_M)
        gain *= 1 + height * np.exp(-(((freq - peak) / (0.06 * peak)) ** 2))
    rush = np.fft.irfft(np.fft.rfft(chance.standard_normal(n)) * gain, n)
    rush *= 1 + 0.15 * np.sin(2 * np.pi * 0.7 * np.arange(n) / rate)  # the pump's slow swell
    rush /= np.sqrt(np.mean(rush**2))
    for _ in range(int(1.5 * n / rate)):
        length = int(chance.uniform(0.04, 0.16) * rate)
        start = int(chance.uniform(0, max(1, n - length)))
        t = np.arange(min(length, n - start)) / rate
        pitch = chance.uniform(180, 600) * (1 + 2 * t)
        rush[start : start + t.size] += 1.5 * np.exp(-t * 25) * np.sin(2 * np.pi * np.cumsum(pitch) / rate)
    noise: Samples = (rush / np.sqrt(np.mean(rush**2))).astype(np.float32)
    return noise


def picture(share_done: float, width: int = 160, height: int = 120) -> np.ndarray:
    """One frame of a drawn ear canal whose wax shrinks as share_done goes from 0 to 1 (RGB bytes)."""
    y, x = np.mgrid[0:height, 0:width]
    out = np.hypot(x - width / 2, y - height / 2) / (height / 2)
    frame = np.zeros((height, width, 3))
    frame[out < 0.95] = (205, 140, 120)  # canal wall
    frame[out < 0.45] = (220, 205, 195)  # drum
    frame *= np.clip(1.15 - 0.6 * out, 0, 1)[..., None]
    wax = np.hypot(x - 0.45 * width, (y - 0.55 * height) * 1.3) < 0.4 * height * (1 - share_done)
    frame[wax] = (150, 105, 50)
    return frame.astype(np.uint8)


def write(
    path: Path,
    sound: Samples,
    rate: int,
    *,
    codec: str,
    file_rate: int,
    kbit: int | None = None,
    layout: str = "mono",
    film: bool = False,
) -> None:
    """Encode `sound` (mono, -1..1, at `rate`) into path at `file_rate`, with a drawn picture when `film`."""
    with av.open(str(path), "w") as box:
        track = box.add_stream(codec, rate=file_rate, layout=layout)
        if kbit:
            track.bit_rate = kbit * 1000
        if film:
            view = box.add_stream("libx264", rate=5, options={"crf": "32"})
            view.width, view.height, view.pix_fmt = 160, 120, "yuv420p"
            count = int(len(sound) / rate * 5)
            for i in range(count):
                box.mux(view.encode(av.VideoFrame.from_ndarray(picture(i / count), format="rgb24")))
            box.mux(view.encode(None))
        pcm = (np.clip(sound, -1, 1) * 32767).astype(np.int16)
        for start in range(0, len(pcm), rate):
            block = av.AudioFrame.from_ndarray(pcm[None, start : start + rate], format="s16", layout="mono")
            block.sample_rate, block.pts, block.time_base = rate, start, Fraction(1, rate)
            box.mux(track.encode(block))
        box.mux(track.encode(None))
