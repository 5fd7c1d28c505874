"""Times as they are shown: the clinic's own clock, in words."""

from __future__ import annotations

from datetime import UTC, date, datetime, time


def local(stored: str) -> datetime:
    """A stored time (UTC, ISO 8601) on this computer's clock."""
    return datetime.fromisoformat(stored).astimezone()


def moment(stored: str) -> str:
    """Day and time, e.g. "Tue 25 Nov 2025, 14:05"; of today, the time alone."""
    at = local(stored)
    return f"{at:%H:%M}" if at.date() == today() else f"{at:%a} {at.day} {at:%b %Y, %H:%M}"


def day(stored: str) -> str:
    """The day, e.g. "Tue 25 Nov 2025"."""
    at = local(stored)
    return f"{at:%a} {at.day} {at:%b %Y}"


def to_type(stored: str) -> str:
    """As the browser's field for day and time has it, e.g. "2025-11-25T14:05"."""
    return f"{local(stored):%Y-%m-%dT%H:%M}"


def clock(seconds: float) -> str:
    """Seconds of a recording as minutes:seconds."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def today() -> date:
    """The day on this computer's clock."""
    return datetime.now().astimezone().date()


def midnight(on: date) -> datetime:
    """The start of a day here, with its zone."""
    return datetime.combine(on, time()).astimezone(UTC)
