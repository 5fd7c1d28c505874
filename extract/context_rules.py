"""The rules of negation and doubt, read from shared/vocabulary/context.yaml through a strict schema."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml
from spacy.language import Language

from shared.errors import BadVocabulary
from shared.vocabulary import load_yaml

RULES_FILE = Path(__file__).resolve().parent.parent / "shared" / "vocabulary" / "context.yaml"


CATEGORIES = ("negated", "possible", "historical", "hypothetical", "other", "pseudo")
DIRECTIONS = ("forward", "backward", "either")
TAKES = ("noun", "predicate", "clause")
CLASSES = (
    "connective",
    "alternative",
    "pronoun",
    "subordinator",
    "determiner",
    "preposition",
    "verb",
    "state",
    "topic",
    "finding",
    "observed",
    "assent",
    "asking",
    "adverb",
    "amending",
    "occurring",
    "having",
    "adjunct",
    "place",
    "side",
)


@dataclass(frozen=True)
class Row:
    """One trigger phrase. reach: words; the other fields as explained at the head of the rules file."""

    phrase: str
    category: str
    direction: str = "forward"
    takes: str = "noun"
    reach: int = 8
    answers: bool = False
    lifts: bool = False


@dataclass
class Node:
    """A place in a tree of phrases; the keys are spaCy NORM hashes, so short and long forms meet."""

    steps: dict[int, Node] = field(default_factory=dict)
    rows: list[Row] = field(default_factory=list)

    def add(self, keys: list[int], row: Row) -> list[Row]:
        """Enter a row; returns all rows of its phrase."""
        node = self
        for key in keys:
            node = node.steps.setdefault(key, Node())
        node.rows.append(row)
        return node.rows

    def longest(self, keys: list[int], start: int, bound: int) -> tuple[int, list[Row]]:
        """The end of the longest phrase that starts at `start`, and its rows; (start, []) if none does."""
        node, end, rows = self, start, []
        for i in range(start, bound):
            step = node.steps.get(keys[i])
            if step is None:
                break
            node = step
            if node.rows:
                end, rows = i + 1, node.rows
        return end, rows


@dataclass(frozen=True)
class Rules:
    """Triggers and stops as phrase trees, and the word classes each key belongs to."""

    triggers: Node
    stops: Node
    classes: dict[int, frozenset[str]]


def load_rules(nlp: Language, path: Path = RULES_FILE) -> Rules:
    """Read a rules file; `nlp` splits its phrases as it splits the talk.

    Raises BadVocabulary, naming file and entry, for what is not YAML, an unknown key, category, class or set,
    a phrase given twice for one category and direction, or one that is pseudo and something else at once.
    """
    raw = _read(path)
    _only(raw, {"sets", "triggers", "stops", "words"}, "the file", path)
    sets = {
        name: _phrases(value, f"sets.{name}", path) for name, value in _mapping(raw, "sets", path).items()
    }
    triggers, stops = Node(), Node()
    seen: dict[tuple[object, ...], str] = {}
    groups = raw.get("triggers", [])
    if not isinstance(groups, list):
        raise _bad("triggers must be a list of groups", "triggers", path)
    for number, group in enumerate(groups, 1):
        for row in _rows(group, f"triggers, group {number}", sets, path):
            keys = _keys(nlp, row.phrase)
            kind = "trigger" if row.category == "pseudo" else f"{row.category} {row.direction}"
            _claim(seen, (kind, *keys), row.phrase, path)
            rows = triggers.add(keys, row)
            if len(rows) > 1 and any(other.category == "pseudo" for other in rows):
                raise _bad("is pseudo and something else at once", f"phrase {row.phrase!r}", path)
    listed = _phrases(raw.get("stops"), "stops", path)
    for phrase in itertools.chain.from_iterable(_spell(entry, sets, "stops", path) for entry in listed):
        keys = _keys(nlp, phrase)
        _claim(seen, ("stop", *keys), phrase, path)
        stops.add(keys, Row(phrase, "pseudo"))
    classes: dict[int, set[str]] = {}
    words = _mapping(raw, "words", path)
    _only(words, set(CLASSES), "words", path)
    for name, members in words.items():
        for word in _phrases(members, f"words.{name}", path):
            keys = _keys(nlp, word)
            if len(keys) != 1:
                raise _bad("must be a single word", f"words.{name}, {word!r}", path)
            _claim(seen, (name, *keys), word, path)
            classes.setdefault(keys[0], set()).add(name)
    return Rules(triggers, stops, {key: frozenset(names) for key, names in classes.items()})


def _rows(group: Any, where: str, sets: dict[str, list[str]], path: Path) -> Iterator[Row]:
    if not isinstance(group, dict):
        raise _bad("a group must have a category and phrases", where, path)
    _only(group, {"category", "direction", "takes", "reach", "answers", "lifts", "phrases"}, where, path)
    options = {key: value for key, value in group.items() if key != "phrases"}
    for key, allowed in (("category", CATEGORIES), ("direction", DIRECTIONS), ("takes", TAKES)):
        if key in options or key == "category":
            _one_of(options.get(key), allowed, f"{where}, {key}", path)
    reach = options.get("reach", 1)
    if not isinstance(reach, int) or isinstance(reach, bool) or reach < 1:
        raise _bad(f"reach must be a whole number of words from 1, not {reach!r}", where, path)
    for key in ("answers", "lifts"):
        if not isinstance(options.get(key, False), bool):
            raise _bad(f"{key} must be true or false", where, path)
    for phrase in _phrases(group.get("phrases"), where, path):
        for spelled in _spell(phrase, sets, where, path):
            yield Row(phrase=spelled, **options)


def _spell(phrase: str, sets: dict[str, list[str]], where: str, path: Path) -> Iterator[str]:
    """The phrase with each {set} replaced by each of its words."""
    parts = re.split(r"\{(\w+)\}", phrase)
    for name in parts[1::2]:
        _one_of(name, tuple(sets), f"{where}, {phrase!r}", path)
    choices = [sets[part] if i % 2 else [part] for i, part in enumerate(parts)]
    yield from ("".join(choice) for choice in itertools.product(*choices))


def _keys(nlp: Language, phrase: str) -> list[int]:
    return [token.norm for token in nlp.make_doc(phrase.lower()) if not token.is_space]


def _read(path: Path) -> dict[str, Any]:
    try:
        raw = load_yaml(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise BadVocabulary(
            "cannot be read", where=str(path), remedy="Check that it is UTF-8 text."
        ) from error
    except yaml.YAMLError as error:
        line = getattr(getattr(error, "problem_mark", None), "line", -1) + 1
        where = f"{path.name}, line {line}"
        raise BadVocabulary("is not YAML", where=where, remedy="Check brackets and quotes.") from error
    if not isinstance(raw, dict):
        raise _bad("must hold sets, triggers, stops and words", "the whole file", path)
    return raw


def _mapping(raw: dict[str, Any], key: str, path: Path) -> dict[str, Any]:
    value = raw.get(key, {})
    if not isinstance(value, dict):
        raise _bad(f"{key} must map names to lists", key, path)
    return value


def _phrases(value: Any, where: str, path: Path) -> list[str]:
    if not isinstance(value, list) or not value:
        raise _bad("needs a list of phrases", where, path)
    for phrase in value:
        if not isinstance(phrase, str) or not phrase.strip():
            raise _bad(f"{phrase!r} is not a phrase; put it in quotes", where, path)
    return value


def _only(mapping: dict[str, Any], allowed: set[str], where: str, path: Path) -> None:
    for key in mapping:
        if key not in allowed:
            raise _bad(f"unknown key {key!r}; known are {', '.join(sorted(allowed))}", where, path)


def _one_of(value: Any, allowed: tuple[str, ...], where: str, path: Path) -> None:
    if value not in allowed:
        raise _bad(f"{value!r} is not one of {', '.join(allowed)}", where, path)


def _claim(seen: dict[tuple[object, ...], str], key: tuple[object, ...], phrase: str, path: Path) -> None:
    if key in seen:
        raise _bad(f"given twice ({seen[key]!r} reads the same)", f"phrase {phrase!r}", path)
    seen[key] = phrase


def _bad(what: str, entry: str, path: Path) -> BadVocabulary:
    return BadVocabulary(what, where=f"{path.name}, {entry}", remedy="Correct the entry.")
