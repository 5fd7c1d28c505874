"""How loud the sound is, for a meter: RMS and peak of each tenth of a second, in dBFS (full scale is 0)."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from dictate.events import Level
from dictate.read import RATE

STEP = RATE // 10
"""Samples in one reading."""

FLOOR = -96.0
"""What is shown for silence: the quietest that 16 bits can tell."""

CLIPPING = 3
"""So many samples at full scale in one reading are no chance: the sound is cut off."""


class Meter:
    """Reads levels off a stream of samples. start: the sample of the recording it begins with."""

    def __init__(self, start: int = 0) -> None:
        self._rest = np.zeros(0, np.int16)
        self._at = start

    def feed(self, samples: npt.NDArray[np.int16]) -> Iterator[Level]:
        """The readings that these samples complete."""
        whole = np.concatenate([self._rest, samples])
        end = len(whole) // STEP * STEP
        self._rest = whole[end:]
        for part in whole[:end].reshape(-1, STEP):
            self._at += STEP
            yield measure(part, self._at / RATE)


def measure(samples: npt.NDArray[np.int16], at: float) -> Level:
    """The level of some samples, which end at second `at`."""
    loud = np.abs(samples.astype(np.float64))
    rms, peak = float(np.sqrt(np.mean(loud**2))), float(loud.max())
    clipped = int(np.count_nonzero(loud >= 32767)) >= CLIPPING
    return Level(at, _decibels(rms), _decibels(peak), clipped)


def _decibels(amplitude: float) -> float:
    return round(max(20 * float(np.log10(max(amplitude, 1e-9) / 32768)), FLOOR), 1)
