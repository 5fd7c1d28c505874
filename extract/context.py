"""Which words are denied, doubted, dated, supposed or said of somebody else: scopes after ConText.

NegEx: Chapman et al., J Biomed Inform 2001;34:301-310.
ConText: Harkema et al., J Biomed Inform 2009;42:839-851.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from spacy.language import Language
from spacy.tokens import Doc

from extract.context_reach import (
    LONGEST,
    Found,
    Words,
    backward,
    forward,
    fronts,
    governs,
    question,
    takes_back,
)
from extract.context_rules import RULES_FILE, load_rules

Polarity = Literal["affirmed", "negated", "possible"]

EMBEDDED = 3
"""Words: a doubt this close behind a denial belongs to it ("no evidence of a possible hole")."""


@dataclass(frozen=True)
class Scope:
    """Tokens [start, end) that a trigger governs; trigger: its own tokens [start, end); phrase: its rule."""

    category: str
    start: int
    end: int
    trigger: tuple[int, int]
    phrase: str


class Context:
    """Finds the scopes of the triggers in a rules file.

    Raises BadVocabulary, naming file and entry, if the file does not follow its schema.
    """

    def __init__(self, nlp: Language, path: Path = RULES_FILE) -> None:
        self.rules = load_rules(nlp, path)

    def scopes(self, doc: Doc, limits: Sequence[int]) -> list[Scope]:
        """All scopes, ordered by start. limits: token indexes where sentences start."""
        words = Words(doc, self.rules, limits)
        found = list(self._triggers(words))
        spans: list[tuple[Found, int, int]] = []
        floor = 0
        for n, one in enumerate(found):
            for start, end in _spans(words, one, floor, _next_doubt(found, n), _next_denial(words, found, n)):
                if start < end:
                    spans.append((one, start, end))
            following = found[n + 1].start if n + 1 < len(found) else one.end
            floor = one.end if following >= one.end else floor
        lifted = _lifted(spans)
        token = words.token
        scopes = [
            Scope(
                one.row.category,
                token[start],
                token[end - 1] + 1,
                (token[one.start], token[one.end - 1] + 1),
                one.row.phrase,
            )
            for one, start, end in spans
            if one not in lifted
        ]
        return sorted(scopes, key=lambda scope: scope.start)

    def _triggers(self, words: Words) -> Iterator[Found]:
        """The longest triggers from left to right; a pseudo trigger uses up its words and yields nothing."""
        tree, keys = self.rules.triggers, words.keys
        first, done = tree.steps, 0
        for i, key in enumerate(keys):
            if key in first and i >= done:
                end, rows = tree.longest(keys, i, words.sentence(i)[1])
                if rows:
                    done = end
                    yield from (Found(i, end, row) for row in rows if row.category != "pseudo")

    def certainty_of(self, scopes: Sequence[Scope], start: int, end: int) -> tuple[Polarity, Scope | None]:
        """Whether tokens [start, end) are affirmed, negated or possible, and by which scope.

        A denial outweighs a doubt. A trigger inside the tokens asked about ("not visible" as a finding) is
        part of them and does not count. `scopes` must be ordered as `scopes()` returns them.
        """
        over = covering(scopes, start, end)
        for polarity in ("negated", "possible"):
            for scope in over:
                if scope.category == polarity:
                    return polarity, scope
        return "affirmed", None


def covering(scopes: Sequence[Scope], start: int, end: int) -> list[Scope]:
    """The scopes that overlap tokens [start, end), latest first, but for those whose trigger lies inside."""
    found = []
    for n in range(bisect_left(scopes, end, key=lambda scope: scope.start) - 1, -1, -1):
        scope = scopes[n]
        if scope.start < start - 2 * LONGEST:
            break
        if scope.end > start and not (scope.trigger[0] < end and scope.trigger[1] > start):
            found.append(scope)
    return found


def _spans(words: Words, one: Found, floor: int, doubt: int, denial: int) -> list[tuple[int, int]]:
    """What a trigger governs. floor: end of the trigger before it; doubt: start of the next doubt; denial: start of
    the next "no" that opens a part."""
    low, bound = words.sentence(one.start)
    row = one.row
    if row.answers and one.start == low and _counts_on(words, one, bound):
        return []
    if row.answers and (one.end == bound or words.is_pause(one.end) or words.text(one.end) == "any"):
        return _answered(words, one, low, floor)
    if row.phrase == "no" and takes_back(words, one, low, bound):
        return []
    if (
        row.category == "negated"
        and row.phrase.startswith("not")
        and (fronted := fronts(words, one, low, bound))
    ):
        return [fronted]
    if row.category == "possible" and _only_about(words, one.end, bound):
        return []
    if row.phrase == "?":
        span = question(words, one, low)
        return [span] if span else []
    if row.direction == "forward" or (row.direction == "either" and governs(words, one, low, bound)):
        if row.category == "negated" and doubt >= one.end + EMBEDDED:
            bound = min(bound, doubt)
        elif row.category == "possible":  # "perhaps dull, no wax"
            bound = min(bound, denial)
        return [(one.end, forward(words, one.end, bound, row.takes, row.reach))]
    alone = one.start - low <= 1 and all(words.is_pause(i) for i in range(one.end, bound))
    if row.category == "possible" and alone and low > 0:  # "A small hole at the front. Can't be certain."
        end = low
        low = words.sentence(low - 1)[0]
    else:
        end = one.start
    if row.category == "negated" and row.direction == "backward" and governs(words, one, low, bound):
        return []  # "negative deflections"
    if row.category == "other":  # "cleft palate, no, sorry, that's the sister"
        return [(backward(words, end, low, row.reach, through=True), end)]
    return [(backward(words, end, max(low, min(floor, end)), row.reach), end)]


def _counts_on(words: Words, no: Found, bound: int) -> bool:
    """Whether a "no" puts a figure right rather than denying ("For a week, was it? No, ten days.")."""
    i = no.end
    return i + 1 < bound and words.text(i) == "," and words.is_number(i + 1)


def _only_names(words: Words, one: Found, low: int) -> bool:
    """Whether "she's on none" answers a sentence before it that only names something ("Blood thinners, good lad.")."""
    start = max(words.sentence(low - 1)[0], low - _HEADING)
    verbless = not any(words.classes(i) & {"verb", "pronoun"} for i in range(start, low))
    return len(one.row.phrase.split()) > 1 and one.end - one.start > 2 and verbless


_HEADING = 9
"""Words of a sentence that only names what the next one denies."""


def _only_about(words: Words, i: int, bound: int) -> bool:
    """Whether a doubt is about a figure that follows at once, and so only says "about" ("maybe ten percent")."""
    while i < bound and (words.is_number(i) or words.text(i) in _ABOUT):
        i += 1
        if i < bound and words.is_number(i - 1) and words.text(i) in _FIGURED:
            return True
    return False


_ABOUT = frozenset(("about", "around", "roughly", "some", "a", "-"))
_FIGURED = frozenset(
    ("percent", "%", "per", "mil", "mils", "millimetres", "millimeters", "mm", "cm", "centimetres")
)


def _answered(words: Words, one: Found, low: int, floor: int) -> list[tuple[int, int]]:
    """A lone "no" or "none" denies the question before it, or what stands before its colon."""
    if one.start == low:
        asked = low > 0 and (words.text(low - 1) == "?" or _only_names(words, one, low))
        return [(max(words.sentence(low - 1)[0], low - LONGEST), low)] if asked else []
    for i in range(one.start - 1, max(low, one.start - LONGEST) - 1, -1):
        if words.text(i) == "any":
            return [(i, one.start)]
    if words.text(one.start - 1) in (":", "?", "-") or one.row.phrase != "no":
        return [(backward(words, one.start, max(low, floor), one.row.reach), one.start)]
    return []


def _next_doubt(found: Sequence[Found], n: int) -> int:
    for other in found[n + 1 : n + 8]:
        if other.row.category == "possible":
            return other.start
    return found[n].end + LONGEST


def _next_denial(words: Words, found: Sequence[Found], n: int) -> int:
    for other in found[n + 1 : n + 8]:
        if other.row.phrase == "no" and words.is_pause(other.start - 1):
            return other.start
    return found[n].end + LONGEST


def _lifted(spans: Sequence[tuple[Found, int, int]]) -> set[Found]:
    """Denials taken back by an outer one, and that outer one: "not as though he's never had it"."""
    gone: set[Found] = set()
    for n, (outer, start, end) in enumerate(spans):
        if outer.row.lifts:
            near = (one for one, _, _ in spans[n + 1 : n + 8] if start <= one.start < end)
            inner = [one for one in near if one.row.category == "negated"]
            gone.update(inner[:1])
            if inner and outer.row.category == "negated":
                gone.add(outer)
    return gone


@Language.factory("earside_context", requires=["token.is_sent_start"], assigns=["doc._.scopes"])
def create_context(nlp: Language, name: str) -> ContextComponent:
    return ContextComponent(nlp)


class ContextComponent:
    """Stores the scopes of a document in `doc._.scopes`.

    Raises ValueError if no earlier component has set where sentences start.
    """

    def __init__(self, nlp: Language) -> None:
        self.context = Context(nlp)
        if not Doc.has_extension("scopes"):
            Doc.set_extension("scopes", default=())

    def __call__(self, doc: Doc) -> Doc:
        if len(doc) > 1 and not doc.has_annotation("SENT_START"):
            raise ValueError(
                "earside_context needs sentence starts: add a component that sets them before it"
            )
        starts = doc.to_array("SENT_START") == 1 if len(doc) else np.zeros(0, dtype=bool)
        doc._.scopes = self.context.scopes(doc, np.flatnonzero(starts).tolist())
        return doc
