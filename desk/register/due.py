"""Who is due to be seen again: the interval that was said, counted from the day of the visit.

The rules are ours, and stand on the page: a recall is met by a visit of the same reference once three
quarters of its interval are over, and replaced by the next recall that is said for that reference. What a
person put down (done, declined, postponed) comes before either.
"""

from __future__ import annotations

import calendar
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Literal

from shared.store import Store
from shared.store.recalls import Said
from shared.store.rows import folded

State = Literal["overdue", "due", "coming", "undated", "done", "declined", "seen", "replaced"]
OPEN: tuple[State, ...] = ("overdue", "due", "coming", "undated")
DUE_DAYS = 28
"""A recall is due for so many days before its day; earlier it is coming."""
TOO_EARLY = 0.25
"""The share of the interval by which a visit may come early and still meet the recall."""

MOVES_MM_A_DAY = 0.14475
CANAL_MM = 31
"""The length of an adult's canal: 31.4 mm, SD 3.1 (Ear-canal geometry from CT, Hearing Research 2023)."""
MOVES_SOURCE = "Saniasiaya 2022, J Laryngol Otol 136:892-897: on average 0.145 mm a day in the canal"


@dataclass(frozen=True)
class Due:
    """One recall and where it stands.

    seen: the day of the visit, None if it is not known. first_day: when the interval ends; day: that, or the
    day to which it was postponed; None if neither is known. again: the day on which the patient was seen
    again. moved_mm: while it is open, for a visit with attached skin or a keratin plug, how far canal skin
    moves in the days since, on average.
    """

    said: Said
    state: State
    seen: date | None
    first_day: date | None
    day: date | None
    again: date | None = None
    moved_mm: float | None = None

    @property
    def interval(self) -> str:
        """As said, e.g. "6 months", with ? if it was said with doubt."""
        unit = self.said.unit.removesuffix("s") if self.said.number == 1 else self.said.unit
        return f"{self.said.number} {unit}{'?' if self.said.doubtful else ''}"

    @property
    def done_on(self) -> date | None:
        """The day on which somebody marked it as done, None if nobody did."""
        return _day(self.said.at) if self.state == "done" and self.said.at else None

    @property
    def checked(self) -> bool:
        """Whether the visit is signed."""
        return self.said.checked_by is not None


def later(start: date, number: int, unit: str) -> date | None:
    """The day so many days, weeks, months or years later; None if no calendar reaches it.

    Months and years are those of the calendar: the same day of the month, or the month's last day if it is
    shorter (31 January and one month: 28 or 29 February).
    """
    try:
        if unit in ("days", "weeks"):
            return start + timedelta(days=number * (7 if unit == "weeks" else 1))
        months = start.year * 12 + start.month - 1 + number * (12 if unit == "years" else 1)
        year, month = divmod(months, 12)
        return date(year, month + 1, min(start.day, calendar.monthrange(year, month + 1)[1]))
    except (ValueError, OverflowError):
        return None


def recalls(store: Store, today: date) -> list[Due]:
    """Every recall that was said, by its day, those without one last."""
    said, visits = store.recalls(), store.visits_of_patients()
    following: dict[str, Said] = {}
    found = []
    for one in reversed(said):
        reference = folded(one.patient_reference or "")
        found.append(_placed(one, following.get(reference), visits.get(reference, ()), today))
        if reference and one.when_from != "reading":
            following[reference] = one
    return sorted(found, key=lambda due: (due.day or date.max, due.said.visit))


def by_state(found: Sequence[Due]) -> Mapping[State, list[Due]]:
    """The recalls of each state, those to do first; every state is there."""
    out: dict[State, list[Due]] = {state: [] for state in (*OPEN, "done", "declined", "seen", "replaced")}
    for due in found:
        out[due.state].append(due)
    return out


def _placed(said: Said, following: Said | None, visits: Sequence[str], today: date) -> Due:
    seen = None if said.when_from == "reading" else _day(said.when)
    first = later(seen, said.number, said.unit) if seen else None
    day = date.fromisoformat(said.until) if said.outcome == "postponed" and said.until else first
    again = _again(said, seen, first, visits)
    state = _state(said, day, again, following, today)
    moves = said.slow_skin and state in OPEN and seen is not None and seen < today
    moved = (today - seen).days * MOVES_MM_A_DAY if moves and seen else None
    return Due(said, state, seen, first, day, again, moved)


def _state(said: Said, day: date | None, again: date | None, following: Said | None, today: date) -> State:
    if said.outcome == "done":
        return "done"
    if said.outcome == "declined":
        return "declined"
    since = _day(said.at) if said.outcome == "postponed" and said.at else date.min
    if again and again >= since:
        return "seen"
    if following and said.when_from != "reading" and _day(following.when) >= since:
        return "replaced"
    if day is None:
        return "undated"
    if day < today:
        return "overdue"
    return "due" if day <= today + timedelta(days=DUE_DAYS) else "coming"


def _again(said: Said, seen: date | None, first: date | None, visits: Sequence[str]) -> date | None:
    """The first visit after three quarters of the interval."""
    if seen is None or first is None:
        return None
    earliest = max(seen + timedelta(days=1), first - (first - seen) * TOO_EARLY)
    # Times are UTC: what counts is this computer's day, which may be the next or the one before.
    for when in visits[bisect_left(visits, (earliest - timedelta(days=1)).isoformat()) :]:
        if (day := _day(when)) >= earliest:
            return day
    return None


@lru_cache(maxsize=200_000)
def _day(stored: str) -> date:
    return datetime.fromisoformat(stored).astimezone().date()
