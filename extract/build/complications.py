"""What went wrong in an ear, and what was said not to have."""

from __future__ import annotations

from dataclasses import replace

from extract.build.values import Values, first_of_each
from extract.mentions import Mention
from shared.record import Ear

_DENIABLE = frozenset(
    {"bleeding", "pain", "dizziness", "cough", "faint", "abrasion", "tinnitus", "perforation"}
)


def complications(values: Values, ear: Ear, mine: list[Mention]) -> None:
    """Put the complications of an ear, affirmed and denied, into its record."""
    said = [m for m in mine if m.kind == "complication"]
    said += _said_again(values, mine)
    denied = [m for m in said if m.polarity == "denied"]
    ear.complications = values.listed(m for m in values.without_taken_back(said) if m.polarity != "denied")
    kept = {v.value for v in ear.complications}
    ear.complications_denied = [
        values.value(m, m.value)
        for m in first_of_each(denied, lambda m: m.value)
        if m.value not in kept and m.value in _DENIABLE
    ]


def _said_again(values: Values, mine: list[Mention]) -> list[Mention]:
    """ "None on the left" or "a little from the second", after a complication of the other ear."""
    sentence = values.words.sentence
    cues = {m.start for m in values.mentions if m.has("ear_cue")}
    out = []
    for again in (m for m in mine if m.kind == "ellipsis"):
        none = again.value == "none"
        if none and is_of_wax(values, again):
            continue
        before = [
            m
            for m in values.mentions
            if m.kind == "complication" and m.live and m.start < again.start and m.visit == again.visit
        ]
        if not before or sentence[again.start] - sentence[before[-1].start] > (2 if none else 0):
            continue
        if none or cues & {again.end - 1, again.end, again.end + 1}:
            polarity = "denied" if none else "affirmed"
            out.append(replace(again, kind="complication", value=before[-1].value, polarity=polarity))
    return out


def is_of_wax(values: Values, none: Mention) -> bool:
    """Whether "none on the right" goes on about wax ("hard wax on the left, none on the right")."""
    start, _ = values.words.bounds[values.words.sentence[none.start]]
    before = [m for m in values.mentions if start <= m.start < none.start and m.live]
    told = [m for m in before if m.kind in ("complication", "consistency", "colour") or m.value == "wax"]
    if not told and values.words.text[none.start] == "nothing" and not _harm_before(values, start):
        return True  # "Nothing on the left, and that drum's fine."
    return bool(told) and told[-1].kind != "complication"


def _harm_before(values: Values, start: int) -> bool:
    """Whether the sentence before word `start` tells of bleeding and the like, which "nothing" may go on about."""
    number = values.words.sentence[start] - 1
    return number >= 0 and any(
        m.kind in ("complication", "tolerance") and values.words.sentence[m.start] == number
        for m in values.mentions
    )
