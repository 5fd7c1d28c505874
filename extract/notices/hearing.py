"""Words that a patient's safety hangs on and that the recogniser, or a repair, was not sure of."""

from __future__ import annotations

from collections.abc import Iterator

from extract.mentions import Mention
from extract.notices.guidance import guidance
from extract.notices.view import VisitView, repairs_in
from shared.record import Notice


def unsure(view: VisitView) -> Iterator[Notice]:
    """One notice for each stretch of words in doubt, whatever was recorded from it."""
    rules = guidance()
    sort_of = {field: sort for sort, listed in rules.safety.items() for field in listed}
    said = {view.chars(m): m for m in view.live if m.kind or m.has("ear_cue")}
    told: set[tuple[int, int]] = set()
    for v in sorted(view.values, key=lambda v: v.ear is None):  # an ear's own side before a symptom's
        chars = v.value.chars
        if chars is None or v.value.origin == "entered" or v.value.value == "unstated" or chars in told:
            continue
        m = said.get(chars)
        sort = sort_of.get(v.field, "")
        if not sort and v.value.origin == "inferred":
            continue
        if _in_doubt(view, m) or (sort and _unsure(view, m, v.value.confidence)):
            told.add(chars)
            yield view.notice(f"uncertain_{sort or 'words'}", v, more=_why(view, m))


def _in_doubt(view: VisitView, m: Mention | None) -> bool:
    """Whether the reading itself asks for a look, safety word or not."""
    if m is None:
        return False
    return any(r.doubtful for r in repairs_in(view.words, m.start, m.end))


def _unsure(view: VisitView, m: Mention | None, confidence: float) -> bool:
    """Whether a safety word was repaired, or it or what denies it was heard with low probability."""
    limit = guidance().limits.probability
    if confidence < limit:
        return True
    if m is None:
        return False
    if repairs_in(view.words, m.start, m.end):
        return True
    by = view.denying(m) if m.polarity == "denied" else None
    sure = view.transcript.probability(*by) if by is not None and view.transcript is not None else None
    return sure is not None and sure < limit


def _why(view: VisitView, m: Mention | None) -> str:
    """A sentence on what was repaired or doubted."""
    if m is None:
        return ""
    reasons = [f"“{r.heard}” was taken for “{r.meant}”" for r in repairs_in(view.words, m.start, m.end)]
    return f"{'; '.join(reasons)}." if reasons else ""
