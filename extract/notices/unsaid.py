"""What a record should hold and nobody said: side, consent, the drum after the work, complications."""

from __future__ import annotations

from collections.abc import Iterator

from extract.notices.view import Located, VisitView
from shared.record import Notice


def unsaid(view: VisitView) -> Iterator[Notice]:
    """What one visit leaves unsaid."""
    ears = view.visit.ears
    for i, ear in enumerate(ears):
        if ear.side.value == "unstated":
            behind = Located(ear.side, f"ears[{i}].side", "ears.side", i, "unstated")
            yield view.notice("side_unstated", behind)
    worked = [i for i in range(len(ears)) if view.worked(i)]
    if worked and (view.visit.background is None or view.visit.background.consent is None):
        yield view.notice("consent_unsaid", path="background.consent", side=_sides(view, worked))
    for i in worked:
        if not view.ear_values(i, "after.drum"):
            yield view.notice("drum_not_described", path=f"ears[{i}].after.drum", side=ears[i].side.value)
    silent = [i for i in worked if not view.ear_values(i, "complications", "complications_denied")]
    if silent:
        path = f"ears[{silent[0]}].complications"
        yield view.notice("complications_unsaid", path=path, side=_sides(view, silent))
    if len(ears) == 1:
        yield view.notice("second_ear_unsaid", path="ears", side=ears[0].side.value)


def _sides(view: VisitView, ears: list[int]) -> str:
    return "both" if len(ears) > 1 else view.visit.ears[ears[0]].side.value
