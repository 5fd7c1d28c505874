"""The words that name an ear: "right ear", "the other side", "both"; and what only looks like them.

"Right" is also "well then", "left" also "remained", and "the left" may be of a drawer.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right

from extract.mentions import Mention
from extract.words import MARKS, Words
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
_NOT_RIGHT = word_set("ears", "not_right")
_ROOM = word_set("ears", "room")
_DONE = word_set("ears", "done")
_LEADS = word_set("ears", "leads")
_BARE_NEXT = word_set("ears", "bare_next")
_AFTER_BOTH = word_set("ears", "after_both")
_TAKEN_OUT = word_set("ears", "taken_out")
_TURNING = word_set("ears", "turning")
_AS_ON = word_set("ears", "as_on")
_ORDERS = word_set("ears", "orders")
_SEEN_AT_ONCE = frozenset({"percent", "occlusion", "consistency", "colour", "drum", "clearance", "depth"})
_BEFORE_SIDE = frozenset({"percent", "occlusion", "drum", "clearance", "length"})


def side_of(cue: Mention) -> str:
    """What a cue points at: right, left, both, other, this, that or first."""
    return cue.readings["ear_cue"]


def cues_of(words: Words, mentions: list[Mention]) -> list[Mention]:
    """The mentions of one sentence that do name an ear."""
    return [m for m in mentions if m.has("ear_cue") and m.live and _is_cue(words, m, mentions)]


def with_bare_sides(words: Words, mentions: list[Mention]) -> list[Mention]:
    """Add the sides said with no noun at a sentence's start ("Left. No wax."; "Right, packed solid").

    "Right" alone is mostly "well then": it counts only where the visit names its left so, or both ears, and a
    finding follows at once.
    """
    row = words.text
    found: list[tuple[Mention, bool]] = []
    taken = {i for m in mentions if m.has("ear_cue", "noise") for i in range(m.start, m.end)}
    of_ear = [m for m in mentions if m.live and m.kind in OF_AN_EAR]
    seen = {m.start for m in of_ear if m.kind in _SEEN_AT_ONCE}
    last = {m.end for m in of_ear if m.kind in _BEFORE_SIDE}
    for number, (begin, end) in enumerate(words.bounds):
        start = begin
        while start < end - 2 and row[start] in _LEADS:
            start += 1
        spots = [start] if end - start > 1 and row[start + 1] in _BARE_NEXT else []
        spots += [i for i in range(begin, end) if i in last and (i + 1 == end or row[i + 1] in MARKS)]
        for spot in spots:
            side = row[spot]
            visit = next((m.visit for m in mentions if words.sentence[m.start] >= number), -1)
            if side not in OPPOSITE or spot in taken or visit < 0:
                continue
            cue = Mention(spot, spot + 1, {"ear_cue": side}, kind="ear_cue", value=side, visit=visit)
            sure = side == "left" or spot in last
            if sure or any(spot < i <= spot + 6 for i in seen):
                found.append((cue, sure))
    lefts = {cue.visit for cue, _ in found if cue.value == "left"}
    kept = [cue for cue, sure in found if sure or cue.visit in lefts]
    return sorted([*mentions, *kept], key=lambda m: (m.start, -m.end)) if kept else mentions


def turns_to(words: Words, cue: Mention) -> bool:
    """Whether a sentence with nothing else to record turns to an ear ("now let's look at the left") rather than
    mentioning one in passing ("tell him the right ear can wait")."""
    start, _ = words.bounds[words.sentence[cue.start]]
    return words.text[start] not in _ORDERS


def stands_alone(words: Words, cue: Mention) -> bool:
    """Whether the part of a cue says nothing but where ("..., both sides, ...")."""
    part = words.part[cue.start]
    length = bisect_right(words.part, part) - bisect_left(words.part, part)
    return length <= cue.end - cue.start + 3


def prepositional(words: Words, cue: Mention) -> bool:
    """Whether a cue tells where ("on the right") rather than what is spoken of."""
    near = words.text[max(cue.start - 2, 0) : cue.start + 1]
    return any(w in ("in", "on", "from", "at", "of", "with", "for", "to") for w in near)


def names_ear_in_hand(words: Words, cue: Mention) -> bool:
    """Whether the cue names the ear in hand ("for the notes, that's the right ear I've just done")."""
    start, end = words.bounds[words.sentence[cue.start]]
    said = words.text[start:end]
    before = words.text[max(cue.start - 3, start) : cue.start]
    return ("'s" in before or "was" in before or "is" in before) and bool(
        _DONE & set(said) or "that" in before or "this" in before
    )


def _is_cue(words: Words, m: Mention, mentions: list[Mention]) -> bool:
    row = words.text
    side, said = side_of(m), row[m.start : m.end]
    following = row[m.end] if m.end < len(row) else ""
    if _ROOM & set(row[max(m.start - 3, 0) : m.end + 3]):
        return False
    if side in OPPOSITE and said[-1] in OPPOSITE and following in _NOT_A_PLACE:
        return False
    if side == "right" and said[-1] == "right" and following in _NOT_RIGHT:
        return False
    if any(
        o.has("same") and o.start <= m.start <= o.end + 3 and _AS_ON.issuperset(row[o.end : m.start])
        for o in mentions
    ):
        return False
    if side == "other" and not {"ear", "side"} & set(said):
        return _is_other_ear(words, m, mentions)
    if side == "both" and said == ["both"]:
        taken_out = m.end + 1 < len(row) and row[m.end + 1] in _TAKEN_OUT
        return (following in _AFTER_BOTH or following in MARKS) and not taken_out
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
