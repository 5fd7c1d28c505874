"""Which ear the patient's story is of: the side of each symptom and each point of history."""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right

from extract.ear_cues import OPPOSITE, side_of, stands_alone
from extract.ears_in_hand import EarsInHand
from extract.mentions import Mention
from extract.words import Words
from shared.vocabulary import word_set

_VERBS = word_set("ears", "verbs")
_PERSONS = word_set("ears", "persons")
_LIST = frozenset({",", "and", "or"})
_AND = frozenset({"and", "a", "an", "some"})
_LISTED = 3
"""Words before the last of two complaints in a part ("itchy and blocked")."""
_BOTHER = word_set("ears", "bother")
_NOT_OF_AN_EAR = frozenset(
    {"diabetes", "anticoagulants", "immunosuppressed", "cleft_palate", "head_neck_radiotherapy"}
)


def side_the_story(
    words: Words, patient: list[Mention], live: list[Mention], cues: list[Mention], hand: EarsInHand
) -> None:
    """Give symptoms and history the side said with them, or referred to by "it", "that side" or "the other".

    patient: the symptoms and history of one sentence; live, cues: all its mentions, and those that name an ear.
    """
    previous = ""
    operated: Mention | None = None
    last = side_of(hand.last_side) if hand.last_side is not None else ""
    for m in patient:
        by = _said_with(words, m, patient, live, cues)
        side = side_of(by) if by is not None else ""
        m.linked = [by] if by is not None else []
        sided = [c for c in cues if c.start < m.start and side_of(c) in ("right", "left", "both")]
        before = sided[-1] if sided else hand.last_side
        if side in ("that", "this", "first"):
            side = side_of(sided[-1]) if sided and sided[-1] is not by else last
            m.linked = [before] if before is not None and (sided or side) else []
        elif (
            not side
            and before is not None
            and side_of(before) in OPPOSITE
            and _carries_on(words, m, bool(sided))
        ):
            side, m.linked = side_of(before), [before]
        if side in ("other", "second"):
            side = OPPOSITE.get(previous or last, "")
        if not side and _both_in(words.text, m, cues):
            side, m.linked = side_of(cues[-1]), [cues[-1]]
        m.side = side if side in ("right", "left", "both") and m.value not in _NOT_OF_AN_EAR else ""
        if m.value == "mastoid_cavity" and not m.side and operated is not None:
            m.side, m.linked = operated.side, operated.linked
        operated = m if m.value == "ear_surgery" and m.side else operated
        previous = m.side or previous
    led: set[int] = set()
    for a, b in reversed(list(itertools.pairwise(patient))):
        close = (id(b) in led or (b.linked and b.linked[0].start == b.end)) and _LIST.issuperset(
            words.text[a.end : b.start]
        )
        if close:
            led.add(id(a))
        if a.kind == b.kind == "symptom" and not a.side and close and a.value not in _NOT_OF_AN_EAR:
            a.side, a.linked = b.side, b.linked  # "itchy, weeping, painful left ear"
        if a.kind == b.kind == "symptom" and not a.side and a.value not in _NOT_OF_AN_EAR and b.linked:
            joined = _AND.issuperset(words.text[a.end : b.start]) and "and" in words.text[a.end : b.start]
            if joined and b.linked[0].start >= b.end:  # "pain and a blocked feeling in the left ear"
                a.side, a.linked = b.side, b.linked
    for c in cues:
        if patient and side_of(c) in OPPOSITE:
            hand.last_side = c


def side_the_question(asked: list[Mention], cues: list[Mention]) -> None:
    """Give what was asked the side that the answer names ("Ringing? Sometimes, on the left.")."""
    for m in asked:
        if not m.side and m.live and m.polarity != "denied" and m.value not in _NOT_OF_AN_EAR:
            m.side, m.linked = side_of(cues[0]), [cues[0]]


def _said_with(
    words: Words, m: Mention, patient: list[Mention], live: list[Mention], cues: list[Mention]
) -> Mention | None:
    """The nearest cue in the same part, or alone in the next ("..., on the left") or in the one before."""
    part = words.part[m.start]
    own = {part, words.part[m.end - 1]}
    inside = [c for c in cues if own & {words.part[o.start] for o in (c, *c.linked)}]
    after = [
        c
        for c in cues
        if words.part[c.start] == part + 1
        and (stands_alone(words, c) or not any(words.part[o.start] == part + 1 for o in live))
        and not any(words.part[o.start] == part + 1 for o in patient)
    ]
    before = [
        c
        for c in cues
        if words.part[c.start] == part - 1
        and stands_alone(words, c)
        and _opens_part(words, m)
        and not any(words.part[o.start] == part - 1 for o in patient)
    ]  # "right ear, blocked for a month"
    named = [
        c for c in cues if m.kind == "history" and _apposed(words, m) and words.part[c.start] == part - 1
    ]  # "an infection in that ear, otitis externa"
    return min(inside or after or before or named, key=lambda c: abs(c.start - m.start), default=None)


def _apposed(words: Words, m: Mention) -> bool:
    """Whether a part is nothing but the name of what the part before tells of."""
    part = words.part[m.start]
    length = bisect_right(words.part, part) - bisect_left(words.part, part)
    return length <= m.end - m.start + 2


def _opens_part(words: Words, m: Mention) -> bool:
    """Whether nothing but its person and verb stands before a complaint in its part ("she is having itching")."""
    start = m.start
    while start and words.part[start - 1] == words.part[m.start]:
        start -= 1
    return all(w in _VERBS or w in _PERSONS for w in words.text[start : m.start])


def _carries_on(words: Words, m: Mention, sided: bool) -> bool:
    """Whether something with no side of its own goes on about the ear named before."""
    row = words.text
    start = m.start
    while start and words.part[start - 1] == words.part[m.start]:
        start -= 1
    if m.kind == "history":
        again = (
            m.value == "previous_removal" and "it" in row[m.start : m.end]
        )  # "a cavity on the right, we clean it"
        return row[start : start + 2] == ["and", "it"] or again or _of_it(row, m)
    if m.kind != "symptom" or m.value == "dizziness":
        return False
    said = row[start : m.end + 5]
    own_subject = start > 0 and row[start] not in _VERBS and not _bothers(words, m, start)
    inside = ("in", "there") in itertools.pairwise(said)
    return "it" in said or inside or (sided and not own_subject)


def _bothers(words: Words, m: Mention, start: int) -> bool:
    """Whether the sentence says which ear bothers the patient, and then how ("the left one bothers him, blocked")."""
    begin = words.bounds[words.sentence[start]][0]
    listed = start == m.start or words.text[m.start - 1] in ("and", "or")
    return listed and m.start - start <= _LISTED and bool(_BOTHER & set(words.text[begin:start]))


def _of_it(row: list[str], m: Mention) -> bool:
    """Whether a point of history is said of the ear named before ("had the wax taken out of it")."""
    said = row[m.start : m.end + 3]
    return any(a in ("of", "in", "on") and b == "it" for a, b in itertools.pairwise(said))


def _both_in(row: list[str], m: Mention, cues: list[Mention]) -> bool:
    """Whether the sentence goes on "both in the left ear", of everything listed before."""
    if not cues or cues[-1].start < m.start or side_of(cues[-1]) not in OPPOSITE:
        return False
    return "both" in row[max(cues[-1].start - 2, m.end) : cues[-1].start + 1]
