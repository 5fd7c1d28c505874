"""What people do to a visit: change, undo, sign, amend. Each is one transaction and one entry of the history.

Every call says who, and which revision it was based on: if somebody changed the visit in between, it is
refused, not overwritten (Conflict). Undo is an entry of its own; nothing is ever taken out of the history.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from shared.errors import BadInput, Conflict, NotAllowed
from shared.record import Visit
from shared.store import chain, rows, schema
from shared.store.history import History, Past
from shared.store.readings import Readings


class Changes(History, Readings):
    """The part of the store that people change visits through."""

    def visit(self, visit_id: int) -> rows.StoredVisit:
        """One visit, a replaced one too. Raises BadInput if there is none, StoreError if it
        cannot be understood."""
        row = self._row(visit_id)
        (recording,) = self._rows("SELECT name FROM recordings WHERE id = ?", row["recording_id"])
        past = self._past(visit_id) if row["status"] in rows.OPEN else []
        turns = {kind: self._turnable(past, kind) for kind in ("undo", "redo")}
        return rows.StoredVisit(
            id=visit_id,
            recording=recording["name"],
            recording_id=row["recording_id"],
            ordinal=row["ordinal"],
            added=row["added"],
            status=row["status"],
            revision=row["revision"],
            transcript=row["transcript_id"],
            visit=self._record(visit_id, row["record"]),
            when=row["when_at"],
            when_from=row["when_from"],
            clinician=row["clinician"],
            undo=turns["undo"][-1].what if turns["undo"] else None,
            redo=turns["redo"][-1].what if turns["redo"] else None,
        )

    def revise(self, visit_id: int, visit: Visit, who: str, *, revision: int) -> rows.StoredVisit:
        """Put a whole record in place of a draft's. Raises as `change`."""
        return self.change(visit_id, rows.Change("correct", "changed", visit), who, revision=revision)

    def change(self, visit_id: int, change: rows.Change, who: str, *, revision: int) -> rows.StoredVisit:
        """Put the new state of a draft in place of the old one.

        revision: the one the change was based on. Raises Conflict if the visit has changed since, NotAllowed
        if it is signed or `who` may not correct, BadInput if there is no such visit.
        """
        with self._writing():
            row, at = self._opened(visit_id, who, revision), schema.now()
            self._put(row, self._changed(row, change, at), change, who, at)
            return self.visit(visit_id)

    def split(
        self, visit_id: int, first: rows.Change, second: Visit, who: str, *, revision: int
    ) -> tuple[rows.StoredVisit, rows.StoredVisit]:
        """Make two visits of one: it keeps what `first` says, a new one after it gets `second`. One undo of
        either takes back both. Raises as `change`."""
        with self._writing():
            row, at = self._opened(visit_id, who, revision), schema.now()
            after = self._changed(row, first, at)
            new_id = self._sibling(row, after, second, who, at)
            (new,) = self._rows("SELECT * FROM visits WHERE id = ?", new_id)
            group = {"together": [visit_id, new_id]}
            entry = self._put(row, after, first, who, at, **group)
            told = rows.Change("split", f"split off from visit {visit_id}", second)
            self._put(new, self._state(new) | {"status": "draft"}, told, who, at, group=entry, **group)
            return self.visit(visit_id), self.visit(new_id)

    def merge(
        self, visit_id: int, next_id: int, change: rows.Change, who: str, *, revision: int, next_revision: int
    ) -> rows.StoredVisit:
        """Put `change`, which holds both, in place of the first visit; the next gives way. One undo takes back
        both. Raises as `change`, for either visit; BadInput if they are of different recordings."""
        with self._writing():
            row, at = self._opened(visit_id, who, revision), schema.now()
            other = self._opened(next_id, who, next_revision)
            if row["status"] != "draft" or other["status"] != "draft":
                raise NotAllowed(
                    "has been signed before, and what was signed keeps its bounds",
                    where=f"visit {visit_id if row['status'] != 'draft' else next_id}",
                    remedy="Correct the values of each visit instead.",
                )
            if row["recording_id"] != other["recording_id"] or row["id"] == other["id"]:
                raise BadInput(
                    "only two visits of one recording can become one",
                    where=f"visits {visit_id} and {next_id}",
                    remedy="Choose the next visit of the same recording.",
                )
            group = {"together": [visit_id, next_id]}
            entry = self._put(row, self._changed(row, change, at), change, who, at, **group)
            gone = rows.Change("merge", f"went into visit {visit_id}", self._record(next_id, other["record"]))
            self._put(other, self._state(other) | {"status": "replaced"}, gone, who, at, group=entry, **group)
            return self.visit(visit_id)

    def next_visit(self, visit_id: int) -> int | None:
        """The visit after this one in its recording; None if it is the last."""
        found = self._rows(
            """SELECT o.id FROM visits v JOIN visits o ON o.recording_id = v.recording_id
            WHERE v.id = ? AND o.place > v.place AND o.status <> 'replaced' ORDER BY o.place LIMIT 1""",
            visit_id,
        )
        return int(found[0]["id"]) if found else None

    def undo(self, visit_id: int, who: str, *, revision: int) -> rows.StoredVisit:
        """Take back the last change since the reading or the last signature; again and again if asked.

        Raises BadInput if there is nothing to undo, and as `change`.
        """
        return self._turn(visit_id, who, revision, kind="undo")

    def redo(self, visit_id: int, who: str, *, revision: int) -> rows.StoredVisit:
        """Do again what was last undone. Raises BadInput if there is nothing, and as `change`."""
        return self._turn(visit_id, who, revision, kind="redo")

    def sign(self, visit_id: int, who: str, *, revision: int, reason: str = "") -> rows.StoredVisit:
        """Sign a visit, which locks it. who: an active clinician.

        reason: why it is signed although notices that must be decided are not; kept with the signature.
        Raises NotAllowed without it then, if `who` may not sign, or if it is signed already; Conflict.
        """
        with self._writing():
            row, at = self._opened(visit_id, who, revision), schema.now()
            person = self.person(who)
            _only_clinician(person, visit_id, "sign")
            visit, reason = self._record(visit_id, row["record"]), reason.strip()
            waiting = [notice.message for notice in visit.notices if notice.waits]
            if waiting and not reason:
                raise NotAllowed(
                    f"{len(waiting)} to decide before signing; first: {waiting[0]}",
                    where=f"visit {visit_id}",
                    remedy="Decide it, or give the reason why you sign without.",
                )
            amended = row["status"] == "amending"
            after = self._state(row) | {"status": "amended" if amended else "signed"}
            content = {
                "what": f"signed by {person.name}, {person.role}" + (", as amended" if amended else ""),
                "why": reason if waiting else "",
                "undecided": waiting,
                "role": person.role,
            }
            entry = self._enter(row, after, kind="sign", who=person.name, at=at, content=content)
            signature = {
                "visit_id": visit_id,
                "entry": entry,
                "who": person.name,
                "role": person.role,
                "at": at,
            }
            self._db.table("signatures").insert(signature | {"reason": content["why"] or None})
            return self.visit(visit_id)

    def amend(self, visit_id: int, who: str, reason: str, *, revision: int) -> rows.StoredVisit:
        """Open a signed visit to be put right; it must be signed again. What was signed stays to be read.

        Raises BadInput without a reason, NotAllowed if it is not signed or `who` may not, Conflict.
        """
        if not reason.strip():
            raise BadInput("an amendment needs a reason", where=f"visit {visit_id}", remedy="Say why.")
        with self._writing():
            row, person, at = self._row(visit_id), self._worker(who), schema.now()
            _only_clinician(person, visit_id, "amend")
            if row["status"] not in rows.LOCKED:
                raise NotAllowed(
                    "is not signed, so it can simply be corrected",
                    where=f"visit {visit_id}",
                    remedy="Correct it.",
                )
            self._unchanged(row, revision)
            content = {"what": "opened to be amended", "why": reason.strip()}
            after = self._state(row) | {"status": "amending"}
            self._enter(row, after, kind="amend", who=person.name, at=at, content=content)
            return self.visit(visit_id)

    # --- underneath

    def _opened(self, visit_id: int, who: str, revision: int) -> dict[str, Any]:
        """The row of a visit that this person may change now."""
        row, person = self._row(visit_id), self._worker(who)
        if row["status"] == "amending":
            _only_clinician(person, visit_id, "change what was signed")
        if row["status"] in rows.LOCKED:
            raise NotAllowed(
                "is signed and locked", where=f"visit {visit_id}", remedy="Open it for an amendment first."
            )
        if row["status"] == "replaced":
            raise NotAllowed(
                "is not a draft any more; it gave way to another",
                where=f"visit {visit_id}",
                remedy="See: earside list",
            )
        self._unchanged(row, revision)
        return row

    def _worker(self, who: str) -> rows.Person:
        person = self.person(who)
        if person.role == "auditor" or not person.active:
            raise NotAllowed(
                f"{person.name} may only read"
                if person.active
                else f"{person.name} does not work here any more",
                where="people",
                remedy="Have a clinician or an assistant do it.",
            )
        return person

    @staticmethod
    def _unchanged(row: dict[str, Any], revision: int) -> None:
        if row["revision"] != revision:
            raise Conflict(
                "has been changed since you opened it",
                where=f"visit {row['id']}",
                remedy="Open it again; nothing of this change was saved.",
            )

    def _changed(self, row: dict[str, Any], change: rows.Change, at: str) -> dict[str, Any]:
        after = self._state(row) | {"record": change.visit.model_dump(mode="json", exclude_none=True)}
        if change.transcript is not None:
            number = self._add_transcript(row["recording_id"], change.transcript, at, of_visit=True)
            after["transcript"] = number
        if change.when is not None:
            after |= {"when": rows.normal(change.when), "when_from": "entered"}
        if change.clinician is not None:
            after["clinician"] = self.person(change.clinician).name
        return after

    def _put(
        self, row: dict[str, Any], after: dict[str, Any], change: rows.Change, who: str, at: str, **more: Any
    ) -> int:
        """Enter a change and the edits it consists of."""
        who = self.person(who).name
        edits = [asdict(edit) for edit in change.edits]
        content = {"what": change.what, "edits": edits, **more}
        entry = self._enter(row, after, kind=change.kind, who=who, at=at, content=content)
        for edit in edits:
            heard = " ".join(edit.pop("heard").lower().split()) if edit["heard"] else edit.pop("heard")
            self._db.table("edits").insert({"entry": entry, "visit_id": row["id"], "heard": heard, **edit})
        return entry

    def _sibling(self, row: dict[str, Any], after: dict[str, Any], second: Visit, who: str, at: str) -> int:
        """A new visit right after another of the same recording; it does not stand yet."""
        recording_id = row["recording_id"]
        later = self._rows(
            """SELECT min(place) place FROM visits WHERE recording_id = ? AND place > ?
            AND status <> 'replaced'""",
            recording_id,
            row["place"],
        )[0]["place"]
        (most,) = self._rows("SELECT max(ordinal) most FROM visits WHERE recording_id = ?", recording_id)
        (recording,) = self._rows("SELECT started FROM recordings WHERE id = ?", recording_id)
        state = {
            "record": second.model_dump(mode="json", exclude_none=True),
            "status": "replaced",
            "transcript": after["transcript"],
            "when": _start_of(second, recording["started"], row["when_at"]),
            "when_from": row["when_from"],
        }
        if row["clinician"]:
            state["clinician"] = row["clinician"]
        return self._begin(
            recording_id,
            most["most"] + 1,
            state,
            kind="new",
            who=self.person(who).name,
            at=at,
            what=f"made from the end of visit {row['id']}",
            place=(row["place"] + later) / 2 if later is not None else row["place"] + 1,
        )

    def _turn(self, visit_id: int, who: str, revision: int, *, kind: str) -> rows.StoredVisit:
        """Undo or redo: on this visit, and on the other one that was changed together with it."""
        with self._writing():
            row, at = self._opened(visit_id, who, revision), schema.now()
            steps = self._turnable(self._past(visit_id), kind)
            if not steps:
                raise BadInput(f"there is nothing to {kind}", where=f"visit {visit_id}")
            done = self._together(visit_id, steps[-1], kind)
            group = {"together": [d.visit for d in done]} if len(done) > 1 else {}
            for past in done:
                self._turn_one(
                    past, row if past.visit == visit_id else self._row(past.visit), kind, who, at, group
                )
            return self.visit(visit_id)

    def _together(self, visit_id: int, last: Past, kind: str) -> list[Past]:
        done = [last]
        for other_id in last.together:
            if other_id == visit_id:
                continue
            theirs = self._turnable(self._past(other_id), kind)
            if not theirs or theirs[-1].group != last.group:
                raise NotAllowed(
                    f"visit {other_id}, which was changed together with it, has been changed since",
                    where=f"visit {visit_id}",
                    remedy=f"Undo the changes of visit {other_id} first.",
                )
            done.append(theirs[-1])
        return done

    def _turn_one(
        self, past: Past, row: dict[str, Any], kind: str, who: str, at: str, group: dict[str, Any]
    ) -> None:
        after = chain.applied(self._state(row), past.steps, backwards=kind == "undo")
        content = {
            "what": f"{'took back' if kind == 'undo' else 'did again'}: {past.what}",
            "of": past.number,
        }
        self._enter(row, after, kind=kind, who=self.person(who).name, at=at, content=content | group)
        self._execute("UPDATE edits SET undone = ? WHERE entry = ?", int(kind == "undo"), past.number)

    @staticmethod
    def _turnable(past: Sequence[Past], kind: str) -> list[Past]:
        """The entries that undo, or redo, would take in turn; the last first in line."""
        done: list[Past] = []
        undone: list[Past] = []
        by_number = {p.number: p for p in past}
        for p in past:
            if p.kind == "undo":
                undone.append(done.pop())
            elif p.kind == "redo":
                done.append(undone.pop())
            elif p.kind in _ASIDE:
                continue
            elif p.kind in _BARRIERS:
                done, undone = [], []
            else:
                done.append(by_number[p.number])
                undone = []
        return done if kind == "undo" else undone


_BARRIERS = frozenset({"read", "new", "upgrade", "sign", "replaced", "erase", "mend"})
"""Entries that are not undone, nor anything before them."""
_ASIDE = frozenset({"recall", "agreement", "sound"})
"""Entries that leave the record as it is: undo passes them by."""


def _only_clinician(person: rows.Person, visit_id: int, act: str) -> None:
    if person.role != "clinician":
        raise NotAllowed(
            f"{person.name} is here as {person.role}; only a clinician may {act}",
            where=f"visit {visit_id}",
            remedy="Have a clinician do it.",
        )


def _start_of(visit: Visit, started: str | None, otherwise: str) -> str:
    if started is None or visit.extent is None or visit.extent.seconds is None:
        return otherwise
    return rows.iso(datetime.fromisoformat(started) + timedelta(seconds=visit.extent.seconds[0]))
