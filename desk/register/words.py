"""What the terminal and the pages both say of recalls, and the period of a register."""

from __future__ import annotations

from datetime import date, timedelta

from desk.register import due
from desk.register.due import State

HEADINGS: dict[State, str] = {
    "overdue": "Overdue",
    "due": f"Due within {due.DUE_DAYS} days",
    "coming": "Coming",
    "undated": "No day: when the visit was is not known",
    "done": "Done",
    "declined": "Declined",
    "seen": "Seen again",
    "replaced": "Replaced by a later recall",
}
RULES = (
    "A recall counts as met by a visit of the same reference after three quarters of its interval, and as replaced by "
    "the next recall said for that reference."
)
MOVES = (
    f"Where attached skin or a keratin plug was recorded, the list shows how far canal skin moves in the days since "
    f"({due.MOVES_SOURCE}). It is an average of other people's ears, "
    f"whose canals are about {due.CANAL_MM} mm long: information, not advice."
)


def period(since: date | None, until: date | None, today: date) -> tuple[date, date]:
    """The period asked for; if not said, the year up to today."""
    until = until or today
    return since or (due.later(until, -1, "years") or until) + timedelta(days=1), until
