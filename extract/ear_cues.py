"""The words that name an ear: "right ear", "the other side", "both"; and what only looks like them.

"Right" is also "well then", "left" also "remained", and "the left" may be of a drawer.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right

from extract.mentions import Mention
from extract.not_an_ear import COPULAS, NOUNS, is_compared, is_elsewhere, names_a_thing
from extract.words import MARKS, STOPS, Words
from shared.vocabulary import word_set

OPPOSITE = {"right": "left", "left": "right"}
OF_AN_EAR = frozenset(
    {
        "consistency",
        "colour",
        "occlusion",
        "percent",
        "depth",
        "skin",
        "canal",
        "foreign_body",
        "drum",
        "method",
        "instrument",
        "agent",
        "size",
        "tolerance",
        "clearance",
        "length",
        "complication",
        "not_seen",
        "removal",
        "same",
        "ellipsis",
    }
)
"""Kinds of mention that are said of an ear."""

_NOT_A_PLACE = word_set("ears", "not_a_place")
_DONE = word_set("ears", "done")
_AFTER_BOTH = word_set("ears", "after_both")
_TAKEN_OUT = word_set("ears", "taken_out")
_TURNING = word_set("ears", "turning")
_GOING = word_set("ears", "going")
_AFTER_COUNT = word_set("ears", "after_count")
ONE_EACH = word_set("ears", "one_each")
"""Of these an ear holds one: "both plugs" are of both ears, if two are spoken of."""
_PAIR = word_set("ears", "pair")
_COUNTED = 40
"""Words before "both plugs" in which two of them may have been found in one ear."""
_GOES = word_set("ears", "goes")
_GOES_NEAR = 15
"""Words back within which "the second" is taken to be of tries that were counted."""
_PIECES = word_set("ears", "counted_pieces")
_CHOSEN = word_set("ears", "chosen")
_IDENTIFYING = word_set("ears", "identifying")
_ASKING = word_set("ears", "asking")
_ORDERS = word_set("ears", "orders")
_NOT_YET = word_set("ears", "not_yet")
_LATER = word_set("ears", "later")
_NOW = word_set("ears", "now")
_PASSING = frozenset({"other_person", "past_visit", "teaching", "chat"})
"""What follows one of these is not of this ear now."""
SEEN_AT_ONCE = frozenset({"percent", "occlusion", "consistency", "colour", "drum", "clearance", "depth"})
"""Kinds of mention that may follow a side at once ("left 60%")."""


def side_of(cue: Mention) -> str:
    """What a cue points at: right, left, both, other, this, that or first."""
    return cue.readings["ear_cue"]


def cues_of(words: Words, mentions: list[Mention]) -> list[Mention]:
    """The mentions of one sentence that do name an ear."""
    return [m for m in mentions if m.has("ear_cue") and m.live and _is_cue(words, m, mentions)]


def turns_to(words: Words, cue: Mention, mentions: list[Mention]) -> bool:
    """Whether a sentence with nothing else to record turns to an ear ("now let's look at the left") rather than
    mentioning one in passing ("tell him the right ear can wait", "the last lady had it on the left")."""
    row = words.text
    start, end = words.bounds[words.sentence[cue.start]]
    before = row[start : cue.start]
    passing = [o.end for o in mentions if o.readings.get("aside") in _PASSING and o.start < cue.start]
    if passing and not _NOW & set(row[passing[-1] : cue.start]):
        return False
    said_of_it = row[cue.end : end] if before or not _opens(words, cue) else []
    if _NOT_YET & set(before) or _LATER & set(said_of_it):
        return False
    ordered = next((w for w in before if w not in _ASKING), "")
    return ordered not in _ORDERS or bool(_GOING & set(before))


def stands_alone(words: Words, cue: Mention) -> bool:
    """Whether the part of a cue says nothing but where ("..., both sides, ...")."""
    part = words.part[cue.start]
    length = bisect_right(words.part, part) - bisect_left(words.part, part)
    return length <= cue.end - cue.start + 3


def _opens(words: Words, cue: Mention) -> bool:
    """Whether a cue is all that is said before a comma ("right ear only, she swims three times a week")."""
    return words.text[cue.end : cue.end + 1] == [","] or words.text[cue.end : cue.end + 2] == ["only", ","]


def prepositional(words: Words, cue: Mention) -> bool:
    """Whether a cue tells where ("on the right") rather than what is spoken of."""
    near = words.text[max(cue.start - 2, 0) : cue.start + 1]
    return any(w in ("in", "on", "from", "at", "of", "with", "for", "to") for w in near)


def turning(words: Words, cue: Mention) -> bool:
    """Whether the talk turns to an ear ("over to the right"): nothing said before is of it."""
    i = cue.start
    start, _ = words.bounds[words.sentence[i]]
    row = words.text
    if row[i] in ("to", "in", "on", "into"):
        return i > start and row[i - 1] in _GOING
    return (
        i - 1 > start
        and row[i - 1] in ("to", "the", "into")
        and bool(_GOING & set(row[max(i - 3, start) : i]))
    )


def identifies(words: Words, a: Mention, b: Mention) -> bool:
    """Whether the second cue says which side the first is ("the first ear's the left")."""
    between = words.text[a.end : b.start]
    return side_of(b) in OPPOSITE and bool(COPULAS & set(between)) and _IDENTIFYING.issuperset(between)


def names_ear_in_hand(words: Words, cue: Mention) -> bool:
    """Whether the cue names the ear in hand ("for the notes, that's the right ear I've just done")."""
    start, end = words.bounds[words.sentence[cue.start]]
    said = words.text[start:end]
    before = words.text[max(cue.start - 3, start) : cue.start]
    if words.text[cue.end : cue.end + 2] in (
        ["this", "was"],
        ["that", "was"],
        ["this", "is"],
        ["that", "is"],
    ):
        return True
    return ("'s" in before or "was" in before or "is" in before) and bool(
        _DONE & set(said) or {"that", "this"} & set(before) or ("it" in before and not _NOW & set(said))
    )


def _is_cue(words: Words, m: Mention, mentions: list[Mention]) -> bool:
    row = words.text
    side, said = side_of(m), row[m.start : m.end]
    following = row[m.end] if m.end < len(row) else ""
    if is_compared(row, m) or any(o.has("aside") and o.start <= m.start < m.end < o.end for o in mentions):
        return False
    if not NOUNS & set(said) and is_elsewhere(words, m):
        return False
    if side in OPPOSITE and said[-1] in OPPOSITE:
        of_part = following == "of" and bool(NOUNS & set(row[m.end + 1 : m.end + 3]))
        if of_part or following in _NOT_A_PLACE or names_a_thing(row, m, mentions):
            return False
    if side == "other" and not {"ear", "side"} & set(said):
        return _is_other_ear(words, m, mentions)
    if (
        side == "both"
        and said[0] == "of"
        and (row[m.start - 1].endswith("er") or row[m.start - 1] in _CHOSEN)
    ):
        return False
    if side in ("good", "bad") and said[-1] == "one":
        return _is_other_ear(words, m, mentions)
    if side in ("first", "second") and said[0] == "the" and len(said) == 2:
        return following in STOPS and all(
            w in _TURNING for w in row[words.bounds[words.sentence[m.start]][0] : m.start]
        )
    if side in ("first", "second") and not {"ear", "side", "one"} & set(said):
        earlier = row[max(m.start - _GOES_NEAR, 0) : m.start]
        pieces = any(a == "first" and b in _PIECES for a, b in itertools.pairwise(earlier))
        return (
            not pieces
            and not _GOES & set(earlier)
            and (not following or following in MARKS or following in _AFTER_COUNT)
        )
    if side == "both" and said == ["both"]:
        taken_out = m.end + 1 < len(row) and row[m.end + 1] in _TAKEN_OUT
        one_each = following in ONE_EACH and not _PAIR & set(row[max(m.start - _COUNTED, 0) : m.start])
        described = any(o.live and o.start == m.end and o.kind in SEEN_AT_ONCE for o in mentions)
        pieces = any(o.has("piece") and m.end < o.start <= m.end + 2 for o in mentions)
        of_ears = following in _AFTER_BOTH or following in MARKS or (described and not pieces)
        return one_each or (of_ears and not taken_out)
    return True


def _is_other_ear(words: Words, m: Mention, mentions: list[Mention]) -> bool:
    """Whether "the other one" is an ear: it opens the sentence, or is looked at; it is not measured."""
    start = words.bounds[words.sentence[m.start]][0]
    lead = [w for w in words.text[start : m.start] if w not in _TURNING]
    looked = words.text[m.start - 1] in ("in", "at", "to", "into", "on") and bool(
        {"look", "over", "back", "onto"} & set(lead)
    )
    measured = any(o.kind == "length" and m.start < o.start < m.end + 6 for o in mentions)
    return not measured and (not lead or looked)
