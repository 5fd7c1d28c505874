"""Counts over many visits, by SQL alone: what the register is made from.

One pass over the findings gives a row for each ear and for each visit, in temporary tables of this
connection; every count is then taken from those. Only values that were said without doubt are counted;
doubtful ones are counted apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from shared.store import rows
from shared.store.changes import Changes
from shared.store.checking_tables import STANDING
from shared.store.faults import faults

_CHOSEN = """CREATE TEMP TABLE audit_visit AS SELECT id, status, when_from,
    strftime('%Y-%m', when_at, 'localtime') month, patient_reference IS NOT NULL referenced
    FROM visits WHERE {which} AND when_at >= ? AND when_at < ?"""
# An ear is the "ears[N]" of a path. The seconds are those of all words that speak of it.
_EARS = """CREATE TEMP TABLE audit_ear AS SELECT f.visit_id, substr(f.path, 1, instr(f.path, ']')) place, a.month,
    max(CASE WHEN f.field = 'side' THEN f.value END) side,
    max(CASE WHEN f.field = 'after.clearance' AND f.certainty = 'stated' THEN f.value END) cleared,
    max(f.field = 'after.clearance' AND f.certainty <> 'stated') cleared_doubtful,
    max(f.field IN ('procedure.methods', 'procedure.instruments.name', 'removed_mm', 'after.clearance',
        'complications')) worked,
    max(f.second_end) - min(f.second_start) seconds
    FROM audit_visit a CROSS JOIN findings f ON f.visit_id = a.id
    WHERE f.path >= 'ears[' AND f.path < 'ears]' GROUP BY f.visit_id, place"""

SIGNED = "status IN ('signed', 'amended')"


@dataclass(frozen=True)
class Tally:
    """How often a value was said: in so many ears (or visits) without doubt, in so many with doubt only."""

    value: str
    n: int
    doubtful: int


@dataclass(frozen=True)
class Month:
    """One month, "2026-03": visits, ears, ears whose clearing was said, those cleared completely, ears worked on,
    those with a complication, and the seconds of each ear."""

    month: str
    visits: int
    ears: int
    clearing_said: int
    cleared: int
    worked: int
    complications: int


class Audit(Changes):
    """The part of the store that counts."""

    @contextmanager
    def audit(self, since: datetime, until: datetime, *, drafts: bool = False) -> Iterator[Counting]:
        """Count visits that start in [since, until), signed ones; with drafts, all that stand."""
        bounds = (rows.iso(since), rows.iso(until))
        which = STANDING if drafts else SIGNED
        with faults(self.path):
            self._execute("BEGIN")  # what others write meanwhile is not seen
            try:
                self._execute(_CHOSEN.format(which=which), *bounds)
                self._execute("CREATE INDEX temp.audit_visits ON audit_visit (id)")
                self._execute(_EARS)
                yield Counting(self, bounds)
            finally:
                self._db.rollback()  # and with it the temporary tables go

    def last_entry(self) -> int:
        """The number of the last entry of the history: as long as it stays, so do all counts."""
        (found,) = self._rows("SELECT ifnull(max(seq), 0) n FROM entries")
        return int(found["n"])


class Counting:
    """The counts of one period; use inside `Audit.audit`."""

    def __init__(self, store: Audit, bounds: tuple[str, str]) -> None:
        self._ask, self._bounds = store._rows, bounds

    def _one(self, sql: str, *given: Any) -> dict[str, Any]:
        return self._ask(sql, *given)[0]

    def visits(self) -> dict[str, int]:
        """visits counted; of these undated (no day known but that of reading); left_out: drafts and amendments
        in the period that are not signed; drafts: those of them that are counted."""
        counted = self._one(
            """SELECT count(*) visits, ifnull(sum(when_from = 'reading'), 0) undated,
            ifnull(sum(status IN ('draft', 'amending')), 0) drafts FROM audit_visit"""
        )
        (standing,) = self._ask(
            f"""SELECT count(*) n FROM visits WHERE {STANDING} AND when_at >= ? AND when_at < ?""",
            *self._bounds,
        )
        return {**counted, "left_out": standing["n"] - counted["visits"]}

    def ears(self) -> dict[str, int]:
        """ears; worked: with a method, instrument, length, look at the end or complication; side_unstated."""
        return self._one(
            """SELECT count(*) ears, ifnull(sum(worked), 0) worked, ifnull(sum(side = 'unstated'), 0) side_unstated
            FROM audit_ear"""
        )

    def clearance(self) -> list[Tally]:
        """Ears by how far they were cleared, "complete", "partial", "none"; "" if it was not said."""
        return [
            Tally(row["value"], row["n"], row["doubtful"])
            for row in self._ask(
                """SELECT ifnull(cleared, '') value, sum(cleared IS NOT NULL OR NOT cleared_doubtful) n,
                sum(cleared IS NULL AND cleared_doubtful) doubtful FROM audit_ear GROUP BY value"""
            )
        ]

    def values(self, field: str, *, of_visit: bool = False) -> list[Tally]:
        """How many ears (or visits) have each value of a field, the most frequent first."""
        unit = "f.visit_id" if of_visit else "f.visit_id || substr(f.path, 1, instr(f.path, ']'))"
        return [
            Tally(**row)
            for row in self._ask(
                f"""SELECT value, sum(stated) n, sum(NOT stated) doubtful FROM (
                SELECT f.value, max(f.certainty = 'stated') stated FROM findings f
                JOIN audit_visit a ON a.id = f.visit_id
                WHERE f.field = ? AND f.when_at >= ? AND f.when_at < ? GROUP BY {unit}, f.value)
                GROUP BY value ORDER BY n DESC, value""",
                field,
                *self._bounds,
            )
        ]

    def having(self, met_by: Sequence[str], *, of_visit: bool) -> int:
        """How many ears (or visits) hold one of these fields, or "field=value"; said with doubt counts too."""
        unit = "f.visit_id" if of_visit else "f.visit_id || substr(f.path, 1, instr(f.path, ']'))"
        asked, given = [], []
        for field, _, value in (wanted.partition("=") for wanted in met_by):
            asked.append("f.field = ?" + (" AND f.value = ?" if value else ""))
            given += [field, value] if value else [field]
        return int(
            self._one(
                f"""SELECT count(DISTINCT {unit}) n FROM findings f JOIN audit_visit a ON a.id = f.visit_id
                WHERE ({" OR ".join(asked)}) AND f.when_at >= ? AND f.when_at < ?""",
                *given,
                *self._bounds,
            )["n"]
        )

    def numbers(self, field: str) -> list[tuple[int, int]]:
        """Each number of a field and how often it stands there, in order; those said with doubt left out."""
        found = self._ask(
            """SELECT f.value, count(*) n FROM findings f JOIN audit_visit a ON a.id = f.visit_id
            WHERE f.field = ? AND f.certainty = 'stated' AND f.when_at >= ? AND f.when_at < ?
            GROUP BY f.value ORDER BY f.value""",
            field,
            *self._bounds,
        )
        return [(int(row["value"]), int(row["n"])) for row in found]

    def seconds(self) -> list[tuple[str, float]]:
        """For each ear with timed words: its month, and the seconds from its first word to its last."""
        found = self._ask(
            "SELECT month, seconds FROM audit_ear WHERE worked AND seconds > 0 ORDER BY month, visit_id, place"
        )
        return [(row["month"], row["seconds"]) for row in found]

    def months(self) -> list[Month]:
        """Month by month; only those with visits."""
        return [
            Month(**row)
            for row in self._ask(
                """WITH hurt AS (SELECT DISTINCT f.visit_id, substr(f.path, 1, instr(f.path, ']')) place
                    FROM findings f WHERE f.field = 'complications' AND f.value <> 'none' AND f.certainty = 'stated'
                    AND f.when_at >= ? AND f.when_at < ?)
                SELECT v.month, v.visits, ifnull(e.ears, 0) ears, ifnull(clearing_said, 0) clearing_said,
                ifnull(cleared, 0) cleared, ifnull(worked, 0) worked, ifnull(complications, 0) complications
                FROM (SELECT month, count(*) visits FROM audit_visit GROUP BY month) v
                LEFT JOIN (SELECT month, count(*) ears, count(cleared) clearing_said, sum(worked) worked,
                    ifnull(sum(cleared = 'complete'), 0) cleared, sum(worked AND h.place IS NOT NULL) complications
                    FROM audit_ear a LEFT JOIN hurt h USING (visit_id, place) GROUP BY month) e USING (month)
                ORDER BY v.month""",
                *self._bounds,
            )
        ]

    def with_complication(self) -> int:
        """Ears worked on with any complication that was said without doubt."""
        return sum(month.complications for month in self.months())

    def corrected(self) -> dict[str, int]:
        """dictated: visits counted; corrected: those of them in which a person changed, added or took out a value,
        not counting what was taken back; values: how many."""
        return self._one(
            """SELECT (SELECT count(*) FROM audit_visit) dictated, count(DISTINCT e.visit_id) corrected,
            count(*) "values" FROM edits e JOIN audit_visit a ON a.id = e.visit_id
            WHERE NOT e.undone AND e.before IS NOT e.after"""
        )

    def corrected_fields(self) -> list[Tally]:
        """The fields that were corrected, each with the visits it was corrected in."""
        found = self._ask(
            """SELECT e.field value, count(DISTINCT e.visit_id) n, 0 doubtful FROM edits e
            JOIN audit_visit a ON a.id = e.visit_id WHERE NOT e.undone AND e.before IS NOT e.after
            GROUP BY e.field ORDER BY n DESC, e.field"""
        )
        return [Tally(**row) for row in found]
