"""The careful pass over the whole recording, done ahead while the recording is still growing.

At the end a dictation is heard as the file it has become, by `dictate.hear.transcribe`. Most of its clips are
known long before: they are found here as that pass will find them, heard in moments of leisure, and remembered
by their sound. What was foreseen wrongly is heard at the end; the outcome is the same either way.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from dictate import speech
from dictate.hearings import Hearings
from dictate.read import RATE, Recording
from dictate.recognise import Checked, Phrase, Recogniser, Settings, hear_all
from dictate.speech import Clip, Stretch

LOOK_SECONDS = 45
"""So much new sound is worth a look: at most one clip and its pause."""


class Remembering:
    """A Recogniser that hears each clip only once. It keeps words, no sound."""

    def __init__(self, hearer: Callable[[], Recogniser]) -> None:
        self._make = hearer
        self._hearer: Recogniser | None = None
        self._second: Remembering | None = None
        self._known: dict[tuple[bytes, bool], list[Phrase]] = {}
        self._lock = threading.Lock()
        self.remembered = 0

    def settings(self) -> Settings:
        """The options of the recogniser behind it."""
        return self._behind().settings()

    def hear(self, sound: npt.NDArray[np.float32], *, plain: bool = False) -> list[Phrase]:
        """The phrases in a clip, from memory if it was heard before."""
        return self.hear_all([sound], plain=plain)[0]

    def hear_all(
        self, sounds: Sequence[npt.NDArray[np.float32]], *, plain: bool = False
    ) -> list[list[Phrase]]:
        """The phrases in each of the clips; those that were not heard before are heard together."""
        keys = [(hashlib.blake2b(sound.tobytes(), digest_size=16).digest(), plain) for sound in sounds]
        new = {key: sound for key, sound in zip(keys, sounds, strict=True) if key not in self._known}
        self.remembered += len(sounds) - len(new)
        if new:
            heard = hear_all(self._behind(), list(new.values()), plain=plain)
            self._known.update(zip(new, heard, strict=True))
        return [self._known[key] for key in keys]

    def second(self) -> Recogniser | None:
        """Who checks the recogniser behind it, remembering too."""
        behind = self._behind()
        if self._second is None and isinstance(behind, Checked) and (second := behind.second()) is not None:
            self._second = Remembering(lambda: second)
        return self._second

    def _behind(self) -> Recogniser:
        with self._lock:  # loaded when first needed, once
            if self._hearer is None:
                self._hearer = self._make()
            return self._hearer


class Ahead:
    """Hears the settled clips of a growing recording.

    read: samples [start, end) of the recording. hearer: remembers for the pass at the end.
    """

    def __init__(self, read: Callable[[int, int], npt.NDArray[np.int16]], hearer: Remembering) -> None:
        self._read, self._hearer = read, hearer
        self._block = self._looked = 0  # where the present block begins, up to where it was looked at
        self._before: list[Stretch] = []  # of earlier blocks, not yet in a clip that was heard
        self._settled: list[Clip] = []
        self._done = 0

    def step(self, at: int) -> bool:
        """Hear one clip that is settled, of the recording's first `at` samples. False if there is none."""
        if not self._settled and at - self._looked >= LOOK_SECONDS * RATE:
            self._look(at)
        if not self._settled:
            return False
        clip = self._settled.pop(0)
        first, last = clip.stretches[0].start, clip.stretches[-1].end
        moved = Clip(tuple(Stretch(s.start - first, s.end - first) for s in clip.stretches))
        recording = Recording(self._read(first, last))
        Hearings(recording, self._hearer, self._hearer.second()).hear([moved])
        return True

    def _look(self, at: int) -> None:
        """Find what is settled by now. The last clip never is: more may still go into it."""
        end = min(at, self._block + speech.BLOCK_SECONDS * RATE)
        found = speech.find(Recording(self._read(self._block, end)))
        here = [Stretch(s.start + self._block, s.end + self._block) for s in found]
        clips = [c for c in speech.clips([*self._before, *here]) if c.stretches[0].start >= self._done]
        self._settled = clips[:-1]
        rest = clips[-1:]
        self._looked = end
        if rest:
            self._done = rest[0].stretches[0].start
        if end == self._block + speech.BLOCK_SECONDS * RATE:
            self._block = end
            self._before = [s for c in rest for s in c.stretches]
