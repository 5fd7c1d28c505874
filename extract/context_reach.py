"""How far a trigger of negation or doubt reaches, word by word, without a parser.

A scope ends at its sentence, at a stop word, at its reach, and where talk without punctuation turns to
something new: "no pain | the canal is full". Word classes come from shared/vocabulary/context.yaml.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from spacy.tokens import Doc

from extract.context_rules import Row, Rules

LONGEST = 60
"""No scope is longer than this many words, so that a look-up need not search the whole text."""

_NONE: frozenset[str] = frozenset()
_BEFORE_ASIDE = frozenset(("i", "and", "but", "though", "although", ":", "?", "-"))
_PAUSES = frozenset(",.;:?!-–—…")


class Words:
    """The words of a document without its blanks.

    keys: spaCy NORM hashes; token: the token index of each word; limits: token indexes where sentences start.
    """

    def __init__(self, doc: Doc, rules: Rules, limits: Sequence[int]) -> None:
        table = doc.to_array(["NORM", "IS_SPACE", "LIKE_NUM"])
        kept = np.flatnonzero(table[:, 1] == 0)
        self.keys: list[int] = table[kept, 0].tolist()
        self.token: list[int] = kept.tolist()
        self._number = table[kept, 2]
        self._doc = doc
        self._strings = doc.vocab.strings
        self._dash = self._strings["-"]
        self._rules = rules
        starts = np.searchsorted(kept, np.asarray(limits, dtype=np.int64))
        self._edges: list[int] = sorted({0, *starts.tolist(), len(self.keys)})

    def classes(self, i: int) -> frozenset[str]:
        return self._rules.classes.get(self.keys[i], _NONE)

    def text(self, i: int) -> str:
        return self._strings[self.keys[i]]

    def is_number(self, i: int) -> bool:
        return bool(self._number[i])

    def is_pause(self, i: int) -> bool:
        return self.text(i)[0] in _PAUSES

    def is_stop(self, i: int, bound: int) -> bool:
        if self.keys[i] == self._dash:  # "right-sided" is one thing, "no pain - dry canal" is two
            token = self._doc[self.token[i]]
            return token.text != "-" or (i > 0 and bool(token.nbor(-1).whitespace_))
        return bool(self._rules.stops.longest(self.keys, i, bound)[1])

    def is_prefix(self, i: int) -> bool:
        """Whether a mark stands before its word, as in "? perforation", and not after it."""
        if i + 1 == len(self.keys):
            return False
        before = self._doc[self.token[i] - 1] if i else None
        return before is None or before.is_space or bool(before.whitespace_)

    def sentence(self, i: int) -> tuple[int, int]:
        """The words [start, end) of the sentence that holds word `i`."""
        n = bisect_right(self._edges, i)
        return self._edges[n - 1], self._edges[n]


@dataclass(frozen=True)
class Found:
    """A trigger: words [start, end) and its rule."""

    start: int
    end: int
    row: Row


def forward(words: Words, begin: int, bound: int, takes: str, reach: int) -> int:
    """Where the scope of a trigger that ends before word `begin` closes; at most `bound`."""
    own_verb = takes == "clause"  # the clause's own finite verb is still to come
    opened = True  # only the trigger, "or" and small words so far: whatever follows is governed
    full = False  # a finding was named, so the next thing is something new
    turn: int | None = None  # the new clause starts here, if it proves to be one
    left = reach
    before: frozenset[str] = _NONE
    for i in range(begin, min(bound, begin + LONGEST)):
        kinds = words.classes(i)
        if not opened and words.is_stop(i, bound):
            return i
        if "connective" in kinds:
            left = reach
            if "alternative" in kinds:
                opened, full, turn = True, False, None
            else:
                opened, turn = False, i
            before = kinds
            continue
        left -= 1
        if left < 0:
            return i
        new = i if turn is None else turn
        held = opened or "preposition" in before or "held" in before
        if "verb" in kinds:
            goes_on = opened or before & {"verb", "preposition", "subordinator"}
            if not goes_on and not (i + 1 < bound and "observed" in words.classes(i + 1)):
                if not own_verb:
                    return new
                own_verb, turn = False, None
        elif "pronoun" in kinds:
            if not held and "subordinator" not in before:
                return new
        elif "subordinator" in kinds and i + 1 < bound and (opened or "verb" in words.classes(i + 1)):
            pass
        elif "determiner" in kinds:
            if held or "subordinator" in before or (i > begin and words.text(i - 1).endswith("ing")):
                kinds |= {"held"}
            elif takes == "noun" or (takes == "predicate" and turn == i - 1):
                return new
            elif turn is None:
                turn = i
        elif "topic" in kinds:
            if full and not held:
                return new
            kinds |= {"held"}
        elif not held and (
            ("state" in kinds and takes == "noun") or (words.is_number(i) and (takes == "noun" or full))
        ):
            return new
        elif full and "finding" in before and turn is None and not kinds & {"finding", "preposition"}:
            turn = i
        if turn is not None and takes == "noun" and _turns(words, begin, turn, i, bound):
            return new
        full = full or bool(kinds & {"finding", "topic"})
        opened = opened and bool(kinds & {"verb", "pronoun", "subordinator", "adverb"})
        before = kinds
    return min(bound, begin + LONGEST)


def _turns(words: Words, begin: int, turn: int, i: int, bound: int) -> bool:
    """Whether word i, the first after a bare comma, opens something new: what happened ("no pain, cough once"), or
    a thing in its place after a thing in another ("no swelling of the canal, hair at the entrance")."""
    if i != turn + 1 or words.text(turn) != "," or i + 1 >= bound:
        return False
    following = words.classes(i + 1)
    placed = any("preposition" in words.classes(k) for k in range(begin, turn))
    return "occurring" in following or (placed and words.text(i + 1) in ("at", "in", "on"))


def backward(words: Words, end: int, low: int, reach: int, through: bool = False) -> int:
    """Where the scope of a trigger that starts at word `end` opens; at least `low`.

    The trigger's own auxiliaries and the pause before it are passed, with `through` all commas.
    """
    i = end - 1
    while i >= low and ("verb" in words.classes(i) or words.text(i) in _BEFORE_ASIDE):
        i -= 1
    if i >= low and words.is_pause(i):
        i -= 1
    opening = i + 1
    joined: int | None = None  # the first "and" met: a list if no verb comes before it, else a new clause
    while i >= low and end - i <= reach + 2:
        kinds = words.classes(i)
        if words.text(i) in (",", "comma"):
            after = words.classes(i + 1)
            if joined is None and "place" not in after and not through:
                break
        elif "connective" in kinds:
            joined = i if joined is None else joined
        elif "verb" in kinds or "pronoun" in kinds:
            return opening if joined is None else joined + 1
        elif words.is_stop(i, end):
            break
        opening = i
        i -= 1
    return opening


def governs(words: Words, one: Found, low: int, bound: int) -> bool:
    """Whether something follows that the trigger could govern: "not seen any fluid", not "not seen today"."""
    i = one.end
    if i >= bound or (one.row.category == "historical" and one.start > low):
        return False
    if i + 1 < bound and one.start > low and words.is_pause(i) and words.is_pause(one.start - 1):
        return "verb" in words.classes(i + 1)  # "the drum, I think, is dull"
    return not words.is_pause(i) and "adjunct" not in words.classes(i) and not words.is_stop(i, bound)


def question(words: Words, mark: Found, low: int) -> tuple[int, int] | None:
    """What a question mark governs: the next words in "? perforation", else the question it ends.

    A question with a verb states nothing (hypothetical), one without is a doubt (possible). One answered with
    "yes", and a tag after a statement ("isn't it?"), are neither.
    """
    doubt = mark.row.category == "possible"
    if words.is_prefix(mark.start):
        end = words.sentence(mark.end)[1]
        return (mark.end, forward(words, mark.end, end, mark.row.takes, mark.row.reach)) if doubt else None
    if mark.end < len(words.keys) and "assent" in words.classes(mark.end):
        return None
    first = max(low, mark.start - LONGEST)
    commas = [low - 1, *(i for i in range(first, mark.start) if words.text(i) in (",", "..."))]
    start = commas[-1] + 1
    if mark.start - start == 2 and "verb" in words.classes(start) and len(commas) > 1:
        start = commas[-2] + 1  # "it stings, does it?"
    if low < mark.start and words.classes(low) & {"verb", "asking"}:
        start = first
    asks = any(words.classes(i) & {"verb", "pronoun", "asking"} for i in range(start, mark.start))
    tag = any(words.text(i) == "not" for i in range(max(start, mark.start - 3), mark.start))
    return None if asks is doubt or tag else (start, mark.start)


def fronts(words: Words, denial: Found, low: int, bound: int) -> tuple[int, int] | None:
    """What stands before its own clause and is denied by it: "pain he is not having", "dizziness she hasn't got"."""
    rest = [i for i in range(denial.end, bound) if not words.is_pause(i)]
    subject = denial.start - 2
    closed = not rest or (len(rest) == 1 and "having" in words.classes(rest[0]))
    if not closed or subject <= low or subject - low > 4 or "verb" not in words.classes(denial.start - 1):
        return None
    named = range(low, subject)
    if "pronoun" not in words.classes(subject) or any(words.classes(i) & {"verb", "pronoun"} for i in named):
        return None
    return None if any(words.is_pause(i) for i in named) else (low, subject)


def takes_back(words: Words, no: Found, low: int, bound: int) -> bool:
    """Whether a "no" corrects: "eighteen no sixteen", "left no right", "grey no black actually"."""
    if no.end < bound and words.is_number(no.end):
        return True
    if any("amending" in words.classes(i) for i in range(no.end + 1, min(no.end + 3, bound))):
        return True
    if no.end == bound or "side" not in words.classes(no.end):
        return False
    sides_before = any("side" in words.classes(i) for i in range(max(low, no.start - 4), no.start))
    return sides_before or no.end + 1 == bound or words.is_pause(no.end + 1)
