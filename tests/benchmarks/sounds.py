"""Sound of our own making for the benchmarks: suction noise, and what is heard while nobody dictates.

All at 16,000 samples a second, from a seed, of unit power unless said otherwise. Spectra, rates and levels are
ours, made after what a suction tube, a pump and a surgery sound like; no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

RATE = 16_000
Samples = npt.NDArray[np.float32]


def unit(sound: npt.NDArray[np.floating]) -> Samples:
    """The sound at unit power; silence stays silence."""
    power = float(np.sqrt(np.mean(np.square(sound)))) if len(sound) else 0.0
    return (sound / power if power else sound).astype(np.float32)


def shaped(n: int, seed: int, gain: Callable[[npt.NDArray[np.float64]], npt.NDArray[np.float64]]) -> Samples:
    """White noise through a filter. gain: of frequencies in hertz."""
    white = np.random.default_rng(seed).standard_normal(n)
    return unit(np.fft.irfft(np.fft.rfft(white) * gain(np.fft.rfftfreq(n, 1 / RATE)), n))


def steady_suction(n: int, seed: int) -> Samples:
    """Broadband hiss, falling 3 dB an octave above 500 Hz, with a tube's two resonances and the pump's hum."""

    def gain(f: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        falling = np.sqrt(500 / np.maximum(f, 500)) * np.clip(f / 150, 0, 1)
        tube = sum(h * np.exp(-(((f - p) / (0.05 * p)) ** 2)) for p, h in ((2400, 2.0), (4800, 1.2)))
        return falling * (1 + tube)

    t = np.arange(n) / RATE
    hum = sum(np.sin(2 * np.pi * 49 * k * t) / k for k in (1, 2, 3, 4))
    return unit(shaped(n, seed, gain) + 0.15 * hum)


def gurgling_suction(n: int, seed: int) -> Samples:
    """The hiss choked and freed by wax 3 to 9 times a second in fits, with wet bubbles of rising pitch."""
    chance = np.random.default_rng(seed + 1)
    hiss, t = steady_suction(n, seed), np.arange(n) / RATE
    pace = chance.uniform(3, 9, n // RATE + 2)
    swing = np.cumsum(2 * np.pi * np.interp(t, np.arange(len(pace)), pace) / RATE)
    fits = np.convolve(np.repeat(chance.random(n // RATE + 1) < 0.6, RATE)[:n], np.ones(2000) / 2000, "same")
    sound = hiss * (1 - 0.8 * fits * (0.5 + 0.5 * np.sin(swing)))
    for _ in range(int(4 * n / RATE)):
        length = int(chance.uniform(0.03, 0.15) * RATE)
        start = int(chance.uniform(0, max(1, n - length)))
        at = np.arange(min(length, n - start)) / RATE
        pitch = chance.uniform(150, 700) * (1 + 3 * at)
        bubble = np.exp(-25 * at) * np.sin(2 * np.pi * np.cumsum(pitch) / RATE)
        sound[start : start + len(at)] += chance.uniform(0.5, 2.5) * bubble
    return unit(sound)


def breathing(n: int, seed: int) -> Samples:
    """In and out fifteen times a minute through a mask."""
    swell = np.sin(2 * np.pi * np.arange(n) / RATE / 4)
    air = shaped(n, seed, lambda f: np.exp(-(((f - 1100) / 900) ** 2)))
    return unit(air * (np.maximum(swell, 0) ** 2 + 0.5 * np.maximum(-swell, 0) ** 2))


def music(n: int, seed: int) -> Samples:
    """A plucked tune over chords with a beat, as from a radio: harmonics, decays, a drum of noise."""
    chance = np.random.default_rng(seed)
    sound, beat = np.zeros(n), int(0.3 * RATE)
    scale = 220 * 2 ** (np.array([0, 2, 4, 5, 7, 9, 11, 12]) / 12)
    for i, start in enumerate(range(0, n, beat)):
        notes = [chance.choice(scale) * 2] + ([scale[0] / 2, scale[2], scale[4]] if i % 4 == 0 else [])
        at = np.arange(min(2 * beat, n - start)) / RATE
        for pitch in notes:
            tone = sum(np.sin(2 * np.pi * pitch * k * at) / k**1.5 for k in range(1, 6))
            sound[start : start + len(at)] += np.exp(-3 * at) * tone
        if i % 2:
            sound[start : start + len(at)] += 0.5 * np.exp(-30 * at) * chance.standard_normal(len(at))
    return unit(sound)


def far_away(speech: npt.NDArray[np.floating], seed: int) -> Samples:
    """Speech as through a wall: 250 to 2,500 Hz, in half a second of echo."""
    chance = np.random.default_rng(seed)
    f = np.fft.rfftfreq(len(speech), 1 / RATE)
    band = np.fft.irfft(np.fft.rfft(speech) * ((f > 250) & (f < 2500)), len(speech))
    echo = chance.standard_normal(RATE // 2) * np.exp(-7 * np.arange(RATE // 2) / RATE * 2)
    size = 1 << (len(band) + len(echo)).bit_length()
    return unit(np.fft.irfft(np.fft.rfft(band, size) * np.fft.rfft(echo, size), size)[: len(speech)])


def mixed(speech: Samples, spoken: npt.NDArray[np.bool_], noise: Samples, snr_db: float) -> Samples:
    """Speech under noise. snr_db: power of speech where `spoken` over that of the noise."""
    level = np.sqrt(np.mean(np.square(speech[spoken])) / 10 ** (snr_db / 10))
    sound = speech + level * noise[: len(speech)]
    return (sound * min(1.0, 0.95 / float(np.max(np.abs(sound))))).astype(np.float32)
