"""Find the vocabulary's phrases in a row of words: a trie, read once from left to right."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from extract.words import STOPS
from shared.vocabulary import GAPS


@dataclass(slots=True)
class _Node:
    following: dict[str, _Node] = field(default_factory=dict)
    gaps: dict[int, _Node] = field(default_factory=dict)
    readings: dict[str, str] = field(default_factory=dict)


@dataclass(slots=True, frozen=True)
class Found:
    """A phrase in the row: words [start, end), and what it can mean, {kind: value}."""

    start: int
    end: int
    readings: dict[str, str]

    def has(self, *kinds: str) -> bool:
        """Whether it can mean something of one of these kinds."""
        return not self.readings.keys().isdisjoint(kinds)


class Written(Protocol):
    """A phrase that is laid out only once a text has a word that it may begin with."""

    kind: str
    value: str

    def beginning(self, first: str) -> Iterable[tuple[str, ...]]:
        """Every way to say it that begins with the word `first`."""


class Phrases:
    """All phrases of a vocabulary, ready to be found.

    Laying all of them out takes more than a second, and few are needed: those that may begin with a word wait
    until that word is met.
    """

    def __init__(self) -> None:
        self._root = _Node()
        self._waiting: dict[str, list[Written]] = {}

    def add(self, words: Sequence[str], kind: str, value: str) -> None:
        """Let `words` (with gap marks) mean `value` of `kind`."""
        node = self._root
        for word in words:
            reach = GAPS.get(word)
            node = node.gaps.setdefault(reach, _Node()) if reach else node.following.setdefault(word, _Node())
        node.readings[kind] = value

    def await_word(self, first: str, phrase: Written) -> None:
        """Add the forms of a phrase that begin with `first`, when they are needed."""
        self._waiting.setdefault(first, []).append(phrase)

    def _lay_out(self, first: str) -> None:
        """Add what waits for a word. Two threads may do so at once: both add the same."""
        for phrase in self._waiting.get(first, ()):
            for words in phrase.beginning(first):
                self.add(words, phrase.kind, phrase.value)
        self._waiting.pop(first, None)

    def find(self, row: Sequence[str]) -> list[Found]:
        """Every longest phrase, left to right. A phrase may begin in the gap of another, never on its words."""
        found: list[Found] = []
        first = self._root.following
        taken: set[int] = set()
        for word in set(row):
            if word in self._waiting:
                self._lay_out(word)
        for i, word in enumerate(row):
            node = first.get(word)
            if node is None or i in taken:
                continue
            best = self._longest(row, (i,), node, taken)
            if best is not None:
                places, readings = best
                found.append(Found(i, places[-1] + 1, readings))
                taken.update(places)
        return found

    def _longest(
        self, row: Sequence[str], places: tuple[int, ...], node: _Node, taken: set[int]
    ) -> tuple[tuple[int, ...], dict[str, str]] | None:
        """The longest phrase going on from `node`: the places of its words, and its readings."""
        best = (places, node.readings) if node.readings else None
        at = places[-1] + 1
        steps = [(at, node.following)]
        for reach, after in node.gaps.items():
            for i in range(at, min(at + reach + 1, len(row))):
                if i > at and row[i - 1] in STOPS:
                    break
                steps.append((i, after.following))
        for i, following in steps:
            if i >= len(row) or i in taken:
                continue
            onward = following.get(row[i])
            if onward is not None:
                longer = self._longest(row, (*places, i), onward, taken)
                if longer is not None and (best is None or _outdoes(longer[0], best[0])):
                    best = longer
        return best


def _outdoes(places: tuple[int, ...], best: tuple[int, ...]) -> bool:
    """Whether a phrase is longer, or as long and one word further on ("lost .. hearing suddenly")."""
    return len(places) > len(best) or (len(places) == len(best) and places[-1] == best[-1] + 1)


def plural(words: tuple[str, ...]) -> Iterable[tuple[str, ...]]:
    """The phrase itself and, where its last word can take one, with a plural s."""
    yield words
    last = words[-1]
    if len(last) > 2 and last.isalpha() and not last.endswith(("s", "x", "y", "ed", "ing")):
        yield (*words[:-1], f"{last}s")
