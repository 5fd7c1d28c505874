"""Things said that cannot all hold, and sides put right far from where they were first said."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from extract.mentions import Mention
from extract.notices.guidance import guidance
from extract.notices.view import VisitView
from extract.words import STOPS
from shared.record import Notice

_SOON = 3
"""Words between "sorry" and the side that is put right."""

_OVER = frozenset({"more", "further", "longer", "anymore", "stopped", "stops", "settled", "now"})
"""Words of a denial that grant it happened before ("no further bleeding")."""


def contradictions(view: VisitView) -> Iterator[Notice]:
    """Contradictions of one visit."""
    yield from _sides_corrected(view)
    yield from _consent(view)
    yield from _history(view)
    for ear in range(len(view.visit.ears)):
        yield from _drum(view, ear)
        yield from _complications(view, ear)
        yield from _removal(view, ear)


def _sides_corrected(view: VisitView) -> Iterator[Notice]:
    """Sides put right far from where they were said, whether or not the reading could follow."""
    limit = guidance().limits.far_words
    cues = [m for m in view.mentions if m.readings.get("ear_cue") in ("right", "left")]
    leads = [m for m in view.mentions if m.readings.get("correction") in ("strong", "icao")]
    for said, later in pairwise(cues):
        differ = said.readings["ear_cue"] != later.readings["ear_cue"]
        if differ and later.live and later.start - said.end > limit and _puts_right(view, leads, later):
            ear = next((i for i, e in enumerate(view.visit.ears) if e.side.chars == view.chars(later)), None)
            path = f"ears[{ear}].side" if ear is not None else ""
            yield view.notice("side_corrected", said, path=path, other=view.quoted(later))


def _puts_right(view: VisitView, leads: list[Mention], cue: Mention) -> bool:
    """Whether a word such as "sorry" or "correction" leads straight to the side."""
    for m in leads:
        if 0 <= cue.start - m.end <= _SOON:
            return not any(w in STOPS for w in view.words.text[m.end : cue.start])
    return False


def _consent(view: VisitView) -> Iterator[Notice]:
    said = [m for m in view.live if m.kind == "consent"]
    declined = [m for m in said if m.value == "declined" or m.polarity == "denied"]
    given = [m for m in said if m not in declined]
    if given and declined:
        other = view.quoted(declined[0])
        yield view.notice("consent_contradiction", given[0], path="background.consent", other=other)


def _history(view: VisitView) -> Iterator[Notice]:
    disputed = guidance().disputed
    denied = [m for m in view.live if m.kind == "history" and m.polarity == "denied"]
    for v in view.values:
        if v.field == "background.history" and v.value.value in disputed:
            same = (m for m in denied if m.value == v.value.value and not _elsewhere(m.side, v.side))
            if (other := next(same, None)) is not None:
                yield view.notice("history_contradiction", v, other=_denial(view, other))


def _elsewhere(a: str, b: str) -> bool:
    return {a, b} == {"right", "left"}


def _drum(view: VisitView, ear: int) -> Iterator[Notice]:
    """One notice for each moment at which the drum's findings exclude each other."""
    for when in ("before", "after"):
        said = view.ear_values(ear, f"{when}.drum")
        for v in said:
            excluded = guidance().excludes.get(v.value.value, ())
            other = next((o for o in said if o.value.value in excluded), None)
            if other is not None:
                yield view.notice("drum_contradiction", v, other=view.quoted(other))
                break


def _complications(view: VisitView, ear: int) -> Iterator[Notice]:
    happened = view.ear_values(ear, "complications")
    named = [v for v in happened if v.value.value != "none"]
    none = next((v for v in happened if v.value.value == "none"), None)
    if named and none is not None:
        yield view.notice("complication_contradiction", named[0], other=view.quoted(none))
        return
    recorded = {v.value.value: v for v in view.ear_values(ear, "complications_denied")}
    denied = [m for m in view.of_ear(ear, "complication") if m.polarity == "denied" and not _grants(view, m)]
    for v in named:
        same = next((m for m in denied if m.value == v.value.value), None)
        if same is not None:
            yield view.notice("complication_contradiction", v, other=_denial(view, same))
        elif v.value.value in recorded:
            yield view.notice("complication_contradiction", v, other=view.quoted(recorded[v.value.value]))


def _grants(view: VisitView, m: Mention) -> bool:
    start, end = view.words.bounds[view.words.sentence[m.start]]
    return bool(_OVER & set(view.words.text[start:end]))


def _removal(view: VisitView, ear: int) -> Iterator[Notice]:
    side = view.visit.ears[ear].side.value
    cleared = view.of_ear(ear, "clearance")
    complete = next((m for m in cleared if m.value == "complete" and m.polarity == "affirmed"), None)
    less = [m for m in cleared if m.polarity == "denied" or m.value != "complete"]
    left = next((m for m in less if complete is not None and m.start > complete.start), None)
    if left is not None:
        path = f"ears[{ear}].after.clearance"
        yield view.notice("clearance_contradiction", complete, path=path, side=side, other=view.quoted(left))
    found = [m for m in view.of_ear(ear, "occlusion") if m.polarity != "denied"]
    blocked = next((m for m in found if m.value in ("complete", "partial")), None)
    empty = next((m for m in found if m.value == "none"), None)
    if blocked is not None and empty is not None:
        path = f"ears[{ear}].before.occlusion"
        yield view.notice("occlusion_contradiction", blocked, path=path, side=side, other=view.quoted(empty))


def _denial(view: VisitView, m: Mention) -> str:
    """The words from the denial to what it denies."""
    chars, by = view.chars(m), view.denying(m)
    if by is not None and abs(by[0] - chars[0]) < 50:
        chars = min(chars[0], by[0]), max(chars[1], by[1])
    return view.quoted(view.at(chars))
