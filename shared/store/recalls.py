"""Recalls: the intervals that were said, and what became of them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from shared.errors import BadInput
from shared.store import chain, rows, said, schema
from shared.store.changes import Changes

Outcome = Literal["done", "postponed", "declined", "open"]
"""What a person made of a recall. open: none of these any more."""

_SAID = """SELECT v.id visit, v.patient_reference, v.when_at "when", v.when_from, v.status,
    CASE WHEN v.status IN ('signed', 'amended')
        THEN (SELECT who FROM signatures g WHERE g.visit_id = v.id ORDER BY id DESC LIMIT 1) END checked_by,
    n.value number, u.value unit, 'possible' IN (n.certainty, u.certainty) doubtful,
    r.what outcome, r.until, r.who by, r.at,
    v.id IN (SELECT visit_id FROM findings WHERE field IN ('before.skin', 'after.skin')
        AND value IN ('attached', 'keratin_plug') AND certainty = 'stated') slow_skin
    FROM findings n JOIN findings u ON u.visit_id = n.visit_id AND u.path = 'plan.recall.unit'
    JOIN visits v ON v.id = n.visit_id
    LEFT JOIN recalls r ON r.entry = (SELECT max(entry) FROM recalls WHERE visit_id = v.id)
    WHERE n.field = 'plan.recall.number' AND v.status <> 'replaced' ORDER BY v.when_at, v.id"""


@dataclass(frozen=True)
class Said:
    """A recall as it was said at a visit, and what a person made of it since.

    checked_by: who signed the visit, None while it is a draft. number, unit: the interval. doubtful: it was
    said with doubt. slow_skin: the visit holds skin that stayed attached, or a keratin plug. outcome, until,
    by, at: what was made of it, None if nothing; until: an ISO day. when_from: "reading" if the day of the
    visit is not known.
    """

    visit: int
    patient_reference: str | None
    when: str
    when_from: rows.TimeFrom
    status: rows.Status
    checked_by: str | None
    number: int
    unit: str
    doubtful: bool
    slow_skin: bool
    outcome: Outcome | None
    until: str | None
    by: str | None
    at: str | None


class Recalls(Changes):
    """The part of the store that knows recalls."""

    def recalls(self) -> list[Said]:
        """Every recall that was said at a visit that stands, the earliest visit first."""
        return [
            Said(**row | {"doubtful": bool(row["doubtful"]), "slow_skin": bool(row["slow_skin"])})
            for row in self._rows(_SAID)
        ]

    def visits_of_patients(self) -> dict[str, list[str]]:
        """When each patient reference (`rows.folded`) was seen, earliest first; days that are not known left out."""
        out = defaultdict(list)
        for row in self._rows(
            """SELECT patient_reference reference, when_at FROM visits WHERE status <> 'replaced'
            AND patient_reference IS NOT NULL AND when_from <> 'reading' ORDER BY when_at"""
        ):
            out[rows.folded(row["reference"])].append(row["when_at"])
        return dict(out)

    def mark_recall(self, visit_id: int, what: Outcome, who: str, *, until: date | None = None) -> None:
        """Put down what became of a visit's recall. until: the new day, for "postponed" alone.

        The record stays as it is, and may be signed. Raises BadInput if there is no such visit, no recall was
        said at it, or the day is missing or has none to be; NotAllowed if `who` may not.
        """
        if what not in get_args(Outcome):
            raise BadInput(
                f"a recall cannot be {what!r}",
                where=f"visit {visit_id}",
                remedy=f"It can be: {', '.join(get_args(Outcome))}.",
            )
        if (until is None) == (what == "postponed"):
            raise BadInput(
                "it needs the day to which it is postponed"
                if until is None
                else "only a postponed recall has a new day",
                where=f"visit {visit_id}",
                remedy="Give a day with postponed, and with nothing else.",
            )
        with self._writing():
            row, person, at = self._row(visit_id), self._worker(who), schema.now()
            if row["status"] == "replaced" or not self._rows(
                "SELECT 1 FROM findings WHERE visit_id = ? AND field = 'plan.recall.number'", visit_id
            ):
                raise BadInput(
                    "no time to come back was said at it",
                    where=f"visit {visit_id}",
                    remedy="See: earside recall",
                )
            day = until.isoformat() if until else None
            content = {"what": said.recall(what, day), "steps": [], "state": chain.digest(self._state(row))}
            entry = chain.append(
                self._db, visit=visit_id, kind="recall", who=person.name, at=at, content=content
            )
            made = {"entry": entry, "visit_id": visit_id, "what": what, "until": day}
            self._db.table("recalls").insert(made | {"who": person.name, "at": at})
