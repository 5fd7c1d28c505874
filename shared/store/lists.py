"""Finding visits: lists by time, state, patient, words or finding, a page at a time.

A page starts where the last one ended (`after`), so that the thousandth page costs what the first does.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from shared.errors import BadInput
from shared.store import rows
from shared.store.changes import Changes
from shared.store.checking_tables import STANDING

Which = Literal["standing", "waiting", "undecided", "draft", "signed", "amending", "amended"]

_COLUMNS = """v.id, r.name recording, v.ordinal, v.added, v.status, v.patient_reference, v.ears, v.to_check,
    v.to_decide, v.when_at "when", v.when_from, v.clinician, v.revision"""
_OF_WORDS = "CROSS JOIN visits v ON v.id = w.rowid"
_RARE = 1000
"""Findings fewer than this are gone through one by one, whatever else is asked."""
_WHICH = {
    "standing": "v.status <> 'replaced'",
    "waiting": "v.status IN ('draft', 'amending')",
    "undecided": "v.status IN ('draft', 'amending') AND v.to_decide > 0",
    **{s: f"v.status = '{s}' AND v.status <> 'replaced'" for s in ("draft", "signed", "amending", "amended")},
}


class Lists(Changes):
    """The part of the store that finds visits."""

    def visits(
        self,
        which: Which = "standing",
        *,
        since: datetime | None = None,
        until: datetime | None = None,
        patient: str | None = None,
        clinician: str | None = None,
        words: str | None = None,
        field: str | None = None,
        value: str | int | None = None,
        ear: str | None = None,
        recording: int | None = None,
        after: str | None = None,
        limit: int = 50,
    ) -> rows.Page:
        """One page of the visits that meet all that is asked, the latest visit first; those that begin together (a
        text with several patients) in their order.

        which: "waiting" are drafts and open amendments; "undecided" those of them with something that must
        be decided; "standing" all. since, until: visits that start in [since, until); times with their zone.
        patient: the beginning of the reference, or all of it if that is one character. words: as in
        `search`; the page is then ordered by when the visits were read. field, value, ear: with this
        finding, e.g. "after.drum", "perforated", "left".
        after: a page's `next`. limit: visits a page.
        Raises BadInput for an `after` that no page gave.
        """
        query = _Query(which)
        finding = _Finding(field, value, ear) if field is not None else None
        rare = finding is not None and self._is_rare(finding)
        if words is not None:
            wanted = self._wanted(words)
            if not wanted:
                return rows.Page((), None)
            query.words(wanted, finding, rare=rare)
        elif finding is not None:
            query.finding(finding, drives=rare or which in ("standing", "signed", "amended"))
        if patient:
            query.patient(patient)
        for column, sign, bound in (
            ("v.when_at", ">=", since and rows.iso(since)),
            ("v.when_at", "<", until and rows.iso(until)),
            ("v.clinician", "=", clinician),
            ("v.recording_id", "=", recording),
        ):
            if bound is not None:
                query.ask(f"{query.times if column == 'v.when_at' else column} {sign} ?", bound)
        if after is not None:
            query.go_on(after)
        found = self._rows(query.sql(), *query.given, limit + 1)
        page = [
            rows.VisitRow(**{**r, "ears": tuple(filter(None, r["ears"].split(",")))}) for r in found[:limit]
        ]
        return rows.Page(tuple(page), query.mark(page[-1]) if len(found) > limit else None)

    def _is_rare(self, finding: _Finding) -> bool:
        conditions, given = finding.conditions()
        (few,) = self._rows(
            f"SELECT count(*) n FROM (SELECT 1 FROM findings f WHERE {conditions} LIMIT {_RARE})", *given
        )
        return bool(few["n"] < _RARE)

    def latest(self) -> int | None:
        """The first visit of the recording that was read last; None if there is none."""
        found = self._rows(
            """SELECT id FROM visits WHERE status <> 'replaced'
            ORDER BY transcript_id DESC, place LIMIT 1"""
        )
        return int(found[0]["id"]) if found else None

    def counts(self) -> rows.Counts:
        """How many visits and recordings are in which state."""
        states = {r["status"]: r["n"] for r in self._rows("SELECT status, n FROM tallies")}
        (undecided,) = self._rows(
            "SELECT count(*) n FROM visits WHERE status IN ('draft', 'amending') AND to_decide > 0"
        )
        sounds = {
            r["status"]: r["n"]
            for r in self._rows("SELECT status, count(*) n FROM recordings GROUP BY status")
        }
        return rows.Counts(
            draft=states.get("draft", 0),
            amending=states.get("amending", 0),
            undecided=undecided["n"],
            signed=states.get("signed", 0) + states.get("amended", 0),
            failed=sounds.get("failed", 0),
            waiting=sounds.get("waiting", 0),
        )

    def of_patient(self, reference: str) -> list[int]:
        """The numbers of the visits that stand of one reference (as `rows.folded` has it), the earliest first."""
        wanted = rows.folded(reference)
        said = self._rows(
            f"""SELECT DISTINCT patient_reference said FROM visits
            WHERE {STANDING} AND patient_reference IS NOT NULL"""
        )
        found = [
            (row["when_at"], row["id"])
            for one in said
            if rows.folded(one["said"]) == wanted
            for row in self._rows(
                f"SELECT id, when_at FROM visits WHERE {STANDING} AND patient_reference = ?", one["said"]
            )
        ]
        return [number for _, number in sorted(found)]

    def without_reference(self) -> int:
        """How many visits that stand have no patient's reference."""
        (found,) = self._rows(f"SELECT count(*) n FROM visits WHERE {STANDING} AND patient_reference IS NULL")
        return int(found["n"])

    def _wanted(self, words: str) -> str:
        """Words as FTS5 takes them, which reads no farther than a NUL."""
        return str(self._db.quote_fts(words.replace("\0", " ")))

    def search(self, words: str, *, limit: int = 200) -> list[rows.Hit]:
        """Visits in which all the words were said, in any form ("bleed" finds "bleeding"), the latest
        read first; and recordings with such words in which no visit was found.

        Words in double quotes must stand together.
        """
        wanted = self._wanted(words)
        if not wanted:
            return []
        found = self._rows(
            """SELECT rowid n, snippet(words_fts, 0, '[', ']', '…', 16) around FROM words_fts
            WHERE words_fts MATCH ? ORDER BY rowid DESC LIMIT ?""",
            wanted,
            limit,
        )
        hits = []
        for row in found:
            (about,) = self._rows(
                """SELECT r.name, v.added FROM visits v JOIN recordings r ON r.id = v.recording_id
                WHERE v.id = ?"""
                if row["n"] > 0
                else "SELECT name, added FROM recordings WHERE id = ?",
                abs(row["n"]),
            )
            visits = (row["n"],) if row["n"] > 0 else ()
            hits.append(rows.Hit(about["name"], about["added"], visits, " ".join(row["around"].split())))
        return hits


@dataclass(frozen=True)
class _Finding:
    """A finding that is asked for."""

    field: str
    value: str | int | None
    ear: str | None

    def conditions(self, hint: str = "") -> tuple[str, list[Any]]:
        """What must hold of a row `f` of findings. hint: "+" keeps SQLite from using their index."""
        wishes = {"field": self.field, "value": self.value, "ear": self.ear}
        given = {column: wish for column, wish in wishes.items() if wish is not None}
        return " AND ".join(f"{hint}f.{column} = ?" for column in given), list(given.values())


class _Query:
    """A question for visits, and which table it is best driven by."""

    def __init__(self, which: Which) -> None:
        self.asked, self.given = [_WHICH[which]], list[Any]()
        self.source, self.times, self.once = "visits v", "v.when_at", False
        self.order: tuple[str, ...] = ("v.when_at", "v.id")

    def ask(self, condition: str, *given: Any) -> None:
        """Add a condition."""
        self.asked.append(condition)
        self.given += given

    def finding(self, finding: _Finding, *, drives: bool) -> None:
        """Ask for a finding. drives: go through the findings in their order, rather than through the visits."""
        conditions, given = finding.conditions("" if drives else "+")
        if drives:
            self.source, self.once = "findings f CROSS JOIN visits v ON v.id = f.visit_id", True
            self.times, self.order = "f.when_at", ("f.when_at", "f.visit_id")
            self.ask(conditions, *given)
        else:
            self.ask(f"EXISTS (SELECT 1 FROM findings f WHERE f.visit_id = v.id AND {conditions})", *given)

    def words(self, wanted: str, finding: _Finding | None, *, rare: bool) -> None:
        """Ask for words; with a finding that few visits have, by going through those."""
        if finding is not None:
            self.finding(finding, drives=rare)
        if finding is not None and rare:
            self.source = f"findings f CROSS JOIN words_fts w ON w.rowid = f.visit_id {_OF_WORDS}"
        else:
            self.source = f"words_fts w {_OF_WORDS}"
        self.times, self.order = "v.when_at", ("w.rowid",)
        self.ask("words_fts MATCH ?", wanted)

    def patient(self, patient: str) -> None:
        """Ask for references that begin so; a single character must be the whole."""
        if len(patient) == 1:
            self.ask("v.patient_reference = ?", patient)
        else:
            self.ask("v.patient_reference >= ? AND v.patient_reference < ?", patient, patient + "\U0010ffff")

    def go_on(self, after: str) -> None:
        """Go on where a page ended. Raises BadInput for what no page gave."""
        mark = _cursor(after, len(self.order))
        first = self.order[0]
        if len(mark) == 1:
            self.ask(f"{first} < ?", *mark)
        else:
            self.ask(f"{first} <= ? AND ({first} < ? OR {self.order[1]} > ?)", mark[0], *mark)

    def mark(self, last: rows.VisitRow) -> str:
        """Where a page ends, for `go_on`."""
        return json.dumps([last.id] if len(self.order) == 1 else [last.when, last.id])

    def sql(self) -> str:
        """The whole, with a last place for the limit."""
        once = f"GROUP BY {', '.join(self.order)}" if self.once else ""  # both ears may have it
        order = ", ".join((f"{self.order[0]} DESC", *self.order[1:]))
        return f"""SELECT {_COLUMNS} FROM {self.source} JOIN recordings r ON r.id = v.recording_id
            WHERE {" AND ".join(self.asked)} {once} ORDER BY {order} LIMIT ?"""


def _cursor(after: str, length: int) -> list[Any]:
    try:
        mark = json.loads(after)
    except ValueError:
        mark = None
    if not isinstance(mark, list) or len(mark) != length or not isinstance(mark[-1], int):
        raise BadInput("this is no place in a list", where="after", remedy="Start again at the first page.")
    return mark
