"""The noun that governs a word: what "healthy" or "dry" is said of."""

from __future__ import annotations

from extract.mentions import Mention
from extract.setting import Setting
from extract.words import MARKS
from shared.vocabulary import word_set

_PLACES = word_set("subjects", "places")
_BETWEEN = word_set("subjects", "between")
_JOINTS = word_set("subjects", "joints")
_BEFORE_NOUN = word_set("subjects", "before_noun")
_LINKING = word_set("subjects", "linking")
_AHEAD = 5
"""Words in which the noun that an adjective stands before is looked for."""


def governor(m: Mention, at: Setting) -> Mention | None:
    """The noun that a word belongs to: just after it ("healthy drum"), or before it in the sentence."""
    ahead = _noun_ahead(m, at) or _noun_of_place(m, at)
    if ahead is not None:
        return ahead
    before = [h for h in at.heads if h.end <= m.start]
    seen = [h for h in at.heads if h.readings["head"] in ("drum", "canal") and h.start > m.start]
    fresh = at.focus.since > 1 or at.focus.last not in ("drum", "canal")
    named = len(seen) == 1 and not m.has("weak") and at.words.text[seen[0].start - 1] == "the"
    if not before and named and fresh and m.has("drum", "canal"):
        return seen[0]
    subjects = [h for h in before if not is_place(h, at)]
    return subjects[-1] if subjects else before[-1] if before else None


def is_place(head: Mention, at: Setting) -> bool:
    """Whether a noun tells where ("wax in the canal") rather than what is described."""
    row = at.words.text
    if head.readings["head"] == "wax":
        return False
    for back in (1, 2, 3):
        i = head.start - back
        if i < 0 or row[i] in MARKS:
            return False
        if row[i] in _PLACES:
            return True
        if row[i] not in _BEFORE_NOUN:
            return False
    return False


def _noun_ahead(m: Mention, at: Setting) -> Mention | None:
    """The noun an adjective stands before, with only further adjectives between ("dry flaky skin")."""
    row = at.words.text
    if m.start and row[m.start - 1] in _LINKING:
        return None
    for i in range(m.end, min(m.end + _AHEAD, len(row))):
        noun = next((h for h in at.heads if h.start == i), None)
        if noun is not None:
            return noun
        flakes = next(
            (o for o in at.mentions if o.start == i and o.has("skin") and row[o.end - 1] == "skin"), None
        )
        if flakes is not None:
            return Mention(flakes.start, flakes.end, {"head": "skin"})
        joint = row[i] in _JOINTS and _describes(i + 1, at)
        if row[i] not in _BETWEEN and not joint and not _describes(i, at):
            return None
    return None


def _noun_of_place(m: Mention, at: Setting) -> Mention | None:
    """The part of the ear where something is seen ("a perforation in the drum")."""
    if not m.has("drum", "canal"):
        return None
    where = next((h for h in at.heads if m.end < h.start <= m.end + _AHEAD), None)
    if where is None or where.readings["head"] not in ("drum", "canal", "skin", "cavity"):
        return None
    between = at.words.text[m.end : where.start]
    parted = any(w in MARKS or w == "and" for w in between)
    return where if _PLACES & set(between) and not parted else None


def _describes(i: int, at: Setting) -> bool:
    """Whether word i is another adjective of the same noun."""
    return any(
        m.start <= i < m.end and m.has("consistency", "colour", "drum", "canal", "skin") for m in at.mentions
    )
