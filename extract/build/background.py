"""What the patient brought: consent, symptoms, history, softener."""

from __future__ import annotations

from typing import Any

from extract.build.values import Values, first_of_each, or_none
from extract.mentions import Mention
from extract.plan import softener_days, to_come
from shared.record import Background, SidedHistory, SidedSymptom, Softener, Value
from shared.vocabulary import word_set

_MOOD = word_set("background", "mood")
_EVER, _OF_LATE = word_set("background", "ever"), word_set("background", "of_late")


def background(values: Values, live: list[Mention], uses: dict[int, str]) -> Background | None:
    """The background of a visit; None if nothing was said of it. uses: what each agent was for, by id(mention)."""
    back = Background()
    consent = [m for m in live if m.kind == "consent" and (m.polarity != "denied" or m.value == "declined")]
    if consent:
        declined = [m for m in consent if m.value == "declined" and not _of_something_else(values, m, live)]
        given = [m for m in consent if m.value != "declined" and not _is_contentment(values, m)]
        if declined or given:
            chosen = declined[-1] if declined else given[0]
            back.consent = values.value(chosen, chosen.value)
    for m, by in _told(values, live, "symptom", back.symptoms_denied):
        side = values.value(by, m.side) if by is not None else None
        back.symptoms.append(SidedSymptom(item=values.value(m, m.value), side=side))
    for m, by in _told(values, live, "history", back.history_denied):
        side = values.value(by, m.side) if by is not None else None
        back.history.append(SidedHistory(item=values.value(m, m.value), side=side))
    softeners = [m for m in live if uses.get(id(m)) == "softener"]
    if softeners:
        days = softener_days(values.words, softeners, live)
        back.softener = Softener(
            agent=values.value(softeners[-1], softeners[-1].value),
            days=values.value(days[0], days[1]) if days is not None else None,
        )
    return or_none(back)


def _of_something_else(values: Values, m: Mention, live: list[Mention]) -> bool:
    """Whether a referral or a test was declined, not the treatment ("I offered audiology but he declined")."""
    here = [o for o in live if values.words.sentence[o.start] == values.words.sentence[m.start]]
    return values.working(m) and any(o.kind in ("referral", "advice") and o.end <= m.start for o in here)


def _is_contentment(values: Values, m: Mention) -> bool:
    """Whether somebody is only content once the work has begun ("he's fine with that"), which asks for nothing."""
    return values.working(m) and _MOOD.issuperset(values.words.text[m.start : m.end])


def _never(values: Values, m: Mention) -> bool:
    """Whether the denial of an earlier removal means never ("Ever had it done before? No."), not "not here"."""
    words = values.words
    start, end = words.bounds[words.sentence[m.start]]
    said = {*words.text[start:end], *words.text[end : end + 2]}
    return bool(_EVER & said) and not _OF_LATE & said


def _told(
    values: Values, live: list[Mention], kind: str, denied: list[Value[Any]]
) -> list[tuple[Mention, Mention | None]]:
    """The symptoms or history affirmed, each with the mention of its side; what was denied goes to `denied`."""
    said = values.without_taken_back([m for m in live if m.kind == kind])
    said = [m for m in said if m.value != "previous_removal" or not to_come(values.words, m)]
    for m in said:
        if m.value == "previous_removal" and m.polarity == "denied" and _never(values, m):
            m.value, m.polarity = "first_removal", "affirmed"
    affirmed = {m.value for m in said if m.polarity != "denied"}
    if "first_removal" in affirmed:
        said = [m for m in said if m.value != "previous_removal"]
    out: list[tuple[Mention, Mention | None]] = []
    for m in first_of_each(said, lambda m: (m.value, m.polarity == "denied")):
        if m.polarity != "denied":
            sided = next((x for x in said if x.value == m.value and x.side and x.polarity != "denied"), None)
            if sided is not None and m.value != "first_removal":
                m.side = sided.side
            else:
                sided = None
            out.append((m, (sided.linked[0] if sided.linked else sided) if sided is not None else None))
        elif m.value not in affirmed:
            denied.append(values.value(m, m.value))
    return out
