"""Two longer recordings put together from the corpus: speech-dense, half pauses, or half suction hiss."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from corpus import Spoken, corpus
from sounds import Samples, steady_suction

RECORDINGS = 2
KINDS = ("dense", "half pauses", "half hiss")
ROOM_DB, HISS_DB = -66.0, -26.0
"""Power of the room's own noise, and of suction while nobody speaks, of full scale; ours, no source."""


@dataclass(frozen=True)
class Dictation:
    """sound: samples between -1 and 1 at RATE. texts: what is said in it, dictation by dictation."""

    kind: str
    sound: Samples
    texts: tuple[str, ...]


def dictations(kind: str, half: str) -> list[Dictation]:
    """RECORDINGS of one of KINDS, of about the same length, of all whole dictations of a half of the corpus.

    dense: with the pauses that its voices make. Half of the others is silence or suction, one stretch after
    each sentence, as long as the sentence.
    """
    dealt: list[list[Spoken]] = [[] for _ in range(RECORDINGS)]
    for one in corpus(half):
        min(dealt, key=lambda ones: sum(len(o.clean()) for o in ones)).append(one)
    return [_joined(ones, kind) for ones in dealt]


def _joined(ones: Sequence[Spoken], kind: str) -> Dictation:
    parts = [part for one in ones for part in ([one.clean()] if kind == "dense" else _spread(one, kind))]
    sound = np.concatenate(parts)
    room = np.random.default_rng(5).standard_normal(len(sound)).astype(np.float32)
    texts = tuple(one.gold["text"].strip() for one in ones)
    return Dictation(kind, sound + 10 ** (ROOM_DB / 20) * room, texts)


def _spread(one: Spoken, kind: str) -> Iterator[Samples]:
    sound = one.clean()
    spans = [(int(a), int(b)) for a, b in np.load(one.place())["spans"]]
    for i, (start, end) in enumerate(spans):
        yield sound[start:end]
        hiss = steady_suction(end - start, one.seed + i) * 10 ** (HISS_DB / 20)
        yield hiss if kind == "half hiss" else np.zeros(end - start, np.float32)
