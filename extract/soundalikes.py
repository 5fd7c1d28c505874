"""Terms of the vocabulary found by how they sound, word boundaries shifted or not."""

from __future__ import annotations

from itertools import combinations

from extract.confusions import Sounds, Term
from extract.numbers import STARTERS
from extract.sounds import phones, similarity, skeleton

DENIALS = frozenset({"no", "not", "n't", "never", "without", "denies", "denied", "none", "nil"})
SIDES = frozenset({"left", "right", "both"})
_COUNTS = STARTERS - {"a", "an", "point"}
_LONG = 7
_CERTAIN = {0: 2.0, 1: 0.95, 2: 0.93, 3: 0.9, 4: 0.84, 5: 0.76}
"""How alike the differing part must sound, by how many consonants it has."""
_ALONE = 0.06
"""How much more alike a single word must sound that stands for a single word."""


def is_number(word: str) -> bool:
    """Whether a word is a figure or a number word."""
    return word[:1].isdigit() or word in _COUNTS


def sensitive(words: tuple[str, ...]) -> list[str]:
    """The sides, denials and numbers among words: what no repair may touch without being checked."""
    return sorted(w for w in words if w in SIDES or w in DENIALS or is_number(w))


def sounding(words: tuple[str, ...]) -> str:
    """The phones of several words, run together as in speech."""
    return "".join(phones(word) for word in words)


class SoundAlikes:
    """The terms of a vocabulary, found by how they sound.

    Terms are filed by the skeleton of their consonants and by every skeleton with one class left out (two of a
    long one), so that one consonant may be missed, added or mistaken; the phones then decide.
    """

    def __init__(self, sounds: Sounds) -> None:
        self._ordinary = sounds.ordinary
        self._phrases = sounds.phrases
        trade = {word for term in sounds.terms for word in term.words} - sounds.ordinary
        self._fixed = trade | sounds.kept | SIDES | DENIALS
        self._filed: dict[str, list[tuple[Term, str]]] = {}
        self._seen: dict[tuple[str, ...], tuple[tuple[Term, float], ...]] = {}
        for term in sounds.terms:
            sound = sounding(term.words)
            bones = skeleton(sound)
            if len(bones) >= 3:
                for key in _shortened(bones):
                    self._filed.setdefault(key, []).append((term, sound))

    def of(self, heard: tuple[str, ...]) -> tuple[tuple[Term, float], ...]:
        """The terms that sound like these words, most alike first, each with its likeness (0 to 1)."""
        known = self._seen.get(heard)
        if known is None:
            if len(self._seen) > 50_000:
                self._seen.clear()
            known = self._seen[heard] = tuple(self._search(heard))
        return known

    def _search(self, heard: tuple[str, ...]) -> list[tuple[Term, float]]:
        if heard in self._phrases or all(word in self._ordinary for word in heard):
            return []
        if any(word[:1].isdigit() for word in heard):
            return []
        sound = sounding(heard)
        bones = skeleton(sound)
        if len(bones) < 3:
            return []
        fixed = self._fixed.intersection(heard)
        found: dict[tuple[str, ...], tuple[Term, float]] = {}
        for key in _shortened(bones):
            for term, its_sound in self._filed.get(key, ()):
                if term.words not in found and fixed.issubset(term.words):
                    likeness = similarity(sound, its_sound)
                    if likeness >= term.least and self._differ_in_sound_only(heard, term):
                        found[term.words] = (term, likeness)
        return sorted(found.values(), key=lambda pair: -pair[1])

    def _differ_in_sound_only(self, heard: tuple[str, ...], term: Term) -> bool:
        """Whether the part that differs is enough to hear, alike in itself, and no mere form of a word."""
        meant = term.words
        if set(meant).issubset(heard):
            return False
        while heard and meant and heard[0] == meant[0]:
            heard, meant = heard[1:], meant[1:]
        while heard and meant and heard[-1] == meant[-1]:
            heard, meant = heard[:-1], meant[:-1]
        if not heard or not meant or self._ordinary.issuperset(meant):
            return False
        alone = len(heard) == 1
        if alone and (heard[0] in self._ordinary or (len(meant) == 1 and _one_word(heard[0], meant[0]))):
            return False
        certain = _CERTAIN[min(len(skeleton(sounding(meant))), 5)]
        if alone and len(term.words) == 1:
            certain += _ALONE
        return similarity(sounding(heard), sounding(meant)) >= max(certain, term.least)


def _one_word(a: str, b: str) -> bool:
    """Whether two words are forms of one, or share their beginning so that either may have been said."""
    return a.startswith(b[:-1]) or b.startswith(a[:-1]) or a[:4] == b[:4]


def _shortened(bones: str) -> set[str]:
    """A skeleton and all that one class less (two less of a long one) leaves of it."""
    less = 2 if len(bones) >= _LONG else 1
    return {
        "".join(bones[i] for i in range(len(bones)) if i not in gone)
        for n in range(less + 1)
        for gone in combinations(range(len(bones)), n)
    }
