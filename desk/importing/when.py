"""When a recording was made, and which source says so: its metadata, else its name, else its file's time.

Names as recorders and phones give them are understood: 2026-03-14T09-30-00, 20260314_093000, "2026-03-14 at
09.30.12", PXL_20260314_093000123, VID-20260314-WA0003. Years first: a name like 03-04-2026 has two readings
and is passed over. Times in names are the clock of this computer's place.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

from shared.store.rows import TimeFrom, iso

EARLIEST = datetime(1990, 1, 1, tzinfo=UTC)
"""An earlier time is that of a clock never set: containers count from 1904, systems from 1970."""

_TAGS = ("creation_time", "com.apple.quicktime.creationdate")
_NAME = re.compile(
    r"(?<!\d)((?:19|20)\d\d)([-_. ]?)(0[1-9]|1[0-2])\2(0[1-9]|[12]\d|3[01])(?:(?=\D|$)|(?=\d{6}))"
    r"(?:(?:[T_. -]| at | - )?([01]\d|2[0-3])[-_.:h]?([0-5]\d)(?:[-_.:m]?([0-5]\d))?(?:\d{3})?(?![\dA-Za-z]))?"
)


def recorded(metadata: dict[str, Any], name: str, modified: datetime) -> tuple[str | None, TimeFrom | None]:
    """When a recording begins (UTC, ISO 8601), and what says so; None, None if only its file's time is known.

    metadata: the container's tags. name: the file's name without its ending. modified: the file's time, aware.
    """
    for tag in _TAGS:
        if at := _stated(str(metadata.get(tag, ""))):
            return iso(at), "metadata"
    if at := in_name(name, modified):
        return iso(at), "name"
    return None, None


def in_name(name: str, modified: datetime) -> datetime | None:
    """The time a file's name states. A name that states the day alone: the file's time, if it is of that day,
    else the day's beginning."""
    for match in _NAME.finditer(name):
        year, _, month, day, hour, minute, second = match.groups()
        try:
            at = datetime(int(year), int(month), int(day), int(hour or 0), int(minute or 0), int(second or 0))
        except ValueError:  # the 30th of February
            continue
        local = at.astimezone() if hour else on_day(at, modified)
        if _possible(local):
            return local
    return None


def on_day(day: datetime, other: datetime) -> datetime:
    """`other`, if it is on this day here, else the day's beginning."""
    here = other.astimezone()
    return here if here.date() == day.date() else day.astimezone()


def _stated(text: str) -> datetime | None:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    if len(text) < len("2026-03-14T09:30"):
        return None
    # Without a zone it is UTC, as MP4 and QuickTime count (ISO/IEC 14496-12, section 8.2.2).
    at = at if at.tzinfo else at.replace(tzinfo=UTC)
    return at if _possible(at) else None


def _possible(at: datetime) -> bool:
    return EARLIEST <= at <= datetime.now(UTC) + timedelta(days=1)
