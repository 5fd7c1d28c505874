"""The vocabulary: what the trade says for each value of the record, as data.

Each `*.yaml` file beside this module maps a *kind* (a field of the record, or a part of speech such as
`head`) to its values, and each value to the phrases that mean it. A phrase is a few words with three marks:
`a|b` either word, `(a)` a word that may be missing, `..` up to three words between, `...` up to sixteen.
A hyphen stands for a space, so `a-lot|much` are alternatives of two words and of one.

A practice may add a file of its own in the same form; it adds to what is here.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import yaml

from shared import record
from shared.errors import BadVocabulary
from shared.vocabulary.files import load_yaml, shipped
from shared.vocabulary.notation import GAPS, Slot, forms, slots

__all__ = [
    "CLOSED",
    "CUES",
    "FILES",
    "GAPS",
    "Slot",
    "Vocabulary",
    "forms",
    "load",
    "load_yaml",
    "parse",
    "shipped",
    "slots",
    "word_set",
]

FILES = ("wax", "ear", "history", "procedure", "plan", "talk")
"""Files of phrases; others in the folder (context, prompt, sets, spelling, sounds …) have their own readers."""

CLOSED: dict[str, tuple[str, ...]] = {
    "consistency": record.closed_values(record.Consistency),
    "colour": record.closed_values(record.Colour),
    "layer": record.closed_values(record.Layer),
    "depth": record.closed_values(record.Depth),
    "occlusion": record.closed_values(record.Occlusion),
    "drum": record.closed_values(record.Drum),
    "canal": record.closed_values(record.Canal),
    "skin": record.closed_values(record.Skin),
    "foreign_body": record.closed_values(record.ForeignBody),
    "symptom": record.closed_values(record.Symptom),
    "symptom_absent": record.closed_values(record.Symptom),
    "history": record.closed_values(record.History),
    "agent": record.closed_values(record.Agent),
    "consent": record.closed_values(record.Consent),
    "instrument": record.closed_values(record.InstrumentName),
    "method": record.closed_values(record.Method),
    "tolerance": record.closed_values(record.Tolerance),
    "clearance": record.closed_values(record.Clearance),
    "complication": record.closed_values(record.Complication),
    "hearing_outcome": record.closed_values(record.Hearing),
    "advice": record.closed_values(record.Advice),
    "referral": record.closed_values(record.ReferralTo),
    "urgency": record.closed_values(record.Urgency),
}
"""Kinds whose values are the record's own."""

CUES: dict[str, tuple[str, ...]] = {
    "head": ("wax", "drum", "canal", "skin", "ear", "cavity", "hearing"),
    "ear_cue": ("right", "left", "both", "other", "this", "that", "first", "second", "good", "bad"),
    "not_seen": ("cue",),
    "removal": ("event",),
    "referral_cue": ("refer",),
    "recall_cue": ("return",),
    "weak": ("word",),
    "home": ("cue",),
    "ongoing": ("cue",),
    "put_in": ("cue",),
    "late": ("cue", "past"),
    "correction": ("icao", "strong", "no"),
    "disregard": ("cue",),
    "aside": ("teaching", "hypothetical", "other_person", "past_visit", "not_used", "chat", "hope"),
    "contrast": ("cue",),
    "visit": ("next", "call", "turn", "greeting", "reference"),
    "same": ("again", "as_other"),
    "piece": ("another", "any"),
    "not_length": ("cue",),
    "noise": ("word",),
    "final": ("look",),
    "ellipsis": ("none", "some"),
    "patient_says": ("cue",),
}
"""Kinds that steer the reading rather than being recorded."""


class Vocabulary:
    """Phrases by kind and value.

    entries: {(kind, value): [phrase, ...]} as written in the files.
    """

    def __init__(self, entries: dict[tuple[str, str], list[str]]) -> None:
        self.entries = entries

    def phrases(self) -> Iterator[tuple[str, str, str]]:
        """Every (kind, value, phrase)."""
        for (kind, value), phrases in self.entries.items():
            for phrase in phrases:
                yield kind, value, phrase

    def merged(self, other: Vocabulary) -> Vocabulary:
        """This vocabulary with another's phrases added."""
        both = {key: list(phrases) for key, phrases in self.entries.items()}
        for key, phrases in other.entries.items():
            both.setdefault(key, []).extend(p for p in phrases if p not in both.get(key, []))
        return Vocabulary(both)


def word_set(module: str, name: str) -> frozenset[str]:
    """The small words of one set of sets.yaml, by the module of the reading that uses it.

    Raises KeyError for a set that is not there, and BadVocabulary for one that is not a list of words.
    """
    words = _sets()[module][name]
    if not isinstance(words, list) or not all(isinstance(w, str) for w in words):
        raise BadVocabulary(
            "a set needs words", where=f"sets.yaml, {module}, {name}", remedy="Put words in quotes."
        )
    return frozenset(words)


@functools.cache
def _sets() -> dict[str, dict[str, Any]]:
    loaded: dict[str, dict[str, Any]] = shipped("sets.yaml")
    return loaded


def load(own: Path | None = None) -> Vocabulary:
    """The vocabulary shipped with Earside, with the practice's own file added if given.

    The shipped phrases are checked by the tests, as they take a second; those of the practice here.
    Raises BadVocabulary, naming file and entry, for anything that does not follow the schema.
    """
    if own is None:
        return _shipped()
    try:
        text = own.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadVocabulary(
            f"the vocabulary cannot be read ({error.__class__.__name__})",
            where=str(own),
            remedy="Give a UTF-8 text file.",
        ) from error
    return _shipped().merged(parse(text, str(own)))


@functools.cache
def _shipped() -> Vocabulary:
    whole = Vocabulary({})
    for name in FILES:
        file = f"{name}.yaml"
        whole = whole.merged(Vocabulary(_entries(shipped(file), file)))
    return whole


def parse(text: str, where: str) -> Vocabulary:
    """Read one vocabulary file. where: its name, for messages.

    Raises BadVocabulary for bad YAML, an unknown kind or value, an empty or repeated phrase, or one phrase
    claimed by two values of a kind.
    """
    try:
        tree = load_yaml(text)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        line = f", line {mark.line + 1}" if mark else ""
        raise BadVocabulary(
            "not valid YAML", where=f"{where}{line}", remedy="Check indents and colons."
        ) from error
    entries = _entries(tree, where)
    for (kind, value), phrases in entries.items():
        _refuse_bad_phrases(phrases, f"{where}, {kind}, {value}")
    _refuse_double_claims(entries, where)
    return Vocabulary(entries)


def _entries(tree: Any, where: str) -> dict[tuple[str, str], list[str]]:
    if not isinstance(tree, dict):
        raise BadVocabulary("expected kinds with values and phrases", where=where, remedy=_FORM)
    entries: dict[tuple[str, str], list[str]] = {}
    for kind, values in tree.items():
        allowed = CLOSED.get(kind) or CUES.get(kind)
        if allowed is None:
            raise BadVocabulary(
                f"unknown kind {kind!r}", where=where, remedy=f"Kinds are: {', '.join(sorted(CLOSED))}."
            )
        if not isinstance(values, dict):
            raise BadVocabulary(f"{kind} needs values with phrases", where=where, remedy=_FORM)
        for value, phrases in values.items():
            if value not in allowed:
                raise BadVocabulary(
                    f"{kind} has no value {value!r}", where=where, remedy=f"Values are: {', '.join(allowed)}."
                )
            entries[kind, value] = _listed(phrases, f"{where}, {kind}, {value}")
    return entries


_FORM = "The form is kind, then value, then a list of phrases; see the shipped files."


def _listed(phrases: Any, where: str) -> list[str]:
    if not isinstance(phrases, list) or not phrases:
        raise BadVocabulary("expected a list of phrases", where=where, remedy=_FORM)
    for phrase in phrases:
        if not isinstance(phrase, str) or not phrase.strip():
            raise BadVocabulary(
                f"{phrase!r} is not a phrase", where=where, remedy="Write words, in quotes if need be."
            )
    return phrases


def _refuse_bad_phrases(phrases: list[str], where: str) -> None:
    seen = set()
    for phrase in phrases:
        if phrase.lower() in seen:
            raise BadVocabulary(f"{phrase!r} stands twice", where=where, remedy="Remove one.")
        seen.add(phrase.lower())
        try:
            forms(phrase)
        except ValueError as error:
            raise BadVocabulary(f"{phrase!r}: {error}", where=where, remedy="Correct the phrase.") from error


def _refuse_double_claims(entries: dict[tuple[str, str], list[str]], where: str) -> None:
    owner: dict[tuple[str, tuple[str, ...]], str] = {}
    for (kind, value), phrases in entries.items():
        for phrase in phrases:
            for form in forms(phrase):
                if owner.setdefault((kind, form), value) != value:
                    raise BadVocabulary(
                        f"{' '.join(form)!r} is claimed by {owner[kind, form]} and by {value}",
                        where=f"{where}, {kind}",
                        remedy="A phrase can mean one value of a kind.",
                    )
