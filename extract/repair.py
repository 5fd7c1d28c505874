"""Repair: words the recogniser misheard are put right in the row, where the neighbourhood leaves no other reading.

Two ways, both only in a text that is evidently about ear care: confusions known beforehand, with what must stand
around them (vocabulary/sounds.yaml), and terms of the vocabulary that sound like what was heard. Every repair keeps
the words heard; one that touches a side, a denial or a number is marked doubtful, to be checked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from spacy.language import Language
from spacy.tokens import Doc

from extract.confusions import Confusion, Group, Sounds, load_sounds
from extract.soundalikes import SoundAlikes, is_number, sensitive, sounding
from extract.sounds import similarity, weight
from extract.words import MARKS, STOPS, Words
from shared.vocabulary import Vocabulary, load

_LONGEST = 4
_FILLERS = frozenset({"oh", "um", "ah", "er", "uh", "erm", "eh"})
_UNMISTAKABLE = 0.94
_ECHO = 0.9
_NEAR = 6
_BLOCK = 60
_TURNS = 2
_BETWEEN = frozenset(
    {"very", "quite", "a", "the", "bit", "rather", "really", "so", "and", ",", "all", "just", "still"}
)


@dataclass(frozen=True, slots=True)
class Repair:
    """One repair: the words heard, the words meant, how alike they sound (0 to 1), and whether it must be checked."""

    heard: str
    meant: str
    similarity: float
    doubtful: bool


@dataclass(frozen=True, slots=True)
class _Change:
    start: int
    end: int
    meant: tuple[str, ...]
    repair: Repair
    gain: float


@Language.factory("repair", requires=["doc._.words"], assigns=["doc._.words"])
def _repair(nlp: Language, name: str) -> Repairer:
    return Repairer()


class Repairer:
    """Component: rewrite the misheard words of a Doc's row. `learn` gives it another vocabulary than the shipped one."""

    def __init__(self) -> None:
        self._vocabulary: Vocabulary | None = None
        self._sounds: Sounds | None = None

    def learn(self, vocabulary: Vocabulary) -> None:
        """Take the terms to repair from this vocabulary."""
        self._vocabulary, self._sounds = vocabulary, None

    def __call__(self, doc: Doc) -> Doc:
        if self._sounds is None:
            self._prepare()
        words: Words = doc._.words
        for _ in range(_TURNS):
            changes = self._changes(doc, words)
            if not changes:
                break
            words = rewritten(words, changes)
        doc._.words = words
        return doc

    def _prepare(self) -> None:
        self._sounds = load_sounds(self._vocabulary or load())
        self._alike = SoundAlikes(self._sounds)

    def _changes(self, doc: Doc, words: Words) -> list[_Change]:
        assert self._sounds is not None
        taken: set[int] = set(words.repairs)
        changes: list[_Change] = []
        for begin, end in about_ears(words.text, self._sounds):
            said = _Said.of(doc, words, begin, end)
            by_sound = sorted(self._by_sound(said), key=lambda c: -c.gain)
            for change in (*self._known(said), *by_sound):
                if taken.isdisjoint(range(change.start, change.end)):
                    taken.update(range(change.start, change.end))
                    changes.append(change)
        return sorted(changes, key=lambda c: c.start)

    def _known(self, said: _Said) -> Iterator[_Change]:
        """Known confusions whose conditions hold."""
        assert self._sounds is not None
        listed = self._sounds.confusions
        for i, word in enumerate(said.heard):
            filed = listed.get(word)
            for confusion in filed.at(said.heard, i) if filed else ():
                end = confusion.end(said.heard, i)
                if end <= i:
                    continue
                if _holds(confusion, said.row, *said.span(i, end)):
                    change = _change(said, i, end, confusion.meant, doubtful=confusion.doubtful)
                    if change:
                        yield change
                        break

    def _by_sound(self, said: _Said) -> Iterator[_Change]:
        """Terms that sound like what was heard and stand among the words they are said among."""
        heard, row = said.heard, said.row
        strange = [i for i, word in enumerate(heard) if word not in self._alike.settled and word.isalpha()]
        for i, end in _stretches(heard, strange):
            start, stop = said.span(i, end)
            for group in self._alike.groups:
                if _is_framed(group, row, start, stop) and _is_near(group.near, row, start, stop):
                    best = self._alike.framed(group, tuple(heard[i:end]))
                    change = best and _change(said, i, end, best[0].words, best[1])
                    if change:
                        yield change
            for term, likeness in self._alike.of(tuple(heard[i:end])):
                if likeness >= _UNMISTAKABLE or _is_near(term.group.near, row, start, stop):
                    change = _change(said, i, end, term.words, likeness)
                    if change:
                        yield change
                        break

        for i, end in self._alike.echoes(heard):
            for term, likeness in self._alike.of(tuple(heard[i:end])):
                if likeness >= _ECHO and _is_near(term.group.near, row, *said.span(i, end)):
                    change = _change(said, i, end, term.words, likeness)
                    if change:
                        yield change
                        break


def _stretches(heard: list[str], strange: list[int]) -> Iterator[tuple[int, int]]:
    """Every run of up to _LONGEST words, no mark among them, that holds a strange one; each once."""
    done = 0
    for place in strange:
        for i in range(max(place - _LONGEST + 1, done), place + 1):
            if not MARKS.isdisjoint(heard[i : place + 1]):
                continue
            for end in range(place + 1, min(i + _LONGEST, len(heard)) + 1):
                if heard[end - 1] in MARKS:
                    break
                yield i, end
        done = place + 1


@dataclass(slots=True)
class _Said:
    """A stretch of a row as it was heard, with the fillers the row leaves out: they may be a syllable of a term.

    row: the whole row. heard: the words of the stretch. place[i]: the row index of heard word i, or of the word
    after a filler.
    """

    row: list[str]
    heard: list[str]
    place: list[int]

    @classmethod
    def of(cls, doc: Doc, words: Words, begin: int, end: int) -> _Said:
        heard: list[str] = []
        place: list[int] = []
        before = words.token[begin] - 1
        for i in range(begin, end):
            for t in range(before + 1, words.token[i]):
                low = doc[t].lower_
                if low in _FILLERS:
                    heard.append(low)
                    place.append(i)
            before = words.last[i]
            heard.append(words.text[i])
            place.append(i)
        return cls(words.text, heard, place)

    def span(self, i: int, end: int) -> tuple[int, int]:
        """The row's words that heard words [i, end) stand for; empty for a filler alone."""
        start, last = self.place[i], self.place[end - 1]
        return start, last if self.heard[end - 1] in _FILLERS and self.heard[end - 1] != self.row[
            last
        ] else last + 1


def about_ears(row: list[str], sounds: Sounds) -> list[tuple[int, int]]:
    """The stretches of the row that are evidently about ear care: several of its words, of more than one sort."""
    if sounds.ear.isdisjoint(row) or sounds.work.isdisjoint(row):
        return []
    every = sounds.ear | sounds.work | sounds.other
    blocks = [every.intersection(row[i : i + _BLOCK]) for i in range(0, len(row), _BLOCK)]
    stretches: list[tuple[int, int]] = []
    for n in range(len(blocks)):
        around = blocks[n].union(*blocks[max(n - 2, 0) : n], *blocks[n + 1 : n + 3])
        if len(around) >= 4 and around & sounds.ear and around & sounds.work:
            begin, end = n * _BLOCK, min((n + 1) * _BLOCK, len(row))
            if stretches and stretches[-1][1] == begin:
                begin = stretches.pop()[0]
            stretches.append((begin, end))
    return stretches


def _sentence(row: list[str], start: int, end: int) -> tuple[int, int]:
    """The sentence around words [start, end), as the marks tell it."""
    while start > 0 and row[start - 1] not in STOPS:
        start -= 1
    while end < len(row) and row[end] not in STOPS:
        end += 1
    return start, end


def _is_framed(group: Group, row: list[str], start: int, end: int) -> bool:
    return _adjacent(group.before, row, start - 1, -1) or _adjacent(group.after, row, end, 1)


def _is_near(near: frozenset[str], row: list[str], start: int, end: int) -> bool:
    low, high = _sentence(row, start, end)
    return not near.isdisjoint(row[max(low, start - _NEAR) : start]) or not near.isdisjoint(
        row[end : min(high, end + _NEAR)]
    )


def _holds(confusion: Confusion, row: list[str], start: int, end: int) -> bool:
    """Whether what a confusion asks of its surroundings holds."""
    if confusion.near and not _is_near(confusion.near, row, start, end):
        return False
    if confusion.before and not _adjacent(confusion.before, row, start - 1, -1):
        return False
    if confusion.after and not _adjacent(confusion.after, row, end, 1):
        return False
    if confusion.number == "before" and not (start and is_number(row[start - 1])):
        return False
    if confusion.number == "after" and not (end < len(row) and is_number(row[end])):
        return False
    if confusion.place:
        opens = start == 0 or row[start - 1] in STOPS
        closes = end == len(row) or row[end] in MARKS
        if not {"alone": opens and closes, "opening": opens, "closing": closes}[confusion.place]:
            return False
    if confusion.unless:
        low, high = _sentence(row, start, end)
        return confusion.unless.isdisjoint(row[low:start]) and confusion.unless.isdisjoint(row[end:high])
    return True


def _adjacent(wanted: frozenset[str], row: list[str], at: int, step: int) -> bool:
    """Whether the word at a place, small words passed over, is a wanted one."""
    for _ in range(3):
        if not 0 <= at < len(row):
            return False
        if row[at] in wanted:
            return True
        if row[at] not in _BETWEEN:
            return False
        at += step
    return False


def _change(
    said: _Said,
    i: int,
    end: int,
    meant: tuple[str, ...],
    likeness: float | None = None,
    doubtful: bool = False,
) -> _Change | None:
    """The change of heard words [i, end), without the words at either end that stay; None if all stay."""
    whole = tuple(said.heard[i:end])
    if likeness is None:
        likeness = similarity(sounding(whole), sounding(meant))
    doubtful = doubtful or sensitive(whole) != sensitive(meant)
    repair = Repair(" ".join(whole), " ".join(meant), round(likeness, 2), doubtful)
    gain = (likeness - 0.5) * weight(sounding(meant))
    start, stop = said.span(i, end)
    row = said.row
    while meant and start < stop and row[start] == meant[0]:
        start, meant = start + 1, meant[1:]
    while meant and start < stop and row[stop - 1] == meant[-1]:
        stop, meant = stop - 1, meant[:-1]
    return _Change(start, stop, meant, repair, gain) if meant and start < stop else None


def rewritten(words: Words, changes: list[_Change]) -> Words:
    """The row with the changes made, left to right. Each new word covers every token of the words heard."""
    text: list[str] = []
    token: list[int] = []
    last: list[int] = []
    repairs: dict[int, Any] = {}
    at = 0
    for change in [*changes, None]:
        stop = change.start if change else len(words.text)
        for i in range(at, stop):
            if i in words.repairs:
                repairs[len(text)] = words.repairs[i]
            text.append(words.text[i])
            token.append(words.token[i])
            last.append(words.last[i])
        if change:
            for word in change.meant:
                repairs[len(text)] = change.repair
                text.append(word)
                token.append(words.token[change.start])
                last.append(words.last[change.end - 1])
            at = change.end
    return Words(text, token, last, repairs=repairs)
