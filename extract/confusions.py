"""The data of repair as the code holds it: known confusions, and the terms that may be repaired by sound."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

DENIALS = frozenset({"no", "not", "n't", "never", "without", "denies", "denied", "none", "nil"})
SIDES = frozenset({"left", "right", "both"})


@dataclass(frozen=True, slots=True)
class Slot:
    """One place of a heard phrase: single words, longer alternatives, and whether it may be empty."""

    words: frozenset[str]
    longer: tuple[tuple[str, ...], ...] = ()
    optional: bool = False

    def ends(self, row: Sequence[str], at: int) -> Iterator[int]:
        """Where the row may go on after this slot is met at place `at`."""
        for words in self.longer:
            if tuple(row[at : at + len(words)]) == words:
                yield at + len(words)
        if at < len(row) and row[at] in self.words:
            yield at + 1
        if self.optional:
            yield at


@dataclass(frozen=True, slots=True)
class Confusion:
    """Words that are misheard for others, and what must hold around them.

    before: words, one of which stands right before. after: right after. near: in the same sentence.
    unless: in the sentence, they forbid it. place: where in the sentence. number: a number stands there.
    """

    heard: tuple[Slot, ...]
    meant: tuple[str, ...]
    before: frozenset[str] = frozenset()
    after: frozenset[str] = frozenset()
    near: frozenset[str] = frozenset()
    unless: frozenset[str] = frozenset()
    place: str = ""
    number: str = ""
    doubtful: bool = False

    def end(self, row: Sequence[str], start: int) -> int:
        """Where the heard words that begin at `start` end, the longest way; 0 if they do not stand there."""
        ends = {start}
        for slot in self.heard:
            ends = {end for at in ends for end in slot.ends(row, at)}
        return max(ends, default=0)

    @property
    def second(self) -> frozenset[str] | None:
        """The words one of which stands second, if that is sure; saves trying where it does not."""
        if len(self.heard) < 2 or self.heard[0].longer or self.heard[0].optional or self.heard[1].optional:
            return None
        return self.heard[1].words.union(words[0] for words in self.heard[1].longer)

    def beginnings(self) -> set[str]:
        """The words its heard phrases may begin with."""
        out: set[str] = set()
        for slot in self.heard:
            out.update(slot.words, (words[0] for words in slot.longer))
            if not slot.optional:
                break
        return out


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Terms said in like surroundings, and how alike heard words must sound to them (0 to 1).

    near: words, one of which stands in the sentence; then `least` is enough. before, after: words, one of
    which stands right before or right after; then `framed` is enough.
    """

    near: frozenset[str]
    least: float
    before: frozenset[str]
    after: frozenset[str]
    framed: float


@dataclass(frozen=True, slots=True)
class Term:
    """A phrase of the vocabulary that may be repaired by sound: its words, the value they mean, its group."""

    words: tuple[str, ...]
    meaning: str
    group: Group


@dataclass(slots=True)
class Filed:
    """The confusions that begin with one word: `bound` ones need one of the words `next` as their second."""

    free: list[Confusion] = field(default_factory=list)
    bound: list[Confusion] = field(default_factory=list)
    next: set[str] = field(default_factory=set)

    def add(self, confusion: Confusion) -> None:
        """File a confusion, the longer before the shorter."""
        second = confusion.second
        rows = self.free if second is None else self.bound
        rows.append(confusion)
        rows.sort(key=lambda one: -len(one.heard))
        self.next.update(second or ())

    def at(self, row: Sequence[str], i: int) -> list[Confusion]:
        """Those that can stand at place i, where the row has their first word."""
        if i + 1 < len(row) and row[i + 1] in self.next:
            return self.bound + self.free
        return self.free


@dataclass(slots=True)
class Sounds:
    """Everything sounds.yaml says. ear, work, other: words that show a text to be about ear care.

    confusions: by the first heard word. ordinary: everyday words. kept: words no repair by sound may swallow.
    phrases: those that stand as they are. known: every word of the vocabulary.
    """

    ear: frozenset[str]
    work: frozenset[str]
    other: frozenset[str]
    ordinary: frozenset[str]
    kept: frozenset[str]
    phrases: frozenset[tuple[str, ...]]
    known: frozenset[str]
    confusions: dict[str, Filed] = field(default_factory=dict)
    terms: list[Term] = field(default_factory=list)
