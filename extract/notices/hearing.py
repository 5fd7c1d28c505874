"""Words that a patient's safety hangs on and that the recogniser, or a repair, was not sure of.

The recogniser is not sure if it gave them a low probability, or if a second hearing wrote something else.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from extract.mentions import Mention
from extract.notices.guidance import guidance
from extract.notices.view import VisitView, repairs_in
from shared.record import Notice

_SIGNS = " .,;:?!"


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
        if v.value.value in rules.watched.get(v.field, ()):
            sort = "finding"
        if not sort and v.value.origin == "inferred":
            continue
        differs = bool(sort and _others(view, chars, m))
        if _in_doubt(view, m) or differs or (sort and _unsure(view, m, v.value.confidence)):
            told.add(chars)
            more = " ".join(s for s in (_heard_twice(view, chars, m), _why(view, m)) if s)
            yield view.notice(f"uncertain_{sort or 'words'}", v, more=more)


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


def _others(view: VisitView, chars: tuple[int, int], m: Mention | None) -> list[tuple[str, str]]:
    """(heard, heard the second time) of the words, and of what denies them, where the hearings differ."""
    if view.transcript is None:
        return []
    by = view.denying(m) if m is not None and m.polarity == "denied" else None
    spans = [chars, by] if by is not None and not chars[0] <= by[0] < chars[1] else [chars]
    differ = (w for span in spans for w in view.transcript.words_in(*span) if w.also_heard is not None)
    runs = (list(run) for _, run in groupby(differ, key=lambda w: w.also_heard))
    text = view.transcript.text
    return [(text[run[0].chars[0] : run[-1].chars[1]].strip(_SIGNS), run[0].also_heard or "") for run in runs]


def _heard_twice(view: VisitView, chars: tuple[int, int], m: Mention | None) -> str:
    """A sentence on what the second hearing wrote."""
    said = (
        f"Heard as “{one}” and as “{other.strip(_SIGNS)}”."
        if other
        else f"A second hearing did not hear “{one}”."
        for one, other in _others(view, chars, m)
    )
    return " ".join(said)


def _why(view: VisitView, m: Mention | None) -> str:
    """A sentence on what was repaired or doubted."""
    if m is None:
        return ""
    reasons = [f"“{r.heard}” was taken for “{r.meant}”" for r in repairs_in(view.words, m.start, m.end)]
    return f"{'; '.join(reasons)}." if reasons else ""
