"""Mentions: every phrase of the vocabulary and every measure in the text, before it is known what becomes of it.

Components further on decide, for each mention, what it is about, which ear and when, and whether it is set aside;
`build` turns what remains into the record. A mention that is not recorded keeps the reason.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from spacy.language import Language
from spacy.tokens import Doc

from extract.measures import Measure, measures
from extract.phrases import Found, Phrases, plural
from extract.spelled import digit_like, digits_at, is_letter
from extract.words import MARKS, Words, plain_words
from shared.vocabulary import CUES, Slot, Vocabulary, slots, word_set

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


_PLURAL = frozenset(
    {
        "weak",
        "head",
        "instrument",
        "history",
        "foreign_body",
        "canal",
        "drum",
        "referral",
        "symptom",
        "ear_cue",
        "complication",
    }
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
        values = [f for f in self.values.find(row) if not _is_side(row, f)]
        noise = {i for f in values if "noise" in f.readings for i in range(f.start, f.end)}
        cues = self.cues.find(row)
        spoken = {
            i
            for f in cues
            if "correction" in f.readings and f.end - f.start > 1
            for i in range(f.start, f.end)
        }
        values = [f for f in values if f.start not in spoken or f.end - f.start > 2]
        steering = [
            f
            for part in (cues, self.ears.find(row))
            for f in part
            if f.start not in noise and f.end - 1 not in noise
        ]
        return [Mention(f.start, f.end, f.readings) for f in values + steering]


def _is_side(row: list[str], f: Found) -> bool:
    """Whether "right now" or "left it" begins with a side after all ("across to the right now")."""
    steers = not f.readings.keys().isdisjoint(("noise", "urgency", "depth"))
    return steers and row[f.start] in ("right", "left") and f.start > 0 and row[f.start - 1] in _OWNERS


_OWNERS = frozenset({"the", "his", "her"})


@dataclass(slots=True)
class _Phrase:
    """One phrase of the vocabulary, cut into words as the tokenizer cuts text; with plurals, if its kind has."""

    kind: str
    value: str
    slots: list[Slot]
    nlp: Language
    cut: list[Slot] | None = None

    def first_words(self) -> set[str]:
        """The words it may begin with."""
        first: set[str] = set()
        for slot in self.slots:
            first.update(plain_words(said[:1], self.nlp)[0] for said in slot if said)
            if () not in slot:
                break
        may_be_one = sum(() not in slot for slot in self.slots) < 2
        if may_be_one and self.kind in _PLURAL:
            first.update([variant for word in first for (variant,) in plural((word,))])
        return first

    def beginning(self, first: str) -> Iterator[tuple[str, ...]]:
        """Every way to say it that begins with `first`, in the order of its alternatives."""
        if self.cut is None:
            self.cut = [tuple(plain_words(said, self.nlp) for said in slot) for slot in self.slots]
        for i, slot in enumerate(self.cut):
            for head in filter(None, slot):
                if head[0] not in (first, first.removesuffix("s")):
                    continue
                for rest in itertools.product(*self.cut[i + 1 :]):
                    words = sum(rest, head)
                    for variant in plural(words) if self.kind in _PLURAL else (words,):
                        if variant[0] == first:
                            yield variant
            if () not in slot:
                break


def compile_phrases(vocabulary: Vocabulary, nlp: Language) -> PhraseBook:
    """A vocabulary's phrases, ready to be laid out as their words are met."""
    book = PhraseBook()
    for kind, value, written in vocabulary.phrases():
        phrase = _Phrase(kind, value, slots(written), nlp)
        for first in phrase.first_words():
            book.set_of(kind).await_word(first, phrase)
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
        places = [_after_lead(row, m.end) for m in found if m.readings.get("visit", "greeting") != "greeting"]
        places = [p for p in places if not _tells_age(row, p)]
        places += [p for place in list(places) for p in _corrected_places(row, place)]
        places += _bare_reference_places(row)
        counted = [
            Mention(
                m.start,
                m.end,
                {m.kind: m.text},
                measure=m,
                kind=m.kind,
                value=m.text,
                polarity="affirmed" if m.other is None else "possible",
            )
            for m in measures(row, places)
        ]
        solid = {i for m in counted if m.kind != "bare" for i in range(m.start, m.end)}
        found = [m for m in found if not (m.start in solid and m.end - 1 in solid)]
        counted = [c for c in counted if not _is_figure_of_speech(c, found)]
        _settle_sizes(row, counted, found)
        _settle_percents(row, counted)
        found = [m for m in found if not _belongs_to_percent(m, counted) and not _is_left_side(row, m)]
        _settle_pieces(row, counted, found)
        doc._.mentions = sorted(found + counted, key=lambda m: (m.start, -m.end))
        return doc


def _is_figure_of_speech(c: Mention, found: list[Mention]) -> bool:
    """Whether a measure is part of a phrase ("call it a day")."""
    return any(
        f.start < c.start
        and c.end <= f.end
        and (f.has("tolerance", "noise", "history") or f.readings.get("occlusion") == "partial")
        for f in found
    )


def _settle_sizes(row: list[str], counted: list[Mention], found: list[Mention]) -> None:
    """A length that names an instrument's size: "five millimetre speculum", "speculum, 4 mil"."""
    for c in counted:
        if c.kind != "length" or c.measure is None or c.measure.unit != "mm" or c.measure.value > 12:
            continue
        for f in found:
            sized = f.readings.get("instrument") in (
                "speculum",
                "suction_tube",
                "fine_suction_tube",
                "endoscope",
                "curette",
            )
            gap = c.start - f.end
            the = row[c.start - 1] == "the" and 0 <= gap <= 6
            if sized and (
                f.start == c.end
                or the
                or (
                    f.readings["instrument"] == "speculum"
                    and 0 <= gap <= 2
                    and _IN.issuperset(row[f.end : c.start])
                )
            ):
                text = f"{c.measure.whole}mm"
                c.measure.kind, c.measure.text = "size", text
                c.kind, c.value, c.readings = "size", text, {"size": text}
                c.linked = [f]
                break


_IN = word_set("mentions", "in_place")


def _settle_percents(row: list[str], counted: list[Mention]) -> None:
    """A bare number that carries on a percentage: "the right at thirty percent, the left at twenty"."""
    last: Mention | None = None
    for c in counted:
        if c.kind == "percent":
            last = c
        elif c.kind == "bare" and last is not None and c.measure is not None and 1 < c.measure.value <= 100:
            led = row[c.start - 1] in ("at", "around", "about", "maybe")
            closed = row[c.end : c.end + 1] in ([], ["."], [","])
            led = led or (row[c.start - 1] == "," and row[c.start - 2] in ("left", "right"))
            sided = row[c.end : c.end + 2] in (["on", "the"], ["in", "the"])
            if c.start - last.end < 8 and (
                (led and closed) or (sided and {"left", "right"} & set(row[c.end : c.end + 3]))
            ):
                c.measure.kind, c.kind, c.readings = "percent", "percent", {"percent": ""}


def _is_left_side(row: list[str], m: Mention) -> bool:
    """Whether a phrase ends in "the left", which is a side and not what remained."""
    return m.has("clearance") and row[m.end - 1] == "left" and row[m.end - 2] in ("the", "his", "her", "on")


def _settle_pieces(row: list[str], counted: list[Mention], found: list[Mention]) -> None:
    """A bare number that measures a further piece: "twelve mil. Next one's eight", "and another of seven"."""
    last: Mention | None = None
    for c, following in itertools.pairwise(c for c in counted if c.kind != "bare" or row[c.start] != "one"):
        if _leads_to(row, c, following) and c.measure is not None:
            c.measure.kind, c.measure.unit = "length", "mm"
            c.kind, c.readings = "length", {"length": ""}
    for c in counted:
        if c.kind == "length" and c.measure is not None and c.measure.unit == "mm":
            last = c
        elif c.kind == "bare" and last is not None and c.measure is not None and 1 <= c.measure.value <= 45:
            lead = row[max(c.start - 6, last.end) : c.start]
            after = row[c.end : c.end + 1]
            if row[c.end : c.end + 1] in (["altogether"], ["combined"], ["total"]) or row[
                c.end : c.end + 2
            ] in (["in", "total"], ["all", "told"]):
                c.measure.kind, c.measure.unit = "length", "mm"
                c.kind, c.readings = "length", {"length": ""}
                continue
            if row[c.start] == "one":
                continue
            joined = row[last.end : c.start] in (["and"], ["and", "then"], [",", "then"]) and after in (
                [],
                ["."],
                [","],
            )
            named = {"another", "next", "second", "third", "other"} & set(lead) or (
                ("one" in lead or "from" in lead)
                and {"left", "right"} & set(row[max(c.start - 7, 0) : c.start])
            )
            if joined or (
                named
                and c.start - last.end < 30
                and lead[-1:]
                and lead[-1] in _PIECE_LEADS
                and after in ([], ["."], [","])
            ):
                c.measure.kind, c.measure.unit = "length", "mm"
                c.kind, c.readings = "length", {"length": ""}
                last = c


def _leads_to(row: list[str], c: Mention, following: Mention) -> bool:
    """Whether a bare number is the first of two pieces whose unit comes with the second ("one of twelve and one
    of eight mil", "first ten, then six mil")."""
    between = row[c.end : following.start]
    return (
        c.kind == "bare"
        and following.kind == "length"
        and following.measure is not None
        and c.measure is not None
        and following.measure.unit == "mm"
        and 1 < c.measure.value <= 45
        and bool({"one", "first", "piece"} & set(row[max(c.start - 3, 0) : c.start]))
        and bool(_FURTHER & set(between))
        and _FURTHER.union(_PIECE_LEADS, (",", "and", "the")).issuperset(between)
    )


_FURTHER = frozenset({"one", "second", "other", "another", "then", "next"})
_PIECE_LEADS = word_set("mentions", "piece_leads")


def _belongs_to_percent(m: Mention, counted: list[Mention]) -> bool:
    """Whether "blocked" or "full" only completes a percentage."""
    return m.has("symptom", "occlusion") and any(
        c.kind == "percent" and c.end <= m.start <= c.end + 1 for c in counted
    )


def _after_lead(row: list[str], i: int) -> int:
    """The place after words that may stand between "patient" and the reference itself."""
    while i < len(row) and (row[i] in _LEADS or row[i : i + 2] in _LAST_ONE):
        i += 2 if row[i : i + 2] in _LAST_ONE else 1
    return i


_LAST_ONE = (["last", "one"], ["final", "one"], ["this", "one"])
"""Between "next patient" and the reference: "next patient, last one, four oh six"."""


def _tells_age(row: list[str], i: int) -> bool:
    """Whether a number after "the patient is" is rather an age ("patient is 74")."""
    if row[max(i - 2, 0) : i] not in (["patient", "is"], ["patient", "'s"]):
        return False
    said, end = digits_at(row, i)
    return len(said) < 3 and end - i < 3 and not said.startswith("0") and said.isdigit()


_LEADS = word_set("mentions", "leads")


def _corrected_places(row: list[str], place: int) -> list[int]:
    """Where a reference is said again after a correction ("four one seven, no, sorry, four seven one")."""
    text, end = digits_at(row, place)
    if not text:
        return []
    stop = min(end + 9, len(row))
    cues = [i for i in range(end, stop) if row[i] in ("no", "sorry", "correction")]
    return (
        [i for i in range(cues[0] + 1, stop) if digit_like(row, i) and not digit_like(row, i - 1)][:1]
        if cues
        else []
    )


def _bare_reference_places(row: list[str]) -> list[int]:
    """Where a reference may stand with no word before it: figures, or a letter and figures, alone that open the
    text, or that are said to be a reference ("two oh eight is the reference"), or after "first one,"."""
    out = []
    for start in range(len(row)):
        opens = start == 0 or row[start - 1] in MARKS
        lettered = is_letter(row[start]) and row[start] not in ("a", "i")
        end = start + lettered
        if not opens or end == len(row) or not digit_like(row, end):
            continue
        while end < len(row) and digit_like(row, end):
            end += 1
        enough = end - start > 1 or len(row[start]) > 2
        named = {"reference", "number", "ref"} & set(row[end : end + 5])
        first = row[max(start - 3, 0) : start] == ["first", "one", ","] or (
            row[start - 1] not in (",", "…")
            and row[end : end + 2] in ([",", "left"], [",", "right"])
            and end - start > 2
        )
        closed = end == len(row) or row[end] in MARKS
        if enough and (named or ((start == 0 or first) and closed)):
            out.append(start)
    return out
