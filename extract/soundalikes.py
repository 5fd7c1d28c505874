"""Terms of the vocabulary found by how they sound, word boundaries shifted or not."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import lru_cache

import numpy as np
from rapidfuzz.distance.Levenshtein import distance
from rapidfuzz.process import cdist

from extract.confusions import DENIALS, SIDES, Group, Sounds, Term
from extract.likelihood import Evidence, Judge
from extract.numbers import STARTERS
from extract.sounds import Soundings, outline, phones, sounding, weight

_COUNTS = STARTERS - {"a", "an", "point"}
_LONGEST = 4
_PER_EDIT = 4
"""An outline may be one edit off, and another for so many classes in it; 352 of 356 mishearings were."""
_ROUNDING = 1e-4
_AT_ONCE = 200
_MOST = 50_000
"""How many answers are kept before all are forgotten."""


def is_number(word: str) -> bool:
    """Whether a word is a figure or a number word."""
    return word[:1].isdigit() or word in _COUNTS


def sensitive(words: tuple[str, ...]) -> list[str]:
    """The sides, denials and numbers among words: what no repair may touch without being checked."""
    return sorted(w for w in words if w in SIDES or w in DENIALS or is_number(w))


class SoundAlikes:
    """The terms of a vocabulary, found by how they sound: those of a like outline first, then judged."""

    def __init__(self, sounds: Sounds) -> None:
        self._ordinary = sounds.ordinary
        self._phrases = sounds.phrases
        self._trade = {word for term in sounds.terms for word in term.words} - sounds.ordinary
        self._fixed = sounds.kept | SIDES | DENIALS
        self._settled = frozenset(self._trade | self._fixed | sounds.ordinary | sounds.known)
        self._judge = Judge(sounds, self._settled)
        self.opened: dict[str, list[Group]] = {}
        self.closed: dict[str, list[Group]] = {}
        self._begun: dict[str, list[int]] = defaultdict(list)
        self._ended: dict[str, list[int]] = defaultdict(list)
        self._of_outline: dict[str, list[int]] = defaultdict(list)
        self._terms = sounds.terms
        self._soundings = Soundings([sounding(term.words) for term in sounds.terms])
        for i, term in enumerate(sounds.terms):
            self._file(i, term)
        for told, side in ((self.opened, "before"), (self.closed, "after")):
            for group in dict.fromkeys(term.group for term in sounds.terms):
                for word in getattr(group, side):
                    told.setdefault(word, []).append(group)
        self._outlines = list(self._of_outline)
        self._firsts, self._lasts = np.array([_ends(line) for line in self._outlines]).T
        self._seen: dict[tuple[str, ...], tuple[Evidence, ...]] = {}
        self._oddness: dict[str, bool] = {}

    def _file(self, i: int, term: Term) -> None:
        self._of_outline[outline(sounding(term.words))].append(i)
        if len(term.words) > 1:
            for word, filed in ((term.words[0], self._begun), (term.words[-1], self._ended)):
                if word not in self._ordinary:
                    filed[word].append(i)

    def strange(self, word: str) -> bool:
        """Whether a word is none that is likely said in a dictation."""
        return word not in self._settled and word.isalpha() and not is_number(word)

    def trade(self, word: str) -> bool:
        """Whether a word is one of the trade's."""
        return word in self._trade

    def echoes(self, heard: list[str]) -> Iterator[tuple[int, int]]:
        """Runs of two to four words, an odd one among them, that have exactly the outline of a term."""
        lines = [_word_outline(word) for word in heard]
        odd = [self._odd(word) for word in heard]
        for i, start in enumerate(lines):
            joined, some = start, odd[i]
            for end in range(i + 1, min(i + _LONGEST, len(lines))):
                more = lines[end]
                if joined is None or more is None:
                    break
                joined += more[1:] if joined[-1:] == more[:1] else more
                some = some or odd[end]
                if some and joined in self._of_outline:
                    yield i, end + 1

    def anchored(self, heard: list[str]) -> Iterator[tuple[int, int]]:
        """Runs of two to four words, an odd one among them, that begin or end as a longer term does."""
        for i in (i for i, word in enumerate(heard) if self._odd(word)):
            low = i
            while low > max(i - _LONGEST + 1, 0) and _word_outline(heard[low - 1]):
                low -= 1
            high = i + 1
            while high < min(i + _LONGEST, len(heard)) and _word_outline(heard[high]):
                high += 1
            for start in range(low, i + 1):
                for end in range(i + 1, min(start + _LONGEST, high) + 1):
                    if end - start > 1 and (heard[start] in self._begun or heard[end - 1] in self._ended):
                        yield start, end

    def _odd(self, word: str) -> bool:
        """Whether a word is neither everyday nor a term nor a figure."""
        known = self._oddness.get(word)
        if known is None:
            if len(self._oddness) > _MOST:
                self._oddness.clear()
            known = self._oddness[word] = (
                word.isalpha()
                and word not in self._ordinary
                and word not in self._trade
                and word not in self._fixed
                and not is_number(word)
            )
        return known

    def of(self, heard: tuple[str, ...]) -> tuple[Evidence, ...]:
        """What these words may stand for, if the words around allow it; `hear` them first."""
        return self._seen[heard]

    def hear(self, runs: Iterable[tuple[str, ...]]) -> None:
        """Look up what runs of words may stand for, many at once."""
        if len(self._seen) > _MOST:
            self._seen.clear()
        fresh = [run for run in dict.fromkeys(runs) if run not in self._seen]
        self._seen.update(dict.fromkeys(fresh, ()))
        asked = [run for run in fresh if run not in self._phrases and _spoken(run)]
        for i in range(0, len(asked), _AT_ONCE):
            self._hear(asked[i : i + _AT_ONCE])

    def _hear(self, runs: list[tuple[str, ...]]) -> None:
        sounds = [sounding(run) for run in runs]
        pairs = self._of_like_outline([outline(sound) for sound in sounds])
        free = len(pairs)
        for n, run in enumerate(runs):
            pairs += [(n, i) for i in {*self._begun.get(run[0], ()), *self._ended.get(run[-1], ())}]
        if not pairs:
            return
        which_run, which = np.array(pairs, np.intp).T
        least = np.array(
            [[self._judge.least(run, anchored=anchored) for anchored in (False, True)] for run in runs]
        )
        weights, its = (
            np.array([weight(sound) for sound in sounds])[which_run],
            self._soundings.weights[which],
        )
        anchored = np.arange(len(pairs)) >= free
        far = (1 - least[which_run, anchored.astype(np.intp)]) * np.maximum(weights, its) + _ROUNDING
        likely = np.flatnonzero(np.abs(weights - its) <= far)
        costs = self._soundings.costs(sounds, which_run[likely], which[likely])
        found: dict[tuple[str, ...], dict[int, Evidence]] = {}
        for at in likely[costs <= far[likely]]:
            n, i = pairs[at]
            run, term = runs[n], self._terms[i]
            fixed = (word for word in run if word in self._fixed or is_number(word))
            if i not in found.get(run, ()) and all(word in term.words for word in fixed):
                evidence = self._judge.evidence(run, term, anchored=bool(anchored[at]))
                if evidence:
                    found.setdefault(run, {})[i] = evidence
        for run, evidences in found.items():
            self._seen[run] = tuple(evidences.values())

    def _of_like_outline(self, lines: list[str]) -> list[tuple[int, int]]:
        """Each line by its number, and a term whose outline is few edits from it, one end in common."""
        far = np.array([1 + len(line) // _PER_EDIT for line in lines])[:, None]
        cutoff = int(far.max())
        edits = cdist(lines, self._outlines, scorer=distance, score_cutoff=cutoff, dtype=np.uint8)
        firsts, lasts = np.array([_ends(line) for line in lines]).T
        ends = (firsts[:, None] == self._firsts) | (lasts[:, None] == self._lasts)
        return [
            (int(n), i)
            for n, line in np.argwhere((edits <= far) & ends)
            for i in self._of_outline[self._outlines[line]]
        ]


def _ends(line: str) -> tuple[int, int]:
    """The first and last consonants of an outline, as numbers."""
    consonants = line.replace("a", "") or "a"
    return ord(consonants[0]), ord(consonants[-1])


@lru_cache(maxsize=20_000)
def _word_outline(word: str) -> str | None:
    """The outline of a word; None for marks, figures and signs."""
    return outline(phones(word)) if _spoken((word,)) else None


def _spoken(words: tuple[str, ...]) -> bool:
    """Whether these are words throughout, no figures or signs."""
    return all(word.isalpha() or word[0] == "'" or word == "n't" for word in words)
