"""Terms of the vocabulary found by how they sound, word boundaries shifted or not."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

from rapidfuzz.distance.Levenshtein import distance

from extract.confusions import DENIALS, SIDES, Group, Sounds, Term
from extract.numbers import STARTERS
from extract.sounds import phones, similarity, skeleton, weight

_COUNTS = STARTERS - {"a", "an", "point"}
_LONG = 7
_MIDDLING = 5
_FAR = 0.6
_SMALL = frozenset(
    {"the", "and", "in", "a", "on", "is", "of", "to", "at", "by", "with", "for", "he", "it", "so", "was"}
)
_SMALL_EDGE = 0.95
"""How alike a phrase must sound that begins or ends with a small word: it may well have been said."""
_CERTAIN = {0: 2.0, 1: 0.95, 2: 0.93, 3: 0.9, 4: 0.89, 5: 0.84}
"""How alike the differing part must sound, by how many consonants it has."""
_CERTAIN_FRAMED = {0: 2.0, 1: 0.9, 2: 0.88, 3: 0.8, 4: 0.8}
"""The same for a place where such a term is expected."""
_ANCHORED = 0.68
"""The same for a part of a phrase whose other words were heard well."""
_FEW = 2
_CLEAR = 0.03
"""How much more alike the best term must be than one that means something else."""
_ALONE = 0.15
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


@dataclass(frozen=True, slots=True)
class _Sound:
    """Some words as they sound: phones, skeleton, its classes as bits, and how much there is to hear."""

    phones: str
    bones: str
    classes: int
    heft: float

    @classmethod
    def of(cls, words: tuple[str, ...]) -> _Sound:
        sound = sounding(words)
        bones = skeleton(sound)
        return cls(sound, bones, sum({c: 1 << "PTKFSNL".index(c) for c in bones}.values()), weight(sound))

    def may_be(self, other: _Sound) -> bool:
        """Whether two soundings can be alike enough, told cheaply by plain edits."""
        far = int(_FAR * max(len(self.phones), len(other.phones)))
        return distance(self.phones, other.phones, score_cutoff=far) <= far


_Entry = tuple[Term, _Sound]


class _ByHeft:
    """Terms in the order of how much there is to hear in them: too short or too long ones are never tried."""

    def __init__(self, entries: Iterable[_Entry]) -> None:
        self._entries = sorted(entries, key=lambda entry: entry[1].heft)
        self._hefts = [sound.heft for _, sound in self._entries]

    def like(self, heft: float, least: float) -> list[_Entry]:
        """The terms that can be alike to a share of `least`, by heft alone."""
        low = bisect_left(self._hefts, heft * least)
        return self._entries[low : bisect_right(self._hefts, heft / least)]


class SoundAlikes:
    """The terms of a vocabulary, found by how they sound.

    Terms are filed by the skeleton of their consonants and by every skeleton with one class left out (two of
    a long one), so that one consonant may be missed, added or mistaken; the phones then decide.
    """

    def __init__(self, sounds: Sounds) -> None:
        self._ordinary = sounds.ordinary
        self._phrases = sounds.phrases
        trade = {word for term in sounds.terms for word in term.words} - sounds.ordinary
        self._fixed = trade | sounds.kept | SIDES | DENIALS
        self.settled = self._fixed | sounds.ordinary | sounds.known
        self._whole: dict[str, list[_Entry]] = {}
        self._less: dict[str, list[_Entry]] = {}
        self._least: dict[str, list[_Entry]] = {}
        self._seen: dict[tuple[str, ...], tuple[tuple[Term, float], ...]] = {}
        self.groups: dict[Group, dict[tuple[str, str], list[_Entry]]] = {}
        self.opened: dict[str, list[Group]] = {}
        self.closed: dict[str, list[Group]] = {}
        self._alike: dict[tuple[Group, int, str, str], _ByHeft] = {}
        self._filed: dict[str, _ByHeft] = {}
        self._framed: dict[tuple[Group, tuple[str, ...]], tuple[Term, float] | None] = {}
        self._least_of_all = min((term.group.least for term in sounds.terms), default=1.0)
        for term in sounds.terms:
            sound = _Sound.of(term.words)
            ends = sound.bones[:1], sound.bones[-1:]
            new = term.group not in self.groups
            self.groups.setdefault(term.group, {}).setdefault(ends, []).append((term, sound))
            for told, listed in ((self.opened, term.group.before), (self.closed, term.group.after)):
                for word in listed if new else ():
                    told.setdefault(word, []).append(term.group)
            if len(sound.bones) >= 3:
                self._whole.setdefault(sound.bones, []).append((term, sound))
                for key in _shortened(sound.bones):
                    self._less.setdefault(key, []).append((term, sound))
                for key in _shortened_twice(sound.bones):
                    self._least.setdefault(key, []).append((term, sound))

    def echoes(self, heard: list[str]) -> Iterator[tuple[int, int]]:
        """Runs of two to four words whose consonants, run together, are exactly those of a term."""
        bones = [_word_bones(word) for word in heard]
        whole = self._whole
        for i, start in enumerate(bones):
            joined = start
            if joined is None:
                continue
            for end in range(i + 1, min(i + 4, len(bones))):
                more = bones[end]
                if more is None:
                    break
                joined += more[1:] if joined[-1:] == more[:1] else more
                if len(joined) > 3 and joined in whole:
                    yield i, end + 1

    def of(self, heard: tuple[str, ...]) -> tuple[tuple[Term, float], ...]:
        """The terms that sound like these words, most alike first, each with its likeness (0 to 1)."""
        known = self._seen.get(heard)
        if known is None:
            if len(self._seen) > 50_000:
                self._seen.clear()
            known = self._seen[heard] = tuple(self._search(heard))
        return known

    def framed(self, group: Group, heard: tuple[str, ...]) -> tuple[Term, float] | None:
        """The one term of a group these words sound like, for a place where such a term is expected."""
        key = (group, heard)
        if key not in self._framed:
            if len(self._framed) > 50_000:
                self._framed.clear()
            self._framed[key] = self._best(group, heard)
        return self._framed[key]

    def _best(self, group: Group, heard: tuple[str, ...]) -> tuple[Term, float] | None:
        if heard in self._phrases or not _spoken(heard):
            return None
        sound = _Sound.of(heard)
        fixed = self._fixed.intersection(heard)
        least = max(group.framed, _small_edge(heard))
        ranked: list[tuple[float, Term]] = []
        for term, its_sound in self._of_like_consonants(group, sound).like(sound.heft, least):
            if not fixed.issubset(term.words) or not sound.may_be(its_sound):
                continue
            likeness = similarity(sound.phones, its_sound.phones)
            if likeness >= least and self._differ_in_sound_only(heard, term, framed=True):
                ranked.append((likeness, term))
        if not ranked:
            return None
        ranked.sort(key=lambda pair: -pair[0])
        likeness, best = ranked[0]
        if any(other.meaning != best.meaning and likeness - rival < _CLEAR for rival, other in ranked[1:]):
            return None
        return best, likeness

    def _of_like_consonants(self, group: Group, sound: _Sound) -> _ByHeft:
        """The terms of a group with an end in common whose consonants differ by two classes at most."""
        first, last, classes = sound.bones[:1], sound.bones[-1:], sound.classes
        key = (group, classes, first, last)
        known = self._alike.get(key)
        if known is None:
            known = self._alike[key] = _ByHeft(
                [
                    entry
                    for ends, listed in self.groups[group].items()
                    if ends[0] == first or ends[1] == last
                    for entry in listed
                    if (entry[1].classes ^ classes).bit_count() <= _FEW
                ]
            )
        return known

    def _search(self, heard: tuple[str, ...]) -> list[tuple[Term, float]]:
        if heard in self._phrases or not _spoken(heard):
            return []
        sound = _Sound.of(heard)
        if len(sound.bones) < 3:
            return []
        fixed = self._fixed.intersection(heard)
        edge = _small_edge(heard)
        found: list[tuple[Term, float]] = []
        for term, its_sound in self._candidates(sound.bones).like(sound.heft, max(self._least_of_all, edge)):
            if not fixed.issubset(term.words) or not sound.may_be(its_sound):
                continue
            likeness = similarity(sound.phones, its_sound.phones)
            if likeness >= max(term.group.least, edge) and self._differ_in_sound_only(heard, term):
                found.append((term, likeness))
        return sorted(found, key=lambda pair: -pair[1])

    def _candidates(self, bones: str) -> _ByHeft:
        """The terms whose consonants are nearly these, and begin or end alike."""
        known = self._filed.get(bones)
        if known is None:
            if len(self._filed) > 20_000:
                self._filed.clear()
            first, last = bones[0], bones[-1]
            near = {
                term.words: (term, sound)
                for term, sound in self._near(bones)
                if sound.bones[0] == first or sound.bones[-1] == last
            }
            known = self._filed[bones] = _ByHeft(near.values())
        return known

    def _near(self, bones: str) -> Iterator[_Entry]:
        """Terms of this skeleton, a class more or less (two of a long one) or, unless short, one other."""
        yield from self._whole.get(bones, ())
        yield from self._less.get(bones, ())
        yield from self._least.get(bones, ())
        for key in _shortened(bones):
            yield from self._whole.get(key, ())
            if len(bones) >= _MIDDLING:
                yield from self._less.get(key, ())
        for key in _shortened_twice(bones):
            yield from self._whole.get(key, ())

    def _differ_in_sound_only(self, heard: tuple[str, ...], term: Term, framed: bool = False) -> bool:
        """Whether the part that differs is enough to hear, alike in itself, and no mere form of a word."""
        meant = term.words
        if set(meant).issubset(heard) or self._better_without(heard, meant):
            return False
        whole = len(meant)
        while heard and meant and heard[0] == meant[0]:
            heard, meant = heard[1:], meant[1:]
        while heard and meant and heard[-1] == meant[-1]:
            heard, meant = heard[:-1], meant[:-1]
        if not heard or not meant or self._ordinary.issuperset(meant) or self._goes_on(heard, meant):
            return False
        alone = len(heard) == 1
        if alone and (heard[0] in self._ordinary or (len(meant) == 1 and _one_word(heard[0], meant[0]))):
            return False
        bones = len(skeleton(sounding(meant)))
        if len(meant) < whole and self._ordinary.issuperset(heard):
            return False
        if len(meant) < whole and not self._ordinary.issuperset(set(term.words) - set(meant)) and bones > 1:
            return similarity(sounding(heard), sounding(meant)) >= _ANCHORED
        if framed:
            certain = _CERTAIN_FRAMED[min(bones, 4)] + (_ALONE if alone else 0.0)
            return similarity(sounding(heard), sounding(meant)) >= max(certain, term.group.framed)
        certain = _CERTAIN[min(bones, 5)]
        if alone and len(term.words) == 1:
            certain += _ALONE
        return similarity(sounding(heard), sounding(meant)) >= max(certain, term.group.least)

    def _better_without(self, heard: tuple[str, ...], meant: tuple[str, ...]) -> bool:
        """Whether an everyday word at either end only stands beside: "membranes are" for "membrane"."""
        if len(heard) == 1:
            return False
        whole = similarity(sounding(heard), sounding(meant))
        shorter = [
            less for edge, less in ((heard[0], heard[1:]), (heard[-1], heard[:-1])) if edge in self._ordinary
        ]
        return any(similarity(sounding(less), sounding(meant)) >= whole for less in shorter)

    def _goes_on(self, heard: tuple[str, ...], meant: tuple[str, ...]) -> bool:
        """Whether a word heard well only stands beside another: "hard and", "are damaged" ("undamaged")."""
        if any((a,) in self._phrases and b.startswith(a) for a in heard for b in meant):
            return True
        if meant[-1].endswith(heard[-1]) and len(heard[-1]) > 4 and self._ordinary.issuperset(heard[:-1]):
            return True
        return meant[0].startswith(heard[0]) and len(heard[0]) > 4 and self._ordinary.issuperset(heard[1:])


@lru_cache(maxsize=20_000)
def _word_bones(word: str) -> str | None:
    """The skeleton of a word; None for marks, figures and signs."""
    return skeleton(phones(word)) if _spoken((word,)) else None


def _small_edge(heard: tuple[str, ...]) -> float:
    return _SMALL_EDGE if len(heard) > 1 and not _SMALL.isdisjoint((heard[0], heard[-1])) else 0.0


def _spoken(words: tuple[str, ...]) -> bool:
    """Whether these are words throughout, no figures or signs."""
    return all(word.isalpha() or word[0] == "'" or word == "n't" for word in words)


def _one_word(a: str, b: str) -> bool:
    """Whether two words are forms of one, or share their beginning so that either may have been said."""
    return a.endswith(b) or b.endswith(a) or a.startswith(b[:-1]) or b.startswith(a[:-1]) or a[:4] == b[:4]


def _shortened(bones: str) -> set[str]:
    """What one class less leaves of a skeleton."""
    return {bones[:i] + bones[i + 1 :] for i in range(len(bones))}


def _shortened_twice(bones: str) -> set[str]:
    """What two classes less leave of a long skeleton; nothing of a short one."""
    if len(bones) < _LONG:
        return set()
    return {less[:j] + less[j + 1 :] for less in _shortened(bones) for j in range(len(less))}
