"""The recall list for other programs: a calendar (iCalendar, RFC 5545) and a table (CSV, RFC 4180)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from desk.lines import safe
from desk.register.due import Due

COLUMNS = (
    "day", "state", "patient_reference", "interval", "seen", "visit", "record", "recall", "by", "at",
    "canal_skin_moves_mm",
)  # fmt: skip


def calendar_text(found: Iterable[Due], made: datetime) -> bytes:
    """One all-day event for each recall that has a day. made: when this file is made, with its zone.

    An event keeps its UID, so that a calendar which takes the file in again replaces the earlier one.
    """
    from icalendar import Calendar, Event  # noqa: PLC0415  (slow to load)

    out = Calendar()
    out.add("version", "2.0")
    out.add("prodid", "-//Earside//Recall//EN")
    for due in found:
        if due.day is None:
            continue
        event = Event()
        event.add("uid", f"recall-of-visit-{due.said.visit}@earside.invalid")
        event.add("dtstamp", made.astimezone(UTC))
        event.add("dtstart", due.day)
        event.add("dtend", due.day + timedelta(days=1))
        event.add("summary", f"Ear recall: {due.said.patient_reference or 'no reference'}")
        event.add("description", describe(due))
        event.add("transp", "TRANSPARENT")  # a day's note, which makes nobody busy
        event.add("class", "PRIVATE")
        out.add_component(event)
    return bytes(out.to_ical())


def table_text(found: Iterable[Due]) -> str:
    """One line for each recall, under COLUMNS. Days and times are ISO 8601, times UTC."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for due in found:
        said = due.said
        cells = (
            due.day, due.state, said.patient_reference, due.interval, due.seen, said.visit,
            checked(due), said.outcome, said.by, said.at,
            None if due.moved_mm is None else round(due.moved_mm, 1),
        )  # fmt: skip
        writer.writerow("" if cell is None else safe(cell) for cell in cells)
    return out.getvalue()


def describe(due: Due) -> str:
    """One sentence or two on where the day comes from."""
    seen = f"visit {due.said.visit} of {due.seen}" if due.seen else f"visit {due.said.visit}, day not known"
    moved = f" Postponed by {due.said.by}." if due.said.outcome == "postponed" else ""
    return f"{due.interval.capitalize()} after {seen}. The record: {checked(due)}.{moved}"


def checked(due: Due) -> str:
    """Whether the record behind a recall is a draft, and who checked it."""
    by = due.said.checked_by
    return (
        f"signed, made from dictation, checked by {by}"
        if by
        else "draft, made from dictation, not yet checked"
    )
