"""Read vocabulary/sounds.yaml, whose notation is explained at its top, by a strict schema.

Every set of words is laid out here once, so that the repair itself only looks words up.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import yaml

from extract.confusions import DENIALS, Confusion, Filed, Group, Slot, Sounds, Term
from extract.words import plain_word
from shared.errors import BadVocabulary
from shared.vocabulary import CLOSED, CUES, Vocabulary, forms, load_yaml

PLACES = ("alone", "opening", "closing", "start")
NUMBERS = ("before", "after")
_CONFUSION_KEYS = {"heard", "meant", "before", "after", "near", "unless", "place", "number", "doubtful"}
_TERM_KEYS = {"kinds", "words", "near", "least", "before", "after", "framed"}
_ENDING = re.compile(r"(?<=\w)('(?:s|m|re|ve|ll|d)|n't)\b")
_FEW = 12
"""A phrase of more forms is a way of speaking, not a term to be known by its sound."""
_FORM = "See the notes at the top of the shipped sounds.yaml."


def load_sounds(vocabulary: Vocabulary, own: Path | None = None) -> Sounds:
    """The shipped sounds.yaml, or another file of its form, laid out over a vocabulary.

    Raises BadVocabulary, naming file and entry, for anything that does not follow the schema.
    """
    if own is None:
        text = (resources.files("shared.vocabulary") / "sounds.yaml").read_text(encoding="utf-8")
        return parse_sounds(text, vocabulary, "sounds.yaml")
    try:
        text = own.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadVocabulary("cannot be read", where=str(own), remedy="Give a UTF-8 text file.") from error
    return parse_sounds(text, vocabulary, own.name)


def parse_sounds(text: str, vocabulary: Vocabulary, where: str) -> Sounds:
    """Read the text of a sounds file. where: its name, for messages.

    Raises BadVocabulary as load_sounds does.
    """
    try:
        tree = load_yaml(text)
    except yaml.YAMLError as error:
        line = getattr(getattr(error, "problem_mark", None), "line", -1) + 1
        raise BadVocabulary(
            "not valid YAML", where=f"{where}, line {line}", remedy="Check indents, colons and quotes."
        ) from error
    return _Reading(vocabulary, where).sounds(tree)


@cache
def _cut_word(word: str) -> tuple[str, ...]:
    return tuple(plain_word(part) for part in _ENDING.sub(r" \1", word).split())


def _cut(words: tuple[str, ...]) -> tuple[str, ...]:
    """Words in their one spelling, endings with an apostrophe apart, as they stand in a row."""
    return tuple(part for word in words for part in _cut_word(word))


class _Reading:
    """One reading of one file."""

    def __init__(self, vocabulary: Vocabulary, where: str) -> None:
        self.vocabulary = vocabulary
        self.where = where
        self.sets: dict[str, frozenset[str]] = {}
        self.gapless: dict[tuple[str, str], list[tuple[str, ...]]] = {}
        self.wordy: set[tuple[str, ...]] = set()
        for kind, value, phrase in vocabulary.phrases():
            if ".." not in phrase:
                said = [_cut(form) for form in forms(phrase)]
                self.gapless.setdefault((kind, value), []).extend(said)
                if len(said) > _FEW:
                    self.wordy.update(said)

    def sounds(self, tree: Any) -> Sounds:
        top = self.mapping(
            tree, {"sets", "gate", "ordinary", "kept", "terms", "confusions"}, "the whole file"
        )
        sets = top.get("sets", {})
        if not isinstance(sets, dict):
            raise self.bad("must map names to lists of words", "sets")
        for name, entries in sets.items():
            self.sets[name] = self.words(entries, f"sets, {name}")
        gate = self.mapping(top.get("gate"), {"ear", "work", "other"}, "gate")
        ear, work, other = (self.words(gate.get(key), f"gate, {key}") for key in ("ear", "work", "other"))
        ordinary, kept = (frozenset(self.text(top.get(key), key).split()) for key in ("ordinary", "kept"))
        phrases = frozenset(form for kind in CLOSED for form in self.forms_of(kind, "the vocabulary"))
        known = frozenset(word for listed in self.gapless.values() for form in listed for word in form)
        sounds = Sounds(ear, work, other, ordinary, kept, phrases, known)
        seen: dict[Confusion, int] = {}
        for number, row in enumerate(self.listed(top.get("confusions"), "confusions"), 1):
            confusion = self.confusion(row, f"confusions, row {number}")
            before = seen.setdefault(replace(confusion, meant=(), doubtful=False), number)
            if before != number:
                raise self.bad(
                    f"says the same as row {before}", f"confusions, row {number} ({row['heard']!r})"
                )
            for word in confusion.beginnings():
                sounds.confusions.setdefault(word, Filed()).add(confusion)
        for number, row in enumerate(self.listed(top.get("terms"), "terms"), 1):
            sounds.terms += self.terms(row, sounds.ordinary, f"terms, row {number}")
        return sounds

    def confusion(self, row: Any, where: str) -> Confusion:
        row = self.mapping(row, _CONFUSION_KEYS, where)
        heard, meant = row.get("heard"), row.get("meant")
        if not isinstance(heard, str) or not isinstance(meant, str) or not heard.strip() or not meant.strip():
            raise self.bad("needs heard and meant, each a phrase", where)
        where = f"{where} ({heard!r})"
        around = {
            key: self.named(row[key], f"{where}, {key}")
            for key in ("before", "after", "near", "unless")
            if key in row
        }
        place, number = row.get("place", ""), row.get("number", "")
        self.one_of(place, ("", *PLACES), f"{where}, place")
        self.one_of(number, ("", *NUMBERS), f"{where}, number")
        doubtful = row.get("doubtful", False)
        if not isinstance(doubtful, bool):
            raise self.bad("doubtful must be true or false", where)
        return Confusion(
            tuple(self.slot(slot, where) for slot in heard.lower().split()),
            _cut(tuple(meant.lower().split())),
            **around,
            place=place,
            number=number,
            doubtful=doubtful,
        )

    def slot(self, text: str, where: str) -> Slot:
        optional = text.startswith("(") and text.endswith(")")
        inner = text[1:-1] if optional else text
        choices = [_cut(tuple(choice.replace("-", " ").split())) for choice in inner.split("|")]
        if not all(choices) or re.search(r"[().]", inner):
            raise self.bad(f"{text!r} is neither words with | between nor (words that may be missing)", where)
        longer = tuple(c for c in choices if len(c) > 1)
        return Slot(frozenset(c[0] for c in choices if len(c) == 1), longer, optional)

    def terms(self, row: Any, ordinary: frozenset[str], where: str) -> Iterator[Term]:
        row = self.mapping(row, _TERM_KEYS, where)
        near, before, after = (
            self.named(row[key], f"{where}, {key}") if row.get(key) != [] else frozenset[str]()
            for key in ("near", "before", "after")
        )
        least, framed = (self.share(row.get(key), f"{where}, {key}") for key in ("least", "framed"))
        group = Group(near, least, before, after, framed)
        for phrase in row.get("words", ()):
            form = _cut(tuple(self.text(phrase, f"{where}, words").lower().split()))
            yield Term(form, " ".join(form), group)
        for kind in row.get("kinds", ()):
            for meaning, form in self.meanings(kind, where):
                if len(form) > 3 or form in self.wordy or ordinary.issuperset(form):
                    continue
                if DENIALS.isdisjoint(form):
                    yield Term(form, meaning, group)

    def share(self, value: Any, where: str) -> float:
        if not isinstance(value, float) or not 0.5 <= value <= 1:
            raise self.bad(f"must be a number from 0.5 to 1, not {value!r}", where)
        return value

    def meanings(self, entry: Any, where: str) -> list[tuple[str, tuple[str, ...]]]:
        """The gapless forms of a kind's phrases ("kind" or "kind/value"), each with the value it means."""
        kind, _, value = str(entry).partition("/")
        allowed = CLOSED.get(kind) or CUES.get(kind)
        if allowed is None or (value and value not in allowed):
            raise self.bad(f"no such kind or value in the vocabulary: {entry!r}", where)
        return [
            (one, form)
            for one in ((value,) if value else allowed)
            for form in self.gapless.get((kind, one), ())
        ]

    def forms_of(self, entry: Any, where: str) -> list[tuple[str, ...]]:
        return [form for _, form in self.meanings(entry, where)]

    def words(self, entries: Any, where: str) -> frozenset[str]:
        """A list of words; "@name" stands for a set above, "@kind" or "@kind/value" for one-word phrases."""
        out: set[str] = set()
        for entry in self.listed(entries, where):
            if not isinstance(entry, str) or not entry.strip():
                raise self.bad(f"{entry!r} is not a word; put it in quotes", where)
            if entry[1:] in self.sets and entry.startswith("@"):
                out |= self.sets[entry[1:]]
            elif entry.startswith("@"):
                out.update(form[0] for form in self.forms_of(entry[1:], where) if len(form) == 1)
            else:
                out.update(entry.split())
        return frozenset(out)

    def named(self, entry: Any, where: str) -> frozenset[str]:
        """A set by its name, or a list of set names and words of its own."""
        if isinstance(entry, str):
            if entry not in self.sets:
                raise self.bad(f"no set is named {entry!r}; sets are {', '.join(sorted(self.sets))}", where)
            return self.sets[entry]
        return self.words(entry, where)

    def text(self, value: Any, where: str) -> str:
        if not isinstance(value, str):
            raise self.bad("must be words with spaces between", where)
        return value

    def mapping(self, value: Any, allowed: set[str], where: str) -> Mapping[str, Any]:
        if not isinstance(value, dict):
            raise self.bad(f"must have the keys {', '.join(sorted(allowed))}", where)
        for key in value:
            if key not in allowed:
                raise self.bad(f"unknown key {key!r}; known are {', '.join(sorted(allowed))}", where)
        return value

    def listed(self, value: Any, where: str) -> list[Any]:
        if not isinstance(value, list) or not value:
            raise self.bad("needs a list", where)
        return value

    def one_of(self, value: Any, allowed: tuple[str, ...], where: str) -> None:
        if value not in allowed:
            raise self.bad(f"{value!r} is not one of {', '.join(filter(None, allowed))}", where)

    def bad(self, what: str, entry: str) -> BadVocabulary:
        return BadVocabulary(what, where=f"{self.where}, {entry}", remedy=_FORM)
