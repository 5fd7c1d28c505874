"""What became of every phrase of a text: recorded, and as what; or mentioned only, and why not recorded."""

from __future__ import annotations

import bisect
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from spacy.tokens import Doc

from extract.build import Builder
from extract.corrections import CORRECTED
from extract.measures import Measure
from extract.mentions import Mention, quoted
from extract.misfits import NOT_LINKED
from extract.notices.guidance import plain_path
from extract.notices.view import repairs_in
from extract.words import Words
from shared.record import Value, Visit
from shared.transcript import Transcript
from shared.vocabulary import CLOSED

DENIED = "denied"
REPEATED = "said again; recorded from other words"
OUTDONE = "another statement of the same thing stands"
OTHER_MEASURE = {
    "length": "a length, but not of a removed piece",
    "percent": "a percentage, but not how full the canal was",
    "size": "a size, but of no instrument that was used",
    "interval": "a time, but not when to come back or how long a softener was used",
    "reference": "a number that refers to no patient",
}
"""Why a measure that nothing set aside is not in the record."""

_SHOWN = (frozenset(CLOSED) | frozenset(OTHER_MEASURE) | {"not_seen"}) - {"layer"}
_FIELD_OF = {
    "hearing_outcome": "hearing",
    "complication": "complications",
    "instrument": "instruments",
    "method": "methods",
    "symptom": "symptoms",
    "agent": "agents",
    "length": "removed_mm",
    "not_seen": "drum",
    "percent": "occlusion_percent",
}
_NAMES = {
    "": "an ear",
    "ear_cue": "an ear",
    "not_seen": "a drum that is not seen",
    "hearing_outcome": "hearing",
}


@dataclass(frozen=True)
class Entry:
    """A value recorded from a stretch of text.

    visit: its number, from 1. path: its place in the record. field: the path without numbers. side: of the
    ear it belongs to, "" if to none.
    """

    visit: int
    path: str
    field: str
    side: str
    value: Value[Any]


@dataclass(frozen=True)
class Explained:
    """A stretch of the text; the stretches join up to the whole.

    chars: [start, end) in the text. entries: what was recorded from it. meant: what a phrase that is not
    recorded could mean, as (kind, value). reason: why it is not recorded. rule: what took it.
    """

    chars: tuple[int, int]
    text: str
    sort: Literal["recorded", "mentioned", "other"] = "other"
    entries: tuple[Entry, ...] = ()
    meant: tuple[tuple[str, str], ...] = ()
    reason: str = ""
    rule: str = ""


def explain(doc: Doc, visits: Sequence[Visit] | None = None) -> list[Explained]:
    """The text of a Doc from `Reader.annotate`, cut into stretches. visits: built from it if None."""
    if visits is None:
        visits = Builder(doc, Transcript.from_text(doc.text)).visits()
    entries = _merged(_entries(visits))
    mentions = _by_chars(doc)
    taken = _beside(entries, (c for c, found in mentions.items() if any(_is_shown(m) for m in found)))
    recorded = {(e.field.rsplit(".", 1)[-1], str(e.value.value)) for found in entries.values() for e in found}
    out: list[Explained] = []
    whole, at = doc.text, 0
    for chars in taken:
        if chars[0] > at:
            out.append(Explained((at, chars[0]), whole[at : chars[0]]))
        text = whole[chars[0] : chars[1]]
        found = mentions.get(chars, [])
        if chars in entries:
            out.append(
                Explained(
                    chars,
                    text,
                    "recorded",
                    tuple(entries[chars]),
                    rule=_rule(doc._.words, entries[chars], found),
                )
            )
        else:
            out.append(_mentioned(chars, text, next(m for m in found if _is_shown(m)), recorded))
        at = chars[1]
    if at < len(whole):
        out.append(Explained((at, len(whole)), whole[at:]))
    return out


def _entries(visits: Sequence[Visit]) -> dict[tuple[int, int], list[Entry]]:
    """What was recorded, by the characters it came from."""
    found: dict[tuple[int, int], list[Entry]] = {}
    for number, visit in enumerate(visits, 1):
        for path, value in visit.values():
            if value.chars is None or (path.endswith(".where") and value.value == "whole"):
                continue
            side = visit.ears[int(path[5 : path.index("]")])].side.value if path.startswith("ears[") else ""
            found.setdefault(value.chars, []).append(Entry(number, path, plain_path(path), side, value))
    return found


def _by_chars(doc: Doc) -> dict[tuple[int, int], list[Mention]]:
    found: dict[tuple[int, int], list[Mention]] = {}
    for m in doc._.mentions or []:
        found.setdefault(quoted(doc, m), []).append(m)
    return found


def _merged(
    entries: dict[tuple[int, int], list[Entry]],
) -> dict[tuple[int, int], list[Entry]]:
    """Recorded spans that overlap as one, so that nothing recorded goes unshown."""
    out: dict[tuple[int, int], list[Entry]] = {}
    last = (-1, -1)
    for span in sorted(entries):
        if span[0] < last[1]:
            found = out.pop(last) + entries[span]
            last = (last[0], max(last[1], span[1]))
            out[last] = found
        else:
            last = span
            out[span] = list(entries[span])
    return out


def _beside(recorded: Iterable[tuple[int, int]], others: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """The recorded spans, and the others where there is room, the longer first; in the order of the text."""
    kept = sorted(recorded)
    for span in sorted(others, key=lambda s: (s[0] - s[1], s[0])):
        place = bisect.bisect_left(kept, span)
        free_before = place == 0 or kept[place - 1][1] <= span[0]
        free_after = place == len(kept) or kept[place][0] >= span[1]
        if free_before and free_after:
            kept.insert(place, span)
    return kept


def _is_shown(m: Mention) -> bool:
    """Whether a phrase could have been recorded; words that only steer the reading are not shown."""
    if m.aside == CORRECTED and (m.kind == "bare" or "ear_cue" in m.readings):
        return True
    if "weak" in m.readings and m.kind in ("", "weak"):
        return False
    return m.kind in _SHOWN or (not m.kind and bool(_SHOWN.intersection(m.readings)))


def _mentioned(chars: tuple[int, int], text: str, m: Mention, recorded: set[tuple[str, str]]) -> Explained:
    if m.measure is not None:
        meant: tuple[tuple[str, str], ...] = ((m.kind, _amount(m.measure)),)
    elif m.kind:
        meant = ((m.kind, str(m.value)),)
    else:
        meant = tuple((k, v) for k, v in m.readings.items() if k in _SHOWN or k == "ear_cue")
    return Explained(chars, text, "mentioned", meant=meant, reason=_reason(m, recorded), rule=m.rule)


def _amount(measure: Measure) -> str:
    """A measure as it reads: "18 mm", "80 %", "3 months", "18G"."""
    unit = {"length": "mm", "percent": "%", "interval": measure.unit}.get(measure.kind, "")
    return measure.text or f"{float(measure.value):g} {unit}".strip()


def _reason(m: Mention, recorded: set[tuple[str, str]]) -> str:
    if m.aside:
        return m.aside
    if m.polarity == "denied":
        return DENIED
    if not m.kind:
        return NOT_LINKED
    if m.kind in OTHER_MEASURE:
        return OTHER_MEASURE[m.kind]
    same = (_FIELD_OF.get(m.kind, m.kind), str(m.value))
    return REPEATED if same in recorded else OUTDONE


def _rule(words: Words, entries: Sequence[Entry], mentions: Sequence[Mention]) -> str:
    """What took a recorded phrase: vocabulary or measure, what it was said of, what was concluded."""
    taken = next((m for m in mentions if _is_shown(m) and m.live), mentions[0] if mentions else None)
    parts = []
    if taken is not None:
        parts.append(
            "a measure" if taken.measure is not None else f"a phrase for {_NAMES.get(taken.kind, taken.kind)}"
        )
        parts += [taken.rule] if taken.rule else []
        parts += [f"“{r.heard}” taken for “{r.meant}”" for r in repairs_in(words, taken.start, taken.end)]
        if taken.polarity != "affirmed":
            parts.append("said with doubt" if taken.polarity == "possible" else DENIED)
    if any(e.value.origin == "inferred" for e in entries):
        parts.append("partly inferred" if any(e.value.origin == "heard" for e in entries) else "inferred")
    return ", ".join(parts)
