"""What a stretch of talk is about: ears being looked after, or something else.

Words about ears and their care are weighed against words about other parts of the body and other trades
(vocabulary/topic.yaml), in a window around each sentence. Where ears do not carry it, nothing is recorded:
"discharge", "suction" and "no pain" mean an ear only in the talk of ear care.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import accumulate
from typing import Any

from spacy.language import Language
from spacy.tokens import Doc

from extract.mentions import Mention
from extract.phrases import Phrases
from extract.words import MARKS, Words, plain_word
from shared.vocabulary import forms, shipped, word_set

NOT_AN_EAR = "not about an ear"
_WINDOW = 60
"""Words looked at on either side of a sentence."""
_REACH = 400
"""Words over which a stretch of ear care speaks for what is said before and after it."""
_NEEDED = (2.0, 4.0)
"""Weight that carries a very short window, and one of _LONG words or more."""
_LONG = 40
_AGAINST = 1.5
"""How much more the words of elsewhere weigh than those of ear care."""
_SPREAD = 0.25
"""Part of a window over which the words of ear care must be spread: more than one line of an examination."""
_TOLD = 0.2
_TELLING = 10.0
"""How much it weighs if more of a long window than _TOLD is in phrases of the vocabulary (less: against it).
Measured: 0.31 or more somewhere in each of 131 dictations; 0.13 is the middle of published hospital notes."""
_NAMING = 1.5
"""Weight from which a term of ear care belongs to ears alone; a long window needs one that does, if it holds a word
of elsewhere."""
_SHARED = word_set("topic", "shared")
_PARTS = word_set("topic", "parts")
_OF_EARS = word_set("topic", "of_ears")
_TERSE = 15
_DESCRIBING = (
    "ear_cue",
    "consistency",
    "colour",
    "length",
    "clearance",
    "method",
    "tolerance",
    "occlusion",
    "percent",
)


@dataclass(slots=True, frozen=True)
class Evidence:
    """A weighed phrase of the row.

    at: its first word. group: ear, care or elsewhere. term: what it counts as. weight: how much it says.
    """

    at: int
    group: str
    term: str
    weight: float

    @property
    def names_ear(self) -> bool:
        """Whether it is said of ears alone, unlike "wax" or "probe"."""
        if self.group == "elsewhere" or self._first_word in _SHARED:
            return False
        return self.weight >= _NAMING or self.term in _OF_EARS

    @property
    def names_part(self) -> bool:
        """Whether it may be what an ear holds: its drum, its canal, wax."""
        return self.group != "elsewhere" and self._first_word in _PARTS

    @property
    def _first_word(self) -> str:
        return self.term.split(" ")[0].split("|")[0]


@dataclass(slots=True, frozen=True)
class Window:
    """The words around a sentence.

    size: how many. told: how many of them in phrases of the vocabulary. spread: how many from the first that
    speaks of ear care to the last.
    """

    size: int
    told: int
    spread: int


@dataclass(slots=True)
class Scales:
    """What lies on the scales: the weight of each group, each term once however often it is said."""

    weight: dict[str, float] = field(default_factory=lambda: {"ear": 0.0, "care": 0.0, "elsewhere": 0.0})
    said: Counter[str] = field(default_factory=Counter)
    naming: int = 0
    parts: int = 0

    def put(self, e: Evidence) -> None:
        """Put one phrase on."""
        self.said[e.term] += 1
        if self.said[e.term] == 1:
            self.weight[e.group] += e.weight
        self.naming += e.names_ear
        self.parts += e.names_part

    def take(self, e: Evidence) -> None:
        """Take one phrase off again."""
        self.said[e.term] -= 1
        self.naming -= e.names_ear
        self.parts -= e.names_part
        if not self.said[e.term]:
            self.weight[e.group] -= e.weight
            del self.said[e.term]

    @property
    def ears(self) -> float:
        """All that speaks for ear care."""
        return self.weight["ear"] + self.weight["care"]

    @property
    def elsewhere(self) -> float:
        """All that speaks against it."""
        return self.weight["elsewhere"]

    def carried(self, window: Window) -> bool:
        """Whether ear care carries this window."""
        least, most = _NEEDED
        needed = min(most, max(least, most * window.size / _LONG))
        if window.size >= 2 * _LONG:
            told = "ear" in self.said and self.parts > 1
            named = self.naming or told or (self.parts and not self.elsewhere)
            if window.spread < _SPREAD * window.size or not named:
                return False
            needed -= _TELLING * (window.told / window.size - _TOLD)
        return self.ears - _AGAINST * self.elsewhere >= needed and (
            self.weight["care"] > 0 or window.size < _LONG
        )

    def foreign(self) -> bool:
        """Whether the window is clearly about something else."""
        return self.elsewhere >= max(4.0, 2 * self.ears)


@Language.component("topic", requires=["doc._.words", "doc._.mentions"], assigns=["doc._.mentions"])
def topic(doc: Doc) -> Doc:
    """Set aside every mention in talk that is not about ear care."""
    words: Words = doc._.words
    mentions: list[Mention] = doc._.mentions
    if mentions:
        about = about_ears(words, mentions)
        for m in mentions:
            if not about[words.sentence[m.start]]:
                m.aside, m.rule = NOT_AN_EAR, "topic"
    return doc


def about_ears(words: Words, mentions: Sequence[Mention]) -> list[bool]:
    """For each sentence, whether it stands in talk of ear care."""
    found = evidence(words.text)
    if _terse(words, mentions, found):
        return [True] * len(words.bounds)
    carried, foreign = [], []
    for scales, window in _windows(words, mentions, found):
        carried.append(scales.carried(window))
        foreign.append(scales.foreign())
    return _spread_out(words, carried, foreign)


def evidence(row: Sequence[str]) -> list[Evidence]:
    """Every weighed phrase in a row of words, but not what something is only likened to ("like a cork")."""
    out = []
    for found in _terms().find(row):
        for group, reading in found.readings.items():
            if group == "elsewhere" and _likens(row[max(found.start - 5, 0) : found.start]):
                continue
            weight, _, term = reading.partition(" ")
            out.append(Evidence(found.start, group, term, float(weight)))
    return out


def _likens(before: Sequence[str]) -> bool:
    """Whether these words make what follows a simile: "like a", "as empty as a"."""
    return "like" in before or (before.count("as") > 1 and "well" not in before)


def _windows(
    words: Words, mentions: Sequence[Mention], found: Sequence[Evidence]
) -> Iterator[tuple[Scales, Window]]:
    """For each sentence, its window and the scales with all that is said in it."""
    told = [0] * len(words.text)
    for m in mentions:
        if m.kind != "bare":
            told[m.start : m.end] = [1] * (m.end - m.start)
    sums = [0, *accumulate(told)]
    scales = Scales()
    ears = [e.at for e in found if e.group != "elsewhere"]
    first = past = 0
    for start, end in words.bounds:
        low, high = max(start - _WINDOW, 0), min(end + _WINDOW, len(words.text))
        while past < len(found) and found[past].at < high:
            scales.put(found[past])
            past += 1
        while first < past and found[first].at < low:
            scales.take(found[first])
            first += 1
        here = ears[bisect_left(ears, low) : bisect_left(ears, high)]
        yield scales, Window(high - low, sums[high] - sums[low], here[-1] - here[0] if here else 0)


def _spread_out(words: Words, carried: Sequence[bool], foreign: Sequence[bool]) -> list[bool]:
    """The sentences that ear care carries, and those within their reach until the talk turns elsewhere."""
    about = list(carried)
    for order in (range(len(about)), range(len(about) - 1, -1, -1)):
        last: int | None = None
        for i in order:
            if carried[i]:
                last = words.bounds[i][0]
            elif foreign[i]:
                last = None
            about[i] |= last is not None and abs(words.bounds[i][0] - last) <= _REACH
    return about


def _terse(words: Words, mentions: Sequence[Mention], found: Sequence[Evidence]) -> bool:
    """Whether so little is said, nearly all in the trade's words, that it must be a note of ear care."""
    said = [i for i, w in enumerate(words.text) if w not in MARKS]
    if len(said) > _TERSE or any(e.group == "elsewhere" for e in found):
        return False
    covered = {i for m in mentions for i in range(m.start, m.end)}
    covered |= {i for i in said if words.text[i] in ("left", "right")}
    if len(covered.intersection(said)) < 0.75 * len(said):
        return False
    formal = any(m.has("consent") or m.readings.get("visit") == "reference" for m in mentions)
    return bool(found) or formal or sum(any(m.has(k) for m in mentions) for k in _DESCRIBING) > 2


@cache
def _terms() -> Phrases:
    """The phrases of vocabulary/topic.yaml: each means, in its group, its weight and its term."""
    listed: dict[str, dict[float, list[Any]]] = shipped("topic.yaml")
    terms = Phrases()
    for group, weights in listed.items():
        for weight, entries in weights.items():
            for entry in entries:
                for phrase in [entry] if isinstance(entry, str) else entry:
                    for form in forms(phrase):
                        said = plain_word(" ".join(form)).replace("'s", " 's").split()
                        term = " ".join(said) if isinstance(entry, str) else entry[0]
                        terms.add(said, group, f"{weight} {term}")
    return terms
