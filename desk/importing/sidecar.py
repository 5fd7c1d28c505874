"""The list beside recordings, `recordings.csv`: what its rows say of a file, checked before work starts.

    file,start,patient,clinician,date
    monday.m4a,0:00,4711,Ama Boateng,2021-03-15 09:00
    monday.m4a,12:40,4712,,

file: as in the list's folder. start: where in the recording this patient begins (minutes and seconds). date: the
day, or day and time, at which the recording begins. Any column but the first may be missing or empty. Commas or
semicolons, UTF-8.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from desk import days
from desk.importing import when
from desk.importing.look import Looked
from shared.errors import BadInput
from shared.record import Value, Visit
from shared.store.rows import TimeFrom, iso

COLUMNS = ("file", "start", "patient", "clinician", "date")
LONGEST_REFERENCE = 60
_SLACK_SECONDS = 5.0
"""How far a listed start may lie before the first words of its visit."""


@dataclass
class Listed:
    """What a list says of one recording. patients: (seconds into it or None, reference). date: when it begins,
    in this computer's place; whole_day: only the day is known."""

    patients: list[tuple[float | None, str]] = field(default_factory=list)
    clinician: str | None = None
    date: datetime | None = None
    whole_day: bool = False


@dataclass(frozen=True)
class Wrong:
    """One mistake in a list."""

    row: int
    column: str
    what: str
    remedy: str

    def line(self, where: Path) -> str:
        """As one line, with the row (the headings are row 1) and the column."""
        return f"{where}, row {self.row}, column {self.column}: {self.what}. {self.remedy}"


def read(place: Path, clinicians: Sequence[str]) -> tuple[dict[Path, Listed], list[Wrong]]:
    """What a list says, by file, and all that is wrong with it. clinicians: the names that are known.

    Raises BadInput if it cannot be read as a table at all.
    """
    where = str(place)
    try:
        text = place.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        row = place.read_bytes()[: fault.start].count(b"\n") + 1
        raise BadInput(
            "is not UTF-8 text", where=f"{where}, row {row}", remedy="Save it as CSV UTF-8."
        ) from fault
    except OSError as fault:
        raise BadInput(
            f"cannot be read ({fault.strerror})", where=where, remedy="Check who may read it."
        ) from fault
    first = text.partition("\n")[0]
    table = csv.reader(
        io.StringIO(text), delimiter=";" if first.count(";") > first.count(",") else ",", strict=True
    )
    try:
        numbered = [(table.line_num, [cell.strip() for cell in row]) for row in table]
    except csv.Error as fault:
        what = f"does not follow the rules of CSV ({fault})"
        raise BadInput(what, where=f"{where}, row {table.line_num}", remedy="Check its quotes.") from fault
    rows = [(number, row) for number, row in numbered if any(row)]
    if not rows:
        raise BadInput("the list is empty", where=where, remedy=f"Its first row: {','.join(COLUMNS)}")
    return _Checker(place, [c.lower() for c in rows[0][1]], clinicians).check(rows[1:])


class _Checker:
    def __init__(self, place: Path, headings: list[str], clinicians: Sequence[str]) -> None:
        self._folder, self._headings = place.parent, headings
        self._clinicians = {name.lower(): name for name in clinicians}
        self._wrong: list[Wrong] = []
        self._listed: dict[Path, Listed] = {}

    def check(self, rows: list[tuple[int, list[str]]]) -> tuple[dict[Path, Listed], list[Wrong]]:
        for n, heading in enumerate(self._headings):
            if heading not in COLUMNS:
                self._say(1, heading or f"number {n + 1}", "is not known", f"Columns: {', '.join(COLUMNS)}.")
            elif heading in self._headings[:n]:
                self._say(1, heading, "is there twice", "Take one out.")
        if "file" not in self._headings:
            self._say(1, "file", "is missing", "It names the recordings.")
        if not self._wrong:
            for number, row in rows:
                self._row(number, row)
        return self._listed, self._wrong

    def _row(self, number: int, row: list[str]) -> None:
        if len(row) > len(self._headings):
            what = f"there are {len(row)} cells under {len(self._headings)} headings"
            self._say(
                number, self._headings[-1], what, "Put a cell that holds a comma between double quotes."
            )
            return
        cells = dict(zip(self._headings, row, strict=False))
        file = self._folder / cells["file"]
        if not cells["file"] or not _there(file):
            what = f"there is no file {cells['file']!r} beside the list" if cells["file"] else "is empty"
            self._say(number, "file", what, "Check its name.")
            return
        listed = self._listed.setdefault(file, Listed())
        self._patient(number, listed, cells.get("start", ""), cells.get("patient", ""))
        if name := cells.get("clinician", ""):
            known = self._clinicians.get(name.lower())
            if known is None:
                remedy = f'Add them: earside people "{name}" --role clinician'
                self._say(number, "clinician", f"{name!r} is not known here", remedy)
            elif listed.clinician not in (None, known):
                self._say(
                    number, "clinician", f"another row of this file says {listed.clinician!r}", "Give one."
                )
            listed.clinician = known or listed.clinician
        if day := cells.get("date", ""):
            self._date(number, listed, day)

    def _patient(self, number: int, listed: Listed, start: str, patient: str) -> None:
        seconds = _seconds(start) if start else None
        if start and seconds is None:
            self._say(number, "start", f"{start!r} is not a time in a recording", 'Write it like "12:40".')
            return
        if len(patient) > LONGEST_REFERENCE or not patient.isprintable():
            self._say(number, "patient", "is no reference", f"Up to {LONGEST_REFERENCE} characters of text.")
            return
        if not patient:
            if start:
                self._say(number, "patient", "is empty where a start is given", "Say who it is.")
            return
        if any(seconds == other for other, _ in listed.patients):
            remedy = "Say where in the recording each begins."
            self._say(number, "start", "another row of this file has the same start", remedy)
            return
        listed.patients.append((seconds, patient))

    def _date(self, number: int, listed: Listed, text: str) -> None:
        try:
            at = datetime.fromisoformat(text)
        except ValueError:
            remedy = 'Write it like "2021-03-15" or "2021-03-15 09:30".'
            self._say(number, "date", f"{text!r} is not a date", remedy)
            return
        at = at.astimezone() if days.meant(at.date()) else datetime.min.replace(tzinfo=UTC)
        if not when.EARLIEST <= at <= datetime.now(UTC) + timedelta(days=1):
            self._say(number, "date", f"{text!r} cannot be", "Check the year.")
        elif listed.date not in (None, at):
            self._say(number, "date", "another row of this file says another date", "Give one.")
        else:
            listed.date, listed.whole_day = at, len(text) <= len("2021-03-15")

    def _say(self, row: int, column: str, what: str, remedy: str) -> None:
        self._wrong.append(Wrong(row, column, what, remedy))


def _there(file: Path) -> bool:
    try:
        return file.is_file()
    except (OSError, ValueError):
        return False


def _seconds(text: str) -> float | None:
    match = re.fullmatch(r"(?:(\d{1,2}):)?(\d{1,3}):([0-5]\d(?:\.\d+)?)", text)
    return None if match is None else int(match[1] or 0) * 3600 + int(match[2]) * 60 + float(match[3])


def started(listed: Listed | None, looked: Looked) -> tuple[str | None, TimeFrom | None]:
    """When a recording begins and what says so: the list, if it does; its day alone takes its clock time from
    the other sources, if they are of that day."""
    if listed is None or listed.date is None:
        return looked.started, looked.started_from
    if not listed.whole_day:
        return iso(listed.date), "list"
    other = datetime.fromisoformat(looked.started) if looked.started else looked.modified
    return iso(when.on_day(listed.date, other)), "list"


def name_patients(listed: Listed, visits: Sequence[Visit]) -> Iterator[str]:
    """Put the listed references into the visits they belong to; yields what does not fit, a line each.

    A reference that was said stays: if the list says another, the line says so. A row with a start belongs to
    the visit in which that moment lies; one without, to a recording's only visit.
    """
    for seconds, patient in listed.patients:
        fit = list(visits) if seconds is None else [v for v in visits if _holds(v, seconds)][-1:]
        at = "" if seconds is None else f" at {int(seconds // 60)}:{int(seconds % 60):02}"
        if len(fit) != 1:
            yield f"the list's patient {patient}{at} fits {len(fit) or 'none'} of its {len(visits)} visits"
        elif (said := fit[0].patient_reference) is None:
            fit[0].patient_reference = Value(value=patient, origin="entered")
        elif said.value != patient:
            yield f"the list says patient {patient}{at}, but another reference was said; that stays"


def _holds(visit: Visit, seconds: float) -> bool:
    if visit.extent is None or visit.extent.seconds is None:
        return False
    start, end = visit.extent.seconds
    return start - _SLACK_SECONDS <= seconds < end
