"""Sides that name no ear: of a room, a thing or another part of the body, or of what an ear is compared with."""

from __future__ import annotations

from extract.mentions import Mention
from extract.words import Words
from shared.vocabulary import word_set

NOUNS = word_set("ears", "nouns")
"""A cue with one of these is of an ear."""
COPULAS = frozenset({"'s", "is", "was", "are", "were", "has", "had", "needs"})
_SIDES = frozenset({"right", "left"})
_ROOM = word_set("ears", "room")
_AS_ON = word_set("ears", "as_on")
_LIKE = word_set("ears", "like")
_ALIKE = word_set("ears", "alike")
_BODY = word_set("ears", "body")
_POSTURE = word_set("ears", "posture")
_TURNED = word_set("ears", "turned")
_ASKING = word_set("ears", "asking")
_PERSONS = word_set("ears", "persons")
_ADVERBS = word_set("ears", "adverbs")


def is_compared(row: list[str], m: Mention) -> bool:
    """Whether an ear is only what another is compared with ("the same as on the right", "drier than the left")."""
    i = m.start
    while i and row[i - 1] in _AS_ON:
        i -= 1
    if not i:
        return False
    return row[i - 1] in _LIKE or (row[i - 1] in ("to", "with") and i > 1 and row[i - 2] in _ALIKE)


def names_a_thing(row: list[str], m: Mention, mentions: list[Mention]) -> bool:
    """Whether some other noun follows the side ("the left lens is loose")."""
    if m.end + 1 >= len(row) or not row[m.end].isalpha() or row[m.end + 1] not in COPULAS:
        return False
    word = row[m.end]
    told = any(o.start <= m.end < o.end for o in mentions if o is not m)
    return not told and word not in _ADVERBS and word not in _PERSONS and not word.endswith(("ly", "ed"))


def is_elsewhere(words: Words, m: Mention) -> bool:
    """Whether a side with no "ear" to it is one of the room, of another part of the body, or that someone lies on
    or is told to turn to."""
    row = words.text
    start, end = words.bounds[words.sentence[m.start]]
    if _ROOM & set(row[max(m.start - 3, start) : min(m.end + 3, end)]):
        return True
    if m.end < end and row[m.end] in _BODY:
        return True
    opening = m.start
    while opening > start and words.part[opening - 1] == words.part[m.start]:
        opening -= 1
    opening = max([opening, *(i + 1 for i in range(opening, m.start) if row[i] in _SIDES)])
    before = row[opening : m.start]
    if _POSTURE & set(before[-4:]) or (
        _TURNED & set(before[-6:]) and (_BODY | {"you", "your"}) & set(before)
    ):
        return True
    asked = [w for w in before if w not in _ASKING]
    return bool(asked) and asked[0] in _TURNED and not {"on", "over"} & set(asked)
