"""How likely it is that heard words stand for a term: what is alike in sound, against what stands around.

A logistic regression, its weights rounded. It was fitted on 431 misheard phrases, each in a sentence, against
dictations heard well and everyday sentences put in the middle of ear care; not one of them is in the project.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from extract.confusions import Sounds, Term
from extract.sounds import similarity, sounding, weight

LEAST = 0.64
"""How alike (0 to 1) the part that differs must sound to be considered at all."""
_ENOUGH = 6.0
"""More to hear than this makes a likeness no surer."""
_FAR, _NEAR_EXACT = 0.8, 0.85
_KIN = 0.92
"""How alike words must sound to a term one of them may be a form of."""
_SURE = 0.93
"""How alike words must sound to a term if one of them means something by itself."""
_WHOLE, _WHOLE_PHRASE = 0.8, 0.88
"""How alike several words must sound to a term none of whose words was heard: to a word, and to a phrase."""
_UNMISTAKABLE = 0.94
"""How alike words must sound to a term that none of its usual neighbours stand near."""
_SMALL = frozenset(
    [
        "the",
        "and",
        "a",
        "of",
        "to",
        "it",
        "is",
        "he",
        "she",
        "i",
        "in",
        "so",
        "that",
        "was",
        "as",
        "at",
        "with",
    ]
)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the words alone tell of a term: how alike they sound, and the log odds that it was said.

    single: one word was heard. It may well have been meant, so that a usual neighbour must stand near.
    """

    term: Term
    likeness: float
    odds: float
    single: bool

    def among(self, *, framed: int, near: bool) -> float:
        """The log odds in their place. framed: on how many sides (0 to 2) the words beside expect the term."""
        if not near and (self.single or self.likeness < _UNMISTAKABLE):
            return -math.inf
        around = 2.25 * (framed > 0) + 2.05 * near - 0.5 * self.likeness * ((framed > 0) + near)
        return self.odds + around + 1.7 * (framed == 2)


_MOST_AROUND = 2.25 + 2.05 + 1.7 - LEAST
"""The most that the words around can add to the log odds."""
_STEPS = (LEAST, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 1.0)
_KEPT = 50_000


@dataclass(frozen=True, slots=True)
class _Said:
    """Heard words that may stand for others: how they sound, and what they are, in log odds."""

    sound: str
    heft: float
    odds: float
    means: bool
    everyday: bool


class Judge:
    """Judges heard words.

    settled: words that may well have been said; a run of others is likelier to be something misheard.
    """

    def __init__(self, sounds: Sounds, settled: frozenset[str]) -> None:
        self._ordinary = sounds.ordinary
        self._phrases = sounds.phrases
        self._settled = settled
        self._said: dict[tuple[str, ...], _Said] = {}

    def evidence(self, heard: tuple[str, ...], term: Term, *, anchored: bool) -> Evidence | None:
        """What heard words tell of a term; None if it cannot be likely, whatever stands around.

        anchored: whether they were looked at only because one of them belongs to the term.
        """
        words, meant = _differing(heard, term.words)
        if not meant or _SMALL.issuperset(words) or "".join(words) == "".join(meant):
            return None
        said = self._known(words)
        wanted = sounding(meant)
        heft = weight(wanted)
        base = said.odds - 1.7 * anchored
        if len(meant) == len(term.words) or self._ordinary.issuperset(set(term.words) - set(meant)):
            base -= 3.4
        single = len(words) == 1
        least = LEAST
        if said.means:
            least = _SURE
        elif len(words) > 1 and words == heard:
            least = _WHOLE if len(meant) == 1 else _WHOLE_PHRASE
        likeness = similarity(said.sound, wanted, least)
        odds = base + _alike(likeness, heft, single)
        if likeness < least or odds + _MOST_AROUND < 0:
            return None
        if self._goes_on(words, meant, likeness) or self._better_without(words, wanted, likeness):
            return None
        return Evidence(term, likeness, odds, single)

    def least(self, heard: tuple[str, ...], *, anchored: bool) -> float:
        """How alike a term must be to these words at least to be likely; more than 1 if none can be."""
        said = self._known(heard)
        hope = said.odds + _MOST_AROUND - (1.7 if anchored else 3.4)
        for least in _STEPS:
            if hope + _alike(least, said.heft / least, len(heard) == 1 or anchored) >= 0:
                return least
        return 2.0

    def _known(self, words: tuple[str, ...]) -> _Said:
        known = self._said.get(words)
        if known is None:
            if len(self._said) > _KEPT:
                self._said.clear()
            known = self._said[words] = self._read(words)
        return known

    def _read(self, words: tuple[str, ...]) -> _Said:
        letters = sum(map(len, words))
        everyday = sum(len(word) for word in words if word in self._ordinary) / letters
        strange = sum(len(word) for word in words if word not in self._settled) / letters
        odds = -2.95 - 4.5 * everyday - 0.8 * (1 - strange - everyday)
        if len(words) == 1:
            odds += 3.1 * (everyday == 1)
        else:
            odds += 1.7 * min(len(words) - 1, 2) + 1.7 * strange
        if not _SMALL.isdisjoint((words[0], words[-1])):
            odds -= 2.1
        means = any((word,) in self._phrases and word not in self._ordinary for word in words)
        sound = sounding(words)
        return _Said(sound, weight(sound), odds, means, everyday == 1)

    def _goes_on(self, said: tuple[str, ...], meant: tuple[str, ...], likeness: float) -> bool:
        """Whether a word heard well only has another form or stands beside: "hard and" ("hardened")."""
        for a in said:
            for b in meant:
                if a == b:
                    return True
                kin = (len(a) > 3 and (b.startswith(a) or b.endswith(a))) or (len(b) > 3 and a.startswith(b))
                heard_well = a in self._settled or likeness < _KIN
                if kin and heard_well and all(word in self._settled for word in said if word != a):
                    return True
        return False

    def _better_without(self, said: tuple[str, ...], wanted: str, likeness: float) -> bool:
        """Whether an everyday word at either end only stands beside: "membranes are" for "membrane"."""
        if len(said) == 1:
            return False
        edges = ((said[0], said[1:]), (said[-1], said[:-1]))
        return any(
            edge in self._ordinary and similarity(sounding(less), wanted) >= likeness for edge, less in edges
        )


def _alike(likeness: float, heft: float, single: bool) -> float:
    """Log odds for how alike, and how much of it, there is to hear. single: one word heard."""
    heft = min(heft, _ENOUGH)
    odds = 0.4 * likeness + heft * (2.0 * likeness - 1.45 - 1.4 * max(0.0, _FAR - likeness))
    return odds + 18.5 * max(0.0, likeness - _NEAR_EXACT) * single


def _differing(heard: tuple[str, ...], meant: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Both without the words they share at either end."""
    while heard and meant and heard[0] == meant[0]:
        heard, meant = heard[1:], meant[1:]
    while heard and meant and heard[-1] == meant[-1]:
        heard, meant = heard[:-1], meant[:-1]
    return heard, meant
