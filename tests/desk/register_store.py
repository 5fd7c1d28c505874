"""Visits with known figures, made without the reader."""

from __future__ import annotations

from typing import Any

from shared.record import After, Before, Ear, Plan, Procedure, Recall, Referral, Value, Visit, Wax

ANN = "Ann Example"


def said(value: Any, *, doubtful: bool = False, seconds: tuple[float, float] | None = None) -> Value[Any]:
    certainty = "possible" if doubtful else "stated"
    return Value(value=value, certainty=certainty, heard="word", chars=(0, 4), seconds=seconds)


def ear(side: str = "right", *, cleared: str = "complete", happened: tuple[str, ...] = (), mm: tuple[int, ...] = (),
        end: float | None = None, doubtful: bool = False, skin: str | None = None) -> Ear:  # fmt: skip
    """An ear cleared by microsuction, with words from second 0 to `end`."""
    before = Before(wax=[Wax(where=said("whole"), consistency=[said("hard")])])
    before.skin = [said(skin)] if skin else []
    return Ear(
        side=said(side, seconds=(0, 1) if end else None),
        before=before,
        procedure=Procedure(methods=[said("microsuction")]),
        removed_mm=[said(n) for n in mm],
        after=After(clearance=said(cleared, doubtful=doubtful, seconds=(end - 1, end) if end else None)),
        complications=[said(one) for one in happened],
    )


def visit(
    *ears: Ear, reference: str | None = "41", back: tuple[int, str] | None = None, to: str | None = None
) -> Visit:
    return Visit(
        patient_reference=said(reference) if reference else None,
        ears=list(ears),
        plan=Plan(
            recall=Recall(number=said(back[0]), unit=said(back[1])) if back else None,
            referral=Referral(to=said(to)) if to else None,
        ),
    )
