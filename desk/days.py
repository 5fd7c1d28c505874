"""Days as people type them: only such as a clinic can mean, so that every reckoning with them stays in the calendar."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import click

from shared.errors import BadInput

EARLIEST, LATEST = date(1900, 1, 1), date(2999, 12, 31)
"""Wide, and a day's or a zone's reckoning away from the years 1 and 9999, where Python's calendar ends."""


def meant(day: date) -> bool:
    """Whether a clinic can mean this day."""
    return EARLIEST <= day <= LATEST


def typed(given: str, where: str) -> date | None:
    """The day in a field of a page (2026-03-02); None if nothing is given. Raises BadInput."""
    try:
        day = date.fromisoformat(given) if given else None
    except ValueError:
        day = date.min
    if day and not meant(day):
        raise BadInput(
            f"{given!r} is not a date", where=where, remedy="Write it as year-month-day, e.g. 2026-03-02."
        )
    return day


class Day(click.DateTime):
    """The type of an option that is a day."""

    def __init__(self) -> None:
        super().__init__(["%Y-%m-%d"])

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> datetime:
        """The beginning of the day, without a zone."""
        at: datetime = super().convert(value, param, ctx)
        if not meant(at.date()):
            self.fail(f"{value!r} cannot be meant: check the year.", param, ctx)
        return at
