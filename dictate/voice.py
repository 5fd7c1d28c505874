"""Where somebody speaks, while the sound is still coming: Silero VAD frame by frame, and where to part it.

The detector and its threshold are those that find speech in files (`dictate.speech`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dictate.read import RATE
from dictate.speech import THRESHOLD

FRAME = 512
"""Samples that are judged at a time: 32 ms."""

PAUSE_SECONDS = 0.7
"""A silence this long ends an utterance: longer than the breath between two clauses."""

LONG_SECONDS, SHORT_PAUSE_SECONDS = 12.0, 0.25
"""In an utterance this long already, a shorter silence will do."""

LONGEST_SECONDS = 24.0
"""Where no silence comes, the utterance is cut at its quietest frame of the last CUT_SECONDS."""

CUT_SECONDS = 6.0

SHORTEST_FRAMES = 3
"""Speech begins with so many frames in a row: the shortest word lasts longer than a click."""

PAD_SECONDS = 0.4
"""Kept before an utterance, and half of it after, so that no soft consonant is lost."""

Judge = Callable[[npt.NDArray[np.int16]], Sequence[float]]
"""The probability of speech in each frame of some sound, whole frames, coming one after another."""


class Silero:
    """A Judge: the detector that faster-whisper brings, its memory kept from call to call."""

    def __init__(self) -> None:
        from faster_whisper.vad import get_vad_model  # noqa: PLC0415  (slow to import)

        self._model = get_vad_model()
        self._h = np.zeros((1, 1, 128), np.float32)
        self._c = np.zeros((1, 1, 128), np.float32)
        self._before = np.zeros(64, np.float32)

    def __call__(self, samples: npt.NDArray[np.int16]) -> Sequence[float]:
        """The probability of speech in each frame."""
        frames = (samples.astype(np.float32) / np.float32(32768)).reshape(-1, FRAME)
        tails = np.concatenate([self._before[None], frames[:-1, -64:]])
        given = {"input": np.concatenate([tails, frames], 1), "h": self._h, "c": self._c}
        out, self._h, self._c = self._model.session.run(None, given)
        self._before = frames[-1, -64:]
        return [float(p) for p in out.ravel()]


@dataclass(frozen=True)
class Spoken:
    """An utterance: samples [start, end) of the recording."""

    start: int
    end: int


class Parting:
    """Parts a stream of judged frames into utterances. One frame in, at most one utterance out.

    speaking: the sample at which the present utterance began, None between two.
    """

    def __init__(self) -> None:
        self.speaking: int | None = None
        self._at = self._last_end = 0
        self._run = self._silent = 0
        self._recent: list[float] = []

    def frame(self, probability: float) -> Spoken | None:
        """Take the judgement of the next frame; the utterance that it ends, if it ends one."""
        self._at += FRAME
        self._run = self._run + 1 if probability >= THRESHOLD else 0
        if self.speaking is None:
            if self._run >= SHORTEST_FRAMES:
                begin = self._at - self._run * FRAME - round(PAD_SECONDS * RATE)
                self.speaking, self._silent, self._recent = max(begin, self._last_end), 0, []
            return None
        self._recent = [*self._recent[1 - round(CUT_SECONDS * RATE / FRAME) :], probability]
        # As in the detector for files: between the two thresholds, speech goes on if it was speech.
        if probability >= THRESHOLD:
            self._silent = 0
        elif probability < THRESHOLD - 0.15 or self._silent:
            self._silent += FRAME
        length = self._at - self.speaking
        pause = SHORT_PAUSE_SECONDS if length > LONG_SECONDS * RATE else PAUSE_SECONDS
        if self._silent >= pause * RATE:
            return self._close(self._at - self._silent + min(self._silent, round(PAD_SECONDS / 2 * RATE)))
        if length >= LONGEST_SECONDS * RATE:
            quietest = min(range(len(self._recent)), key=self._recent.__getitem__)
            cut = self._at - (len(self._recent) - quietest) * FRAME + FRAME // 2
            spoken, self.speaking = self._close(cut), cut
            return spoken
        return None

    def stop(self, at: int) -> Spoken | None:
        """Listening stops at this sample: what is being said ends here. Counting goes on from there."""
        self._at = at
        spoken = self._close(at) if self.speaking is not None else None
        self._run, self._last_end = 0, at
        return spoken

    def _close(self, end: int) -> Spoken:
        assert self.speaking is not None
        spoken, self.speaking, self._last_end, self._silent = Spoken(self.speaking, end), None, end, 0
        return spoken
