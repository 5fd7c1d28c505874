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
_LIKENING = frozenset({"exactly", "just", "much", "pretty", "the"})
_ROUGH = word_set("mentions", "rough")
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
    alone: list[Mention] = []
    taken = {i for m in mentions if m.has("ear_cue", "noise") for i in range(m.start, m.end)}
    said = set(taken)
    of_ear = [m for m in mentions if m.live and m.kind in OF_AN_EAR]
    seen = {m.start for m in of_ear if m.kind in SEEN_AT_ONCE}
    told = seen | {m.start for m in of_ear if m.kind in ("skin", "canal", "foreign_body")}
    likened = {
        _before_likening(row, m.start - (row[m.start] not in OPPOSITE)) for m in of_ear if m.kind == "same"
    }
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
        if row[start] == "left" and row[start + 1 : start + 2] in (["i"], ["we"]):
            spots = [start]  # "left I have also looked at"; "right I ..." is "well then"
        if row[begin:end] == ["right", "now", "."] and any(
            m.readings.get("ear_cue") == "left" for m in mentions
        ):
            taken.discard(begin)
            spots, last = [begin], last | {begin}
        spots += [
            i for i in range(start, end) if (i == start or row[i - 1] in MARKS) and _is_followed(row, i, seen)
        ]
        spots += [
            i
            for i in range(start, end - 1)
            if row[i + 1] in _PLAIN_NEXT and (i == start or row[i - 1] in MARKS)
        ]
        spots += [i for i in range(begin, end) if i in last and (i + 1 == end or row[i + 1] in MARKS)]
        if row[end - 3 : end] == [",", "left", "."] and end - 3 in last:
            spots.append(end - 2)  # "attempted suction, left."; ", right." may be "all right"
            last.add(end - 2)
        for spot in spots:
            side = row[spot]
            visit = next((m.visit for m in mentions if words.sentence[m.start] >= number), -1)
            if side not in OPPOSITE or spot in taken or visit < 0:
                continue
            cue = Mention(spot, spot + 1, {"ear_cue": side}, kind="ear_cue", value=side, visit=visit)
            sure = side == "left" or spot in last or bool(_VERBS_NEXT & set(row[spot + 1 : spot + 2]))
            taken.add(spot)
            if sure or spot in likened or any(spot < i <= spot + 6 for i in told):
                found.append((cue, sure))
            elif row[begin:end] == ["right", "."]:
                alone.append(cue)
    lefts = {cue.visit for cue, _ in found if cue.value == "left"}
    named = {m.visit for m in mentions if m.live and m.readings.get("ear_cue") == "left"}
    kept = [
        cue
        for cue, sure in found
        if sure
        or cue.visit in lefts
        or (
            cue.visit in named
            and (_is_plainly_told(row, cue) or cue.start in likened or _left_is_done(words, mentions, cue))
        )
    ]
    kept += [c for c in alone if any(_is_first_of_two(row, o) for o in kept if o.visit == c.visit)]
    kept += [c for c in _tools_of_each(words, of_ear, said) if c.start not in {k.start for k in kept}]
    return sorted([*mentions, *kept], key=lambda m: (m.start, -m.end)) if kept else mentions


def _before_likening(row: list[str], at: int) -> int:
    """From word `at` back the first that is no mark, "the" or "much the" before "same again"; -1 if there is none."""
    while at >= 0 and row[at] not in OPPOSITE and (row[at] in MARKS or row[at] in _LIKENING):
        at -= 1
    return at


def _is_followed(row: list[str], i: int, seen: set[int]) -> bool:
    """Whether one of the words seen stands right after word i, but for such as make a share a rough one ("left about
    half")."""
    i += 1
    while i not in seen and i < len(row) and row[i] in _ROUGH:
        i += 1
    return i in seen


def _is_plainly_told(row: list[str], cue: Mention) -> bool:
    """Whether a bare side is told of in a word ("Right fine, no wax")."""
    return row[cue.end] in _PLAIN_NEXT and row[cue.end + 1] in MARKS


def _left_is_done(words: Words, mentions: list[Mention], cue: Mention) -> bool:
    """Whether the left ear's fill was told and its wax is out, so that "right, sixty percent" is of the other ear
    and no "well then"."""
    row = words.text
    earlier = [m for m in mentions if m.live and m.visit == cue.visit and m.end <= cue.start]
    lefts = [m.start for m in earlier if m.readings.get("ear_cue") in OPPOSITE]
    if not lefts or "left" not in row[lefts[-1] : lefts[-1] + 3]:
        return False
    since = [m for m in earlier if m.start > lefts[-1]]
    filled = any(m.kind in ("percent", "occlusion") for m in since)
    cleared = any(m.kind == "clearance" and m.value == "complete" for m in since)
    at = cue.end + (row[cue.end] in MARKS)
    again = any(m.live and m.kind in ("percent", "occlusion") and at <= m.start <= at + 1 for m in mentions)
    return cue.value == "right" and filled and cleared and again


def _is_first_of_two(row: list[str], cue: Mention) -> bool:
    """Whether a bare side was called the first ("First left.")."""
    return row[cue.start - 1] == "first" and cue.start > 0


def _tools_of_each(words: Words, of_ear: list[Mention], taken: set[int]) -> list[Mention]:
    """Sides that open a sentence straight before a tool, where both do ("Right fine tube, out. Left suction.")."""
    tools = {m.start: m for m in of_ear if m.kind in ("instrument", "method")}
    found: list[Mention] = []
    for begin, end in words.bounds:
        side = words.text[begin]
        if side in OPPOSITE and begin not in taken and begin + 1 < end and begin + 1 in tools:
            visit = tools[begin + 1].visit
            found.append(
                Mention(begin, begin + 1, {"ear_cue": side}, kind="ear_cue", value=side, visit=visit)
            )
    return [c for c in found if {o.value for o in found if o.visit == c.visit} == OPPOSITE.keys()]
