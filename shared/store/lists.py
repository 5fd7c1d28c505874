"""Finding visits: lists by time, state, patient, words or finding, a page at a time.

A page starts where the last one ended (`after`), so that the thousandth page costs what the first does.
"""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any, Literal

from shared.errors import BadInput
from shared.store import rows
from shared.store.changes import Changes

Which = Literal["standing", "waiting", "undecided", "draft", "signed", "amending", "amended"]

_COLUMNS = """v.id, r.name recording, v.ordinal, v.added, v.status, v.patient_reference, v.ears, v.to_check,
    v.to_decide, v.when_at "when", v.when_from, v.clinician, v.revision"""
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
        patient: the beginning of the reference. words: as in `search`; the page is then ordered by when the
        visits were read. field, value, ear: with this finding, e.g. "after.drum", "perforated", "left".
        after: a page's `next`. limit: visits a page.
        Raises BadInput for an `after` that no page gave.
        """
        asked, given = [_WHICH[which]], list[Any]()
        source = "visits v"
        order: tuple[str, ...] = ("v.when_at", "v.id")
        if field is not None:
            source = "findings f CROSS JOIN visits v ON v.id = f.visit_id"
            asked.append("f.field = ?")
            given.append(field)
            if value is not None:
                asked.append("f.value = ?")
                given.append(value)
            if ear is not None:
                asked.append("f.ear = ?")
                given.append(ear)
            order = ("f.when_at", "f.visit_id")
        if words is not None:
            wanted = self._db.quote_fts(words)
            if not wanted:
                return rows.Page((), None)
            source = f"words_fts w CROSS JOIN visits v ON v.id = w.rowid {_finding(field, value, ear, asked)}"
            asked.append("words_fts MATCH ?")
            given.append(wanted)
            order = ("w.rowid",)
        for column, sign, bound in ((order[0], ">=", since), (order[0], "<", until)):
            if bound is not None:
                at = "v.when_at" if words is not None else column
                asked.append(f"{at} {sign} ?")
                given.append(rows.iso(bound))
        if patient:
            asked.append("v.patient_reference >= ? AND v.patient_reference < ?")
            given += [patient, patient + "\U0010ffff"]
        for column, wish in (("v.clinician", clinician), ("v.recording_id", recording)):
            if wish is not None:
                asked.append(f"{column} = ?")
                given.append(wish)
        if after is not None:
            mark = _cursor(after, len(order))
            if words is not None:
                asked.append(f"{order[0]} < ?")
                given += mark
            else:
                asked.append(f"{order[0]} <= ? AND ({order[0]} < ? OR {order[1]} > ?)")
                given += [mark[0], *mark]
        once = f"GROUP BY {', '.join(order)}" if order[0] == "f.when_at" else ""  # both ears may have it
        found = self._rows(
            f"""SELECT {_COLUMNS} FROM {source} JOIN recordings r ON r.id = v.recording_id
            WHERE {" AND ".join(asked)} {once} ORDER BY {order[0]} DESC {", ".join(("", *order[1:]))} LIMIT ?""",
            *given,
            limit + 1,
        )
        more = len(found) > limit
        page = [
            rows.VisitRow(**{**r, "ears": tuple(filter(None, r["ears"].split(",")))}) for r in found[:limit]
        ]
        last = page[-1] if page else None
        mark = [last.id] if words is not None and last else [last.when, last.id] if last else []
        return rows.Page(tuple(page), json.dumps(mark) if more else None)

    def latest(self) -> int | None:
        """The first visit of the recording that was read last; None if there is none."""
        found = self._rows(
            """SELECT id FROM visits WHERE status <> 'replaced'
            ORDER BY transcript_id DESC, place LIMIT 1"""
        )
        return int(found[0]["id"]) if found else None

    def counts(self) -> rows.Counts:
        """How many visits and recordings are in which state."""
        states = {
            r["status"]: r["n"]
            for r in self._rows(
                "SELECT status, count(*) n FROM visits WHERE status <> 'replaced' GROUP BY status"
            )
        }
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

    def search(self, words: str, *, limit: int = 200) -> list[rows.Hit]:
        """Visits in which all the words were said, in any form ("bleed" finds "bleeding"), best match first;
        and recordings with such words in which no visit was found.

        Words in double quotes must stand together.
        """
        wanted = self._db.quote_fts(words)
        if not wanted:
            return []
        found = self._rows(
            """SELECT rowid n, snippet(words_fts, 0, '[', ']', '…', 16) around FROM words_fts
            WHERE words_fts MATCH ? ORDER BY rank LIMIT ?""",
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


def _finding(field: str | None, value: str | int | None, ear: str | None, asked: list[str]) -> str:
    """Replace the conditions on a joined finding by one that asks whether there is such a finding."""
    if field is None:
        return ""
    conditions = [a for a in asked if a.startswith("f.")]
    for condition in conditions:
        asked.remove(condition)
    asked.append(f"EXISTS (SELECT 1 FROM findings f WHERE f.visit_id = v.id AND {' AND '.join(conditions)})")
    return ""


def _cursor(after: str, length: int) -> list[Any]:
    try:
        mark = json.loads(after)
    except ValueError:
        mark = None
    if not isinstance(mark, list) or len(mark) != length or not isinstance(mark[-1], int):
        raise BadInput("this is no place in a list", where="after", remedy="Start again at the first page.")
    return mark
