"""Six-minute dictations put together from the corpus: speech-dense, half pauses, and half suction hiss."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from corpus import Spoken, corpus
from sounds import RATE, Samples, steady_suction

SECONDS = 360
KINDS = ("dense", "half pauses", "half hiss")
ROOM_DB, HISS_DB = -66.0, -26.0
"""Power of the room's own noise, and of suction while nobody speaks, of full scale; ours, no source."""


@dataclass(frozen=True)
class Dictation:
    """sound: samples between -1 and 1 at RATE. texts: what is said in it, dictation by dictation."""

    kind: str
    sound: Samples
    texts: tuple[str, ...]


def dictation(kind: str, half: str) -> Dictation:
    """A dictation of one of KINDS, of whole dictations of a half of the corpus, about SECONDS long.

    dense: with the pauses that its voices make. Half of the others is silence or suction, one stretch after
    each sentence, as long as the sentence.
    """
    parts: list[Samples] = []
    texts: list[str] = []
    for one in corpus(half):
        if sum(map(len, parts)) >= SECONDS * RATE:
            break
        parts += [one.clean()] if kind == "dense" else list(_spread(one, kind))
        texts.append(one.gold["text"].strip())
    sound = np.concatenate(parts)
    room = np.random.default_rng(5).standard_normal(len(sound)).astype(np.float32)
    return Dictation(kind, sound + 10 ** (ROOM_DB / 20) * room, tuple(texts))


def _spread(one: Spoken, kind: str) -> Iterator[Samples]:
    sound = one.clean()
    spans = [(int(a), int(b)) for a, b in np.load(one.place())["spans"]]
    for i, (start, end) in enumerate(spans):
        yield sound[start:end]
        hiss = steady_suction(end - start, one.seed + i) * 10 ** (HISS_DB / 20)
        yield hiss if kind == "half hiss" else np.zeros(end - start, np.float32)
