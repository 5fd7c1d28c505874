"""Sides said with no noun: "Left. No wax."; "Right 80%, left 60%"; "ditto left"."""

from __future__ import annotations

from extract.ear_cues import OF_AN_EAR, OPPOSITE, SEEN_AT_ONCE
from extract.mentions import Mention
from extract.words import MARKS, Words
from shared.vocabulary import word_set

_LEADS = word_set("ears", "leads")
_BARE_NEXT = word_set("ears", "bare_next")
_VERBS_NEXT = word_set("ears", "verbs_next")
_PLAIN_NEXT = word_set("ears", "plain_next")
_LIKE = word_set("ears", "like")
_BEFORE_SIDE = frozenset(
    {"percent", "occlusion", "drum", "clearance", "length", "instrument", "method", "consistency", "colour"}
)
"""Kinds of mention that a side may close ("sucker right, curette left")."""


def with_bare_sides(words: Words, mentions: list[Mention]) -> list[Mention]:
    """Add the sides said with no noun at a sentence's start ("Left. No wax."; "Right, packed solid").

    "Right" alone is mostly "well then": it counts only where the visit names its left so, or both ears, and a
    finding follows at once.
    """
    row = words.text
    found: list[tuple[Mention, bool]] = []
    taken = {i for m in mentions if m.has("ear_cue", "noise") for i in range(m.start, m.end)}
    of_ear = [m for m in mentions if m.live and m.kind in OF_AN_EAR]
    seen = {m.start for m in of_ear if m.kind in SEEN_AT_ONCE}
    last = {m.end for m in of_ear if m.kind in _BEFORE_SIDE}
    last |= {m.end for m in of_ear if m.kind == "same" and row[m.end - 1] not in _LIKE}
    last |= {
        m.end for m in mentions if m.live and m.kind == "symptom" and "?" not in row[m.end + 1 : m.end + 2]
    }
    for number, (begin, end) in enumerate(words.bounds):
        start = begin
        while start < end - 2 and row[start] in _LEADS:
            start += 1
        spots = [start] if end - start > 1 and row[start + 1] in _BARE_NEXT else []
        if row[begin:end] == ["right", "now", "."] and any(
            m.readings.get("ear_cue") == "left" for m in mentions
        ):
            taken.discard(begin)
            spots, last = [begin], last | {begin}
        spots += [i for i in range(start, end) if i + 1 in seen and (i == start or row[i - 1] in MARKS)]
        spots += [
            i
            for i in range(start, end - 1)
            if row[i + 1] in _PLAIN_NEXT and (i == start or row[i - 1] in MARKS)
        ]
        spots += [i for i in range(begin, end) if i in last and (i + 1 == end or row[i + 1] in MARKS)]
        for spot in spots:
            side = row[spot]
            visit = next((m.visit for m in mentions if words.sentence[m.start] >= number), -1)
            if side not in OPPOSITE or spot in taken or visit < 0:
                continue
            cue = Mention(spot, spot + 1, {"ear_cue": side}, kind="ear_cue", value=side, visit=visit)
            sure = side == "left" or spot in last or bool(_VERBS_NEXT & set(row[spot + 1 : spot + 2]))
            taken.add(spot)
            if sure or any(spot < i <= spot + 6 for i in seen):
                found.append((cue, sure))
    lefts = {cue.visit for cue, _ in found if cue.value == "left"}
    named = {m.visit for m in mentions if m.live and m.readings.get("ear_cue") == "left"}
    kept = [
        cue
        for cue, sure in found
        if sure or cue.visit in lefts or (cue.visit in named and _is_plainly_told(row, cue))
    ]
    return sorted([*mentions, *kept], key=lambda m: (m.start, -m.end)) if kept else mentions


def _is_plainly_told(row: list[str], cue: Mention) -> bool:
    """Whether a bare side is told of in a word ("Right fine, no wax")."""
    return row[cue.end] in _PLAIN_NEXT and row[cue.end + 1] in MARKS
