"""What a step on a record did, in plain words: the place, the values, the entry for the history."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from desk import typed, wording
from desk.address import Place
from desk.lines import clean
from shared.record import Visit
from shared.store import Edit


def edit(
    visit: Visit, at: Place, before: dict[str, Any] | None, after: str | int | None, heard: str | None
) -> Edit:
    """What the history and learning keep of a change to one value; None before or after where there is none."""
    ear = visit.ears[at.ear].side.value if at.ear is not None and at.ear < len(visit.ears) else None
    was = before["value"] if before else None
    return Edit(field=at.in_ear, ear=ear, before=was, after=after, heard=heard)


def named(visit: Visit, at: Place) -> str:
    """A place in plain words, e.g. "right ear, before, drum"."""
    if at.field in ("ears", "ears.side"):
        side = visit.ears[at.ear].side.value if at.ear is not None and at.ear < len(visit.ears) else ""
        return (wording.EARS[side].lower() if side else "an ear") + (
            ", side" if at.field == "ears.side" else ""
        )
    parts = []
    if at.ear is not None and at.ear < len(visit.ears):
        parts.append(wording.EARS[visit.ears[at.ear].side.value].lower())
    names = at.in_ear.split(".")
    if names[0] in ("before", "after"):
        parts.append(names[0])
    for length in range(len(names), 0, -1):
        if label := wording.FIELDS.get(".".join(names[:length])):
            parts.append(_LABELS.get(".".join(names[:length]), label.lower()))
            break
    else:
        parts.append(wording.SECTIONS.get(names[0], names[-1].replace("_", " ")).lower())
    return ", ".join(dict.fromkeys(parts))


_LABELS = {
    "background.symptoms_denied": "symptom denied",
    "background.history_denied": "history denied",
    "complications": "complication",
    "complications_denied": "complication denied",
    "plan.referral": "referral",
    "plan.recall": "recall",
}
"""Where the label on the sheet says too little in a sentence."""


def shown_value(at: Place, value: Any, certainty: str = "stated") -> str:
    """A value as people read it, with its unit and any doubt."""
    word = typed.shown_values(at.field).get(str(value)) if at.closed else None
    unit = wording.UNITS.get(at.in_ear, "")
    return (
        (word or clean(str(value))) + (f" {unit}" if unit else "") + ("?" if certainty == "possible" else "")
    )


def said(values: Sequence[dict[str, Any]]) -> str:
    """Several values in a row, the first six of them."""
    words = [clean(str(v["value"])).replace("_", " ") for v in values]
    return ", ".join(words[:6]) + (f" and {len(words) - 6} more" if len(words) > 6 else "")
