"""Mentions: every phrase of the vocabulary and every measure in the text, before it is known what becomes of it.

Components further on decide, for each mention, what it is about, which ear and when, and whether it is set aside;
`build` turns what remains into the record. A mention that is not recorded keeps the reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from spacy.language import Language
from spacy.tokens import Doc

from extract.measures import Measure, measures
from extract.phrases import Phrases, plural
from extract.words import STOPS, Words, plain_words
from shared.vocabulary import CUES, Vocabulary, forms

Doc.set_extension("mentions", default=None, force=True)


@dataclass(slots=True)
class Mention:
    """A phrase or measure in words [start, end).

    readings: what it can mean, {kind: value}. kind, value: what it was taken for. polarity: affirmed, possible or
    denied. ears: numbers of the ears of its visit. aside: why it is not recorded ("" if it is). rule: what
    took it. heard_as: the words a repair replaced. doubt: why it must be checked.
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
    repaired: bool = False
    doubt: str = ""
    linked: list[Mention] = field(default_factory=list)

    def has(self, *kinds: str) -> bool:
        """Whether it can mean something of one of these kinds."""
        return any(k in self.readings for k in kinds)

    def take(self, kind: str) -> None:
        """Settle on one of its readings."""
        self.kind, self.value = kind, self.readings[kind]

    @property
    def live(self) -> bool:
        """Whether nothing has set it aside."""
        return not self.aside


_PLURAL = frozenset(
    {"head", "instrument", "history", "foreign_body", "canal", "drum", "referral", "symptom", "ear_cue", "complication"}
)


_STEERING = frozenset(CUES) - {"head", "not_seen", "removal", "noise", "weak", "ear_cue"}


@dataclass(slots=True)
class PhraseBook:
    """Phrases in three sets, each found on its own: what is recorded, what steers the reading, and the ears."""

    values: Phrases = field(default_factory=Phrases)
    cues: Phrases = field(default_factory=Phrases)
    ears: Phrases = field(default_factory=Phrases)

    def set_of(self, kind: str) -> Phrases:
        """The set a kind belongs to."""
        return self.ears if kind == "ear_cue" else self.cues if kind in _STEERING else self.values

    def find(self, row: list[str]) -> list[Mention]:
        """All phrases of all sets; words that are noise steer nothing."""
        values = self.values.find(row)
        noise = {i for f in values if "noise" in f.readings for i in range(f.start, f.end)}
        steering = [f for part in (self.cues, self.ears) for f in part.find(row) if f.start not in noise]
        return [Mention(f.start, f.end, f.readings) for f in values + steering]


def compile_phrases(vocabulary: Vocabulary, nlp: Language) -> PhraseBook:
    """A vocabulary's phrases cut into words as the tokenizer cuts text."""
    book = PhraseBook()
    for kind, value, phrase in vocabulary.phrases():
        phrases = book.set_of(kind)
        for form in forms(phrase):
            words = plain_words(form, nlp)
            if not words:
                continue
            for variant in plural(words) if kind in _PLURAL else (words,):
                phrases.add(variant, kind, value)
    return book


@Language.factory("mentions", requires=["doc._.words"], assigns=["doc._.mentions"])
def _mentions(nlp: Language, name: str) -> MentionFinder:
    return MentionFinder()


class MentionFinder:
    """Component: put all mentions on the Doc. `phrases` is set by the reader that owns the vocabulary."""

    def __init__(self) -> None:
        self.phrases = PhraseBook()

    def __call__(self, doc: Doc) -> Doc:
        words: Words = doc._.words
        row = words.text
        found = self.phrases.find(row)
        places = [m.end for m in found if m.readings.get("visit") == "reference"]
        places += _bare_reference_places(row)
        counted = [
            Mention(m.start, m.end, {m.kind: m.text}, measure=m, kind=m.kind, value=m.text)
            for m in measures(row, places)
        ]
        solid = {i for m in counted if m.kind != "bare" for i in range(m.start, m.end)}
        found = [m for m in found if not (m.start in solid and m.end - 1 in solid)]
        counted = [c for c in counted if not _is_figure_of_speech(c, found)]
        _settle_sizes(row, counted, found)
        _settle_percents(row, counted)
        found = [m for m in found if not _belongs_to_percent(m, counted)]
        doc._.mentions = sorted(found + counted, key=lambda m: (m.start, -m.end))
        return doc


def _is_figure_of_speech(c: Mention, found: list[Mention]) -> bool:
    """Whether a measure is part of a phrase ("call it a day")."""
    return any(f.start < c.start and c.end <= f.end and f.has("tolerance", "noise", "history") for f in found)


def _settle_sizes(row: list[str], counted: list[Mention], found: list[Mention]) -> None:
    """A length that names an instrument's size: "five millimetre speculum", "speculum, 4 mil"."""
    for c in counted:
        if c.kind != "length" or c.measure is None or c.measure.unit != "mm" or c.measure.value > 12:
            continue
        for f in found:
            sized = f.readings.get("instrument") in ("speculum", "suction_tube", "fine_suction_tube", "endoscope", "curette")
            if sized and (f.start == c.end or (f.readings["instrument"] == "speculum" and f.end <= c.start <= f.end + 1)):
                text = f"{c.measure.whole}mm"
                c.measure.kind, c.measure.text = "size", text
                c.kind, c.value, c.readings = "size", text, {"size": text}


def _settle_percents(row: list[str], counted: list[Mention]) -> None:
    """A bare number that carries on a percentage: "the right at thirty percent, the left at twenty"."""
    last: Mention | None = None
    for c in counted:
        if c.kind == "percent":
            last = c
        elif c.kind == "bare" and last is not None and c.measure is not None and 1 < c.measure.value <= 100:
            if c.start - last.end < 8 and row[c.start - 1] in ("at", "around", "about", "maybe") and row[c.end : c.end + 1] in ([], ["."], [","]):
                c.measure.kind, c.kind, c.readings = "percent", "percent", {"percent": ""}


def _belongs_to_percent(m: Mention, counted: list[Mention]) -> bool:
    """Whether "blocked" or "full" only completes a percentage."""
    return m.has("symptom", "occlusion") and any(
        c.kind == "percent" and c.end <= m.start <= c.end + 1 for c in counted
    )


def _bare_reference_places(row: list[str]) -> list[int]:
    """Where a reference may stand with no word before it: alone as the first sentence, or after "next patient,"."""
    starts = [0] if row else []
    for i in range(1, len(row)):
        if row[i - 1] in STOPS or (row[i - 1] == "," and row[max(i - 3, 0) : i - 1] == ["next", "patient"]):
            starts.append(i)
    out = []
    for start in starts:
        end = start
        while end < len(row) and row[end] not in STOPS and end - start < 8:
            end += 1
        said = row[start:end]
        if len(said) in range(1, 7) and all(_digit_like(w) for w in said) and (start == 0 or row[start - 1] == ","):
            out.append(start)
    return out


def _digit_like(word: str) -> bool:
    return word.isdigit() or word in {
        "zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "double",
    }  # fmt: skip
