"""Looking back: the history of a visit, what was signed, and whether all of it still holds."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from shared.errors import BadInput
from shared.record import Visit
from shared.store import chain, rows, verifying
from shared.store.accounts import Accounts
from shared.store.faults import faults
from shared.store.rules import Rules

_UNBROKEN = (
    "visit_id = ? AND seq >= (SELECT coalesce(max(seq), 0) FROM entries WHERE visit_id = ? AND kind = 'mend')"
)
"""The entries of a visit since its beginning, or since its history began anew in a store that was mended."""


@dataclass(frozen=True)
class Past:
    """An entry as undo, redo and replay need it. group: the number that entries made together share."""

    number: int
    visit: int
    kind: str
    what: str
    steps: list[chain.Step]
    together: tuple[int, ...]
    group: int


class History(Accounts, Rules):
    """The part of the store that looks back."""

    def history(self, visit_id: int) -> tuple[rows.Entry, ...]:
        """All that was ever done to a visit, oldest first."""
        found = self._rows("SELECT * FROM entries WHERE visit_id = ? ORDER BY seq", visit_id)
        entries = [_entry(row) for row in found]
        undone: set[int] = set()
        for entry, of in entries:
            if entry.kind == "undo":
                undone.add(of)
            elif entry.kind == "redo":
                undone.discard(of)
        return tuple(replace(entry, undone=entry.number in undone) for entry, _ in entries)

    def signatures(self, visit_id: int) -> tuple[rows.Signature, ...]:
        """Every signature of a visit, oldest first, each with the record as it was signed."""
        signed = self._rows("SELECT * FROM signatures WHERE visit_id = ? ORDER BY id", visit_id)
        if not signed:
            return ()
        states = {number: state for number, _, state in self._replay(visit_id)}
        first = next(iter(states.values()))  # what was signed before the history was broken by damage
        amendments = [e for e in self.history(visit_id) if e.kind == "amend"]
        out: list[rows.Signature] = []
        for row in signed:
            why = next((e.why for e in reversed(amendments) if e.number < row["entry"]), None)
            out.append(
                rows.Signature(
                    entry=row["entry"],
                    who=row["who"],
                    role=row["role"],
                    at=row["at"],
                    reason=row["reason"],
                    amendment=why if out else None,
                    visit=Visit.model_validate(states.get(row["entry"], first)["record"]),
                )
            )
        return tuple(out)

    def as_of(self, visit_id: int, number: int) -> Visit:
        """The record of a visit as it was after an entry of its history. Raises BadInput if there is none."""
        for entry, _, state in self._replay(visit_id):
            if entry == number:
                return Visit.model_validate(state["record"])
        raise BadInput("its history has no such entry", where=f"visit {visit_id}, entry {number}")

    def corrected_alike(self, least: int = 2) -> list[rows.Alike]:
        """Words whose value was changed to the same one, in at least so many visits, and never to another."""
        return [
            rows.Alike(**row)
            for row in self._rows(
                """SELECT heard, field, max(after) after, count(DISTINCT visit_id) times FROM edits
                WHERE heard IS NOT NULL AND NOT undone AND after IS NOT NULL GROUP BY heard, field
                HAVING count(DISTINCT after) = 1 AND times >= ? ORDER BY times DESC, heard""",
                least,
            )
        ]

    def verify(self) -> rows.Verified:
        """Go through the whole chain, replay every visit from its beginning to what stands now, and compare people's
        roles and passwords, and the practice's rules, with what was entered of them."""
        with faults(self.path, protected=self._vault is not None):
            found = list(chain.faults(self._db))
            for (visit_id,) in self._db.execute("SELECT id FROM visits ORDER BY id").fetchall():
                found += verifying.whole(f"visit {visit_id}", self._verify_visit(visit_id))
            found += verifying.whole("roles and passwords", self._verify_people())
            found += verifying.whole("the practice's rules", self._verify_rules())
            if not found:  # a broken history is nothing to hold other tables against
                found += verifying.faults(self._rows)
            tombstones, notes = tuple(self._tombstones()), tuple(verifying.notes(self._rows))
            notes += tuple(
                f"entries {a} to {b}: lost to damage, as entry {n} says" for a, b, n in chain.losses(self._db)
            )
            last = self._rows("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1")
            if not last:
                return rows.Verified(0, chain.START, tuple(found))
            return rows.Verified(last[0]["seq"], last[0]["hash"], tuple(found), tombstones, notes)

    def has_entry(self, head: str) -> bool:
        """Whether an entry with this hash is in the chain."""
        return bool(self._rows("SELECT 1 FROM entries WHERE hash = ?", head))

    def _tombstones(self) -> Iterator[str]:
        """Every visit that was erased: when, by whom, why."""
        for row in self._rows(
            "SELECT visit_id, who, at, content FROM entries WHERE kind = 'erase' ORDER BY seq"
        ):
            try:
                why = json.loads(row["content"] or "{}").get("why", "")
            except (TypeError, ValueError, AttributeError):
                why = "cannot be read"  # and the chain says so
            yield f"visit {row['visit_id']}: erased on {str(row['at'])[:10]} by {row['who']}: {why}"

    def _verify_visit(self, visit_id: int) -> Iterator[str]:
        found = self._rows("SELECT * FROM visits WHERE id = ?", visit_id)
        if not found:
            yield f"visit {visit_id}: it is not where its number leads"
            return
        (row,) = found
        gone = "SELECT 1 FROM entries WHERE visit_id = ? AND content IS NULL LIMIT 1"
        if self._rows(gone, visit_id):  # the chain tells whether it may be
            if row["erased"] is None or row["record"] != rows.NOTHING or row["patient_reference"] is not None:
                yield f"visit {visit_id}: it was erased, and yet something is held of it"
            return
        state: Any = None
        try:
            for number, stated, state in self._replay(visit_id):
                if chain.digest(state) != stated:
                    yield f"visit {visit_id}, entry {number}: does not lead to the state it names"
                    return
            stands = self._state(row)
        except (ValueError, KeyError, IndexError, TypeError):
            yield f"visit {visit_id}: its history cannot be replayed"
            return
        if state is None:
            yield f"visit {visit_id}: it has no history"
        elif state != stands:
            yield f"visit {visit_id}: it is not what its history says"

    def _replay(self, visit_id: int) -> Iterator[tuple[int, str, Any]]:
        """The state after each entry, with its number and the digest that the entry states. Raises BadInput if the
        visit was erased."""
        state: Any = None
        self._row(visit_id)
        for row in self._rows(
            f"SELECT seq, content FROM entries WHERE {_UNBROKEN} ORDER BY seq", visit_id, visit_id
        ):
            content = json.loads(row["content"])
            state = content["start"] if "start" in content else chain.applied(state, content["steps"])
            yield row["seq"], content["state"], state

    def _past(self, visit_id: int) -> list[Past]:
        out = []
        for row in self._rows(
            f"SELECT seq, kind, content FROM entries WHERE {_UNBROKEN} ORDER BY seq", visit_id, visit_id
        ):
            content = json.loads(row["content"] or "{}")
            out.append(
                Past(
                    row["seq"],
                    visit_id,
                    row["kind"],
                    content.get("what", ""),
                    content.get("steps", []),
                    tuple(content.get("together", ())),
                    content.get("group", row["seq"]),
                )
            )
        return out

    def _row(self, visit_id: int) -> dict[str, Any]:
        found = self._rows("SELECT * FROM visits WHERE id = ?", visit_id)
        if not found:
            raise BadInput("there is no such visit", where=f"visit {visit_id}", remedy="See: earside list")
        if found[0]["erased"] is not None:
            raise BadInput(
                f"everything of it was erased on {found[0]['erased'][:10]}",
                where=f"visit {visit_id}",
                remedy="That it was, by whom and why stays in the history: earside verify",
            )
        return found[0]


def _entry(row: dict[str, Any]) -> tuple[rows.Entry, int]:
    """An entry, and the number of the one that it took back or did again (0 if none)."""
    content = json.loads(row["content"]) if row["content"] else {}
    entry = rows.Entry(
        number=row["seq"],
        visit=row["visit_id"],
        kind=row["kind"],
        who=row["who"],
        at=row["at"],
        what=content.get("what", "erased"),
        why=content.get("why", ""),
        edits=tuple(rows.Edit(**edit) for edit in content.get("edits", ())),
        erased=row["content"] is None,
    )
    return entry, int(content.get("of", 0))
