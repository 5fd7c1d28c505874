"""Findings for which guidance advises caution or referral, and words that no field of the record takes."""

from __future__ import annotations

from collections.abc import Iterator

from extract.aside import REASONS
from extract.context import covering
from extract.mentions import Mention
from extract.misfits import NOT_LINKED
from extract.notices.guidance import Finding, guidance, suspicion_phrases
from extract.notices.view import Located, VisitView
from shared.record import Notice
from shared.vocabulary import CLOSED

_DAYS = {"days": 1, "weeks": 7, "months": 30, "years": 365}
_OF_OTHERS = ("teaching", "other_person", "chat")
_STILL_ASKED = ("", NOT_LINKED, REASONS["past_visit"])


def findings(view: VisitView) -> Iterator[Notice]:
    """Cautions of one visit."""
    for finding in guidance().findings:
        yield from _recorded(view, finding)
    yield from _sudden_loss(view)
    yield from _suspicion(view)
    yield from _not_recorded(view)


def _recorded(view: VisitView, finding: Finding) -> Iterator[Notice]:
    told: list[Located] = []
    for v in view.values:
        if v.value.value not in finding.any_of.get(v.field, ()) or any(_may_share_ear(v, t) for t in told):
            continue
        together = [o for o in view.values if o.value.value in finding.together.get(o.field, ())]
        together = [o for o in together if _may_share_ear(v, o)]
        if together or not finding.together:
            told.append(v)
            yield view.notice(finding.kind, v, other=view.quoted(*together) if together else "")


def _may_share_ear(a: Located, b: Located) -> bool:
    """Whether two values can concern one ear: a side that was not said rules nothing out."""
    if a.ear is not None and b.ear is not None:
        return a.ear == b.ear
    named = {s for s in (a.side, b.side) if s in ("right", "left")}
    return len(named) < 2


def _sudden_loss(view: VisitView) -> Iterator[Notice]:
    """One notice of a sudden loss, recorded or not: one of weeks ago may have been read as history."""
    limits = guidance().limits
    said = next((m for m in view.mentions if _is_sudden(view, m)), None)
    if said is None:
        return
    began = _time_near(view, said)
    kind, other = "sudden_hearing_loss_undated", ""
    if began is not None:
        days = float(began.measure.value) * _DAYS[began.measure.unit] if began.measure is not None else 0
        kind = f"sudden_hearing_loss_{'recent' if days <= limits.recent_days else 'older'}"
        other = view.quoted(began)
    chars = view.chars(said)
    recorded = next(
        (v for v in view.values if v.field == "background.symptoms" and v.value.chars == chars), None
    )
    yield view.notice(kind, recorded or said, other=other, more=_no_referral(view))


def _is_sudden(view: VisitView, m: Mention) -> bool:
    """A sudden loss, or a loss with "suddenly" in its sentence: better asked once too often."""
    meant = m.readings.get("symptom")
    if m.polarity == "denied" or m.aside not in _STILL_ASKED:
        return False
    if meant != "hearing_loss":
        return meant == "sudden_hearing_loss"
    start, end = view.words.bounds[view.words.sentence[m.start]]
    return any(w in guidance().limits.sudden_words for w in view.words.text[start:end])


def _time_near(view: VisitView, said: Mention) -> Mention | None:
    """A length of time said in the sentence of a symptom or in the next, or a day of the last week in its own."""
    at = view.words.sentence
    for m in view.mentions:
        timed = m.kind == "interval" and m.measure is not None and m.measure.unit in _DAYS
        if timed and 0 <= at[m.start] - at[said.start] <= 1:
            return m
    start, end = view.words.bounds[at[said.start]]
    days = (i for i in range(start, end) if view.words.text[i] in guidance().limits.recent_words)
    day = next(days, None)
    return Mention(day, day + 1, {}) if day is not None else None


def _no_referral(view: VisitView) -> str:
    referred = view.visit.plan is not None and view.visit.plan.referral is not None
    return "" if referred else guidance().no_referral


def _suspicion(view: VisitView) -> Iterator[Notice]:
    """Words of suspicion that are said of this patient and not denied, each once."""
    first, last = _extent(view)
    told: set[str] = set()
    taken = {i for m in view.live if m.kind in CLOSED and m.measure is None for i in range(m.start, m.end)}
    for found in suspicion_phrases().find(view.words.text[first:last]):
        start, end = found.start + first, found.end + first
        kind, phrase = next(iter(found.readings.items()))
        if kind == "harmless" or phrase in told or taken.issuperset(range(start, end)):
            continue
        if not _denied(view, start, end) and not _of_others(view, start):
            told.add(phrase)
            yield view.notice(kind, Mention(start, end, {}), more=_no_referral(view))


def _extent(view: VisitView) -> tuple[int, int]:
    """The words [first, last) of this visit."""
    starts = [s for s, _ in view.doc._.visit_starts or []]
    if view.number >= len(starts):
        return 0, 0
    bounds = view.words.bounds
    ends = starts[view.number + 1] if view.number + 1 < len(starts) else len(bounds)
    return bounds[starts[view.number]][0], bounds[ends - 1][1]


def _denied(view: VisitView, start: int, end: int) -> bool:
    over = covering(view.doc._.scopes or (), view.words.token[start], view.words.last[end - 1] + 1)
    return any(s.category == "negated" for s in over)


def _of_others(view: VisitView, at: int) -> bool:
    """Whether the sentence turns to teaching, other people or chat before this word."""
    sentence = view.words.sentence[at]
    return any(
        m.readings.get("aside") in _OF_OTHERS
        for m in view.mentions
        if m.start < at and view.words.sentence[m.start] == sentence
    )


def _not_recorded(view: VisitView) -> Iterator[Notice]:
    """Warning signs that stay out of the record, each once: it is not clear what they are said of, or which ear."""
    signs = guidance().signs
    recorded = {v.value.value for v in view.values}
    told: set[str] = set()
    for m in view.mentions:
        lost = m.live and m.kind in signs and not m.ears
        unclear = m.aside in (NOT_LINKED, REASONS["question"]) and not m.has("foreign_body")
        if not (lost or unclear):
            continue
        if m.polarity == "denied" or m.has("weak"):
            continue
        meant = [value for kind, value in m.readings.items() if value in signs.get(kind, ())]
        if meant and not recorded.intersection(meant) and not told.intersection(meant):
            told.update(meant)
            yield view.notice("not_recorded", m)
