"""A scripted detector and recogniser for listening: what is said is told by how loud it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from desk.listening import Parts
from dictate.read import RATE, Recording
from dictate.recognise import HeardWord, Phrase, Settings
from dictate.speech import Stretch
from dictate.voice import FRAME

WORDS = {
    1: "Right ear, hard brown wax.",
    2: "Removed with a Jobson Horne probe. The drum is intact.",
    3: "Next patient. Left ear, soft wax.",
    4: "Microsuction. No bleeding.",
}
"""What is said, by how loud it is said."""


def said(*numbers: int) -> bytes:
    """Two seconds of each, and two seconds of silence after."""
    parts = [np.concatenate([np.full(2 * RATE, 2000 * n), np.zeros(2 * RATE)]) for n in numbers]
    return np.concatenate(parts).astype("<i2").tobytes()


class Script:
    """A recogniser that knows by its loudness what is said."""

    def settings(self) -> Settings:
        return {"model": "scripted", "workers": 1}

    def hear(self, sound: npt.NDArray[np.float32], *, plain: bool = False) -> list[Phrase]:
        found, levels = [], np.round(sound * 32768 / 2000).astype(int)
        for n, text in WORDS.items():
            at = np.flatnonzero(levels == n)
            if len(at):
                start, step = at[0] / RATE, (at[-1] - at[0]) / RATE / len(text.split())
                words = (
                    HeardWord(f" {w}", start + i * step, start + (i + 1) * step, 0.9)
                    for i, w in enumerate(text.split())
                )
                found.append(Phrase(tuple(words)))
        return found


def loud(samples: npt.NDArray[np.int16]) -> Sequence[float]:
    return [0.9 if np.abs(f.astype(int)).max() > 1000 else 0.0 for f in samples.reshape(-1, FRAME)]


def find(recording: Recording, within: Stretch | None = None, **how: float) -> list[Stretch]:
    """Where it is loud, in whole seconds."""
    seconds = np.array_split(recording.samples, max(len(recording.samples) // RATE, 1))
    full = [bool(np.abs(s.astype(int)).max() > 1000) for s in seconds]
    return [] if within else [Stretch(i * RATE, (i + 1) * RATE) for i, there in enumerate(full) if there]


def guess(sound: npt.NDArray[np.float32]) -> str:
    """The words so far: the first of what is being said."""
    spoken = [n for n in np.unique(np.round(sound * 32768 / 2000).astype(int)) if n in WORDS]
    return " ".join(WORDS[n].split()[0] for n in spoken)


def scripted_parts(reader: Callable[[], Any]) -> Parts:
    """What a listening works with, scripted but for the reader given."""
    return Parts(hearer=Script, quick=guess, reader=reader, judge=loud)
