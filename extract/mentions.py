"""Mentions: every phrase of the vocabulary and every measure in the text, before it is known what becomes of it.

Components further on decide, for each mention, what it is about, which ear and when, and whether it is set aside;
`build` turns what remains into the record. A mention that is not recorded keeps the reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from spacy.tokens import Doc

from extract.measures import Measure
from extract.words import Words

Doc.set_extension("mentions", default=None, force=True)


@dataclass(slots=True)
class Mention:
    """A phrase or measure in words [start, end).

    readings: what it can mean, {kind: value}. kind, value: what it was taken for. polarity: affirmed, possible or
    denied. ears: numbers of the ears of its visit. aside: why it is not recorded ("" if it is). rule: what
    took it. denied_at: the word that denies it, -1 if none. linked: mentions it was settled by.
    """

    start: int
    end: int
    readings: dict[str, str]
    measure: Measure | None = None
    kind: str = ""
    value: Any = None
    polarity: str = "affirmed"
    visit: int = 0
    ears: tuple[int, ...] = ()
    layer: str = ""
    when: str = ""
    aside: str = ""
    rule: str = ""
    side: str = ""
    denied_at: int = -1
    linked: list[Mention] = field(default_factory=list)

    def has(self, *kinds: str) -> bool:
        """Whether it can mean something of one of these kinds."""
        return not self.readings.keys().isdisjoint(kinds)

    def take(self, kind: str) -> None:
        """Settle on one of its readings."""
        self.kind, self.value = kind, self.readings[kind]

    @property
    def live(self) -> bool:
        """Whether nothing has set it aside."""
        return not self.aside


def by_sentence(words: Words, mentions: list[Mention]) -> list[tuple[int, list[Mention]]]:
    """The mentions of each sentence that has any, in the order spoken: [(sentence, mentions)]."""
    found: dict[int, list[Mention]] = {}
    for m in mentions:
        found.setdefault(words.sentence[m.start], []).append(m)
    return sorted(found.items())


_QUOTED = 8
"""Words between a denial and what it denies that are quoted with it."""


def quoted(doc: Doc, m: Mention) -> tuple[int, int]:
    """The characters [start, end) shown as a mention's evidence: its words, with what denies it if that is near."""
    if m.polarity != "denied" or m.denied_at < 0:
        return characters(doc, m.start, m.end)
    if m.end <= m.denied_at <= m.end + _QUOTED:
        return characters(doc, m.start, m.denied_at + 1)
    return characters(doc, m.denied_at if m.denied_at <= m.start <= m.denied_at + _QUOTED else m.start, m.end)


def characters(doc: Doc, start: int, end: int) -> tuple[int, int]:
    """The characters [start, end) of words [start, end) of the row; a quote does not begin with "'s" or "n't"."""
    words: Words = doc._.words
    if start and words.text[start].startswith(("'", "n't")):
        start -= 1
    first, last = doc[words.token[start]], doc[words.last[end - 1]]
    return first.idx, last.idx + len(last.text)
