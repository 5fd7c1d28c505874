"""Repair: misheard words are put right in the row, where the neighbourhood leaves no other reading.

Two ways, both only in a text that is evidently about ear care: confusions known beforehand, with what must
stand around them (vocabulary/sounds.yaml), and terms of the vocabulary that sound like what was heard. Every
repair keeps the words heard; one that touches a side, a denial or a number is marked doubtful, to be checked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from spacy.language import Language
from spacy.tokens import Doc

from extract.confusions import Sounds
from extract.likelihood import Evidence
from extract.soundalikes import SoundAlikes, sensitive
from extract.sounds import similarity, sounding
from extract.sounds_file import load_sounds
from extract.surroundings import about_ears, framed_by, holds, is_near
from extract.words import MARKS, Words
from shared.vocabulary import Vocabulary, load

_LONGEST = 4
_WRITTEN = 6
"""Letters of a term that may have been written as two words."""
_FILLERS = frozenset({"oh", "um", "ah", "er", "uh", "erm", "eh"})
_CLEAR = 0.3
"""How much likelier (log odds) the best term must be than one that means something else."""
_RIVAL = -_CLEAR
_TURNS = 2


@dataclass(frozen=True, slots=True)
class Repair:
    """One repair: words heard, words meant, how alike they sound (0 to 1), and whether it must be checked."""

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
    """Component: rewrite the misheard words of a Doc's row. Its tables are laid out when first needed."""

    def __init__(self) -> None:
        self._vocabulary: Vocabulary | None = None
        self._tables: tuple[Sounds, SoundAlikes] | None = None

    def learn(self, vocabulary: Vocabulary) -> None:
        """Take the terms to repair from this vocabulary instead of the shipped one."""
        self._vocabulary, self._tables = vocabulary, None

    def __call__(self, doc: Doc) -> Doc:
        words: Words = doc._.words
        for _ in range(_TURNS):
            changes = self._changes(doc, words)
            if not changes:
                break
            words = rewritten(words, changes)
        doc._.words = words
        return doc

    def _prepared(self) -> tuple[Sounds, SoundAlikes]:
        if self._tables is None:
            sounds = load_sounds(self._vocabulary or load())
            self._tables = sounds, SoundAlikes(sounds)
        return self._tables

    def _changes(self, doc: Doc, words: Words) -> list[_Change]:
        sounds, alike = self._prepared()
        taken: set[int] = set(words.repairs)
        changes: list[_Change] = []
        for begin, end in about_ears(words.text, sounds):
            said = _Said.of(doc, words, begin, end)
            by_sound = sorted(_by_sound(said, alike), key=lambda c: -c.gain)
            for change in (*_known(said, sounds), *_in_two(said, alike), *by_sound):
                if taken.isdisjoint(range(change.start, change.end)):
                    taken.update(range(change.start, change.end))
                    changes.append(change)
        return sorted(changes, key=lambda c: c.start)


def _known(said: _Said, sounds: Sounds) -> Iterator[_Change]:
    """Known confusions whose conditions hold, the longest of each place."""
    for i, word in enumerate(said.heard):
        filed = sounds.confusions.get(word)
        for confusion in filed.at(said.heard, i) if filed else ():
            end = confusion.end(said.heard, i)
            if end > i and holds(confusion, said.row, *said.span(i, end)):
                change = _change(said, i, end, confusion.meant, doubtful=confusion.doubtful)
                if change:
                    yield change
                    break


def _in_two(said: _Said, alike: SoundAlikes) -> Iterator[_Change]:
    """Terms written as two or three words, the last of which is none ("per forated")."""
    heard = said.heard
    for i in range(len(heard) - 1):
        for end in (i + 2, i + 3):
            part = heard[i:end]
            whole = "".join(part)
            if len(whole) >= _WRITTEN and alike.trade(whole) and alike.strange(part[-1]):
                change = _change(said, i, end, (whole,))
                if change:
                    yield change


def _by_sound(said: _Said, alike: SoundAlikes) -> Iterator[_Change]:
    """Terms that sound like what was heard and stand among the words they are said among."""
    heard = said.heard
    strange = [i for i, word in enumerate(heard) if alike.strange(word)]
    places = {*_stretches(heard, strange), *alike.echoes(heard), *alike.anchored(heard)}
    alike.hear(tuple(heard[i:end]) for i, end in places)
    for i, end in places:
        found = alike.of(tuple(heard[i:end]))
        change = found and _likeliest(said, i, end, found, alike)
        if change:
            yield change


def _likeliest(
    said: _Said, i: int, end: int, evidence: tuple[Evidence, ...], alike: SoundAlikes
) -> _Change | None:
    """The change of heard words [i, end) to the term they stand for; None if none is likely enough."""
    row = said.row
    start, stop = said.span(i, end)
    before, after = framed_by(alike.opened, row, start - 1, -1), framed_by(alike.closed, row, stop, 1)
    ranked: list[tuple[float, Evidence]] = []
    for found in evidence:
        its = found.term.group
        near = is_near(its.near, row, start, stop)
        odds = found.among(framed=(its in before) + (its in after), near=near)
        if odds > _RIVAL:
            ranked.append((odds, found))
    if not ranked:
        return None
    odds, best = max(ranked, key=lambda pair: pair[0])
    if odds < 0 or any(
        odds - rival < _CLEAR and other.term.meaning != best.term.meaning for rival, other in ranked
    ):
        return None
    return _change(said, i, end, best.term.words, likeness=best.likeness, gain=odds)


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
    """A stretch of a row as it was heard, with the fillers the row leaves out: they may be part of a term.

    row: the whole row. heard: the words of the stretch. place[i]: the row index of heard word i, or of the
    word after a filler.
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
        filler = self.heard[end - 1] != self.row[last]
        return start, last if filler else last + 1


def _change(
    said: _Said,
    i: int,
    end: int,
    meant: tuple[str, ...],
    *,
    likeness: float | None = None,
    doubtful: bool = False,
    gain: float = 0.0,
) -> _Change | None:
    """The change of heard words [i, end), without the words at either end that stay; None if all stay."""
    whole = tuple(said.heard[i:end])
    if likeness is None:
        likeness = similarity(sounding(whole), sounding(meant))
    doubtful = doubtful or sensitive(whole) != sensitive(meant)
    repair = Repair(" ".join(whole), " ".join(meant), round(likeness, 2), doubtful)
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
