"""Keeping readings and finding them again.

One recording is one transaction: after a crash at any moment it is there as a whole, or not at all.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any

from platformdirs import user_data_path
from pydantic import ValidationError
from sqlite_utils import Database

from shared.errors import BadInput, StoreError
from shared.record import Visit
from shared.store import rows, schema
from shared.store.faults import faults
from shared.transcript import Transcript

FILE_NAME = "earside.db"
MACHINE = "earside"  # who a value comes from that no person entered

_CURRENT = """FROM visits v JOIN transcripts t ON t.id = v.transcript_id
    JOIN recordings r ON r.id = t.recording_id WHERE v.status <> 'replaced'"""


def data_folder() -> Path:
    """The user's own data folder: EARSIDE_DATA if set, else the system's usual place."""
    chosen = os.environ.get("EARSIDE_DATA")
    return Path(chosen) if chosen else user_data_path("earside", appauthor=False)


class Store:
    """The database in one data folder. A context manager; one per thread.

    wait_seconds: how long to wait for another program that is writing.
    Raises StoreError if the folder or its database cannot be used.
    """

    def __init__(self, folder: Path, *, wait_seconds: float = 10) -> None:
        self.path = folder / FILE_NAME
        with faults(folder):
            # Patients' talk: for this user's eyes only.
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            os.close(os.open(self.path, os.O_CREAT | os.O_RDWR, 0o600))
        with faults(self.path):
            self._db = Database(sqlite3.connect(self.path, timeout=wait_seconds), execute_plugins=False)
            try:
                self._prepare()
            except BaseException:
                self.close()
                raise

    def _prepare(self) -> None:
        schema.check_origin(self._db, str(self.path))
        for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            self._db.execute(f"PRAGMA {pragma}")
        if schema.version(self._db) < len(schema.MIGRATIONS):
            with self._writing():
                schema.migrate(self._db)

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the database."""
        self._db.close()

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """A transaction that takes the write lock at its start, so that no lock can stop it half-way."""
        with faults(self.path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._db.commit()
            except BaseException:
                self._db.rollback()
                raise

    def _rows(self, sql: str, *values: Any) -> list[dict[str, Any]]:
        with faults(self.path):
            return list(self._db.query(sql, values))

    def keep(
        self,
        recording: rows.Recording,
        transcript: Transcript,
        visits: Sequence[Visit],
        *,
        replace: bool = False,
    ) -> rows.Kept:
        """Keep what was read from one recording; its earlier drafts give way.

        If a person has changed or signed any visit of this recording, all its visits stay as they are,
        because a new reading may divide the recording differently; `replace` overrides that. What was
        replaced stays in the database, with its history, marked `replaced`.
        Raises StoreError; then nothing of it was kept.
        """
        with self._writing():
            recording_id = self._recording(recording, transcript)
            standing = self._rows(
                f"SELECT v.id, v.record, v.transcript_id {_CURRENT} AND r.id = ? ORDER BY v.ordinal",
                recording_id,
            )
            ids = tuple(row["id"] for row in standing)
            if ids and not replace and self._touched(recording_id):
                return rows.Kept(recording_id, ids, "left")
            transcript_id, was_there = self._transcript(recording_id, transcript)
            if was_there and [row["record"] for row in standing] == [rows.record_json(v) for v in visits]:
                return rows.Kept(recording_id, ids, "unchanged")
            for visit_id in ids:
                self._db.table("visits").update(visit_id, {"status": "replaced"})
            new = tuple(self._visit(transcript_id, n, visit) for n, visit in enumerate(visits, 1))
            return rows.Kept(recording_id, new, "replaced" if ids else "new")

    def revise(self, visit_id: int, visit: Visit, who: str, *, revision: int) -> rows.StoredVisit:
        """Put a person's correction in place of a draft, and note who changed what.

        revision: the one the correction was based on. Raises StoreError if the visit has changed since,
        is no longer a draft; BadInput if there is none.
        """
        if not who.strip() or who == MACHINE:
            raise StoreError("a change needs the name of the person who made it", where=f"visit {visit_id}")
        with self._writing():
            standing = self.visit(visit_id)
            if standing.status != "draft" or standing.revision != revision:
                raise StoreError(
                    "has been changed since you opened it"
                    if standing.status == "draft"
                    else "is not a draft any more",
                    where=f"visit {visit_id}",
                    remedy="Open it again; nothing of this change was saved.",
                )
            self._db.table("visits").update(visit_id, {**rows.visit_columns(visit), "revision": revision + 1})
            self._findings(visit_id, visit, who)
            self._notices(visit_id, visit)
            return self.visit(visit_id)

    def visit(self, visit_id: int) -> rows.StoredVisit:
        """One visit, a replaced one too. Raises BadInput if there is none, StoreError if it
        cannot be understood."""
        found = self._rows(
            """SELECT v.*, r.name FROM visits v JOIN transcripts t ON t.id = v.transcript_id
            JOIN recordings r ON r.id = t.recording_id WHERE v.id = ?""",
            visit_id,
        )
        if not found:
            raise BadInput("there is no such visit", where=f"visit {visit_id}", remedy="See: earside list")
        row = found[0]
        try:
            visit = Visit.model_validate_json(row["record"])
        except ValidationError as fault:
            raise StoreError(
                "its record does not follow this version's fields",
                where=f"{self.path}, visit {visit_id}",
                remedy="Read the recording again.",
            ) from fault
        return rows.StoredVisit(
            id=visit_id,
            recording=row["name"],
            ordinal=row["ordinal"],
            added=row["added"],
            status=row["status"],
            revision=row["revision"],
            transcript=row["transcript_id"],
            visit=visit,
        )

    def visits(self) -> list[rows.VisitRow]:
        """All visits that stand, the latest first; those of one recording in its order."""
        found = self._rows(
            f"""SELECT v.id, r.name recording, v.ordinal, v.added, v.status, v.patient_reference,
                (SELECT group_concat(value) FROM (SELECT value FROM findings
                    WHERE visit_id = v.id AND field = 'side' AND NOT removed ORDER BY path)) ears,
                (SELECT count(*) FROM notices WHERE visit_id = v.id) to_check,
                (SELECT count(*) FROM notices WHERE visit_id = v.id AND must_decide) to_decide
            {_CURRENT} ORDER BY v.transcript_id DESC, v.ordinal"""
        )
        return [
            rows.VisitRow(**{**row, "ears": tuple((row["ears"] or "").split(",")) if row["ears"] else ()})
            for row in found
        ]

    def transcript(self, transcript_id: int) -> Transcript:
        """A transcript as it was kept. Raises StoreError if there is none."""
        found = self._rows("SELECT * FROM transcripts WHERE id = ?", transcript_id)
        if not found:
            raise StoreError("there is no such transcript", where=f"transcript {transcript_id}")
        row = {key: value for key, value in found[0].items() if key in Transcript.model_fields}
        return Transcript.model_validate(row | {k: json.loads(row[k]) for k in ("words", "settings")})

    def search(self, words: str) -> list[rows.Hit]:
        """Transcripts that hold all the words, in any form ("bleed" finds "bleeding"), best match first.

        Words in double quotes must stand together.
        """
        wanted = self._db.quote_fts(words)
        if not wanted:
            return []
        found = self._rows(
            """SELECT r.name, t.added, t.id, snippet(transcripts_fts, 0, '[', ']', '…', 16) around
            FROM transcripts_fts JOIN transcripts t ON t.id = transcripts_fts.rowid
            JOIN recordings r ON r.id = t.recording_id
            WHERE transcripts_fts MATCH ?
                AND t.id = (SELECT max(id) FROM transcripts WHERE recording_id = r.id)
            ORDER BY rank""",
            wanted,
        )
        standing = self._rows(f"SELECT v.id, v.transcript_id {_CURRENT} ORDER BY v.ordinal")
        return [
            rows.Hit(
                recording=row["name"],
                added=row["added"],
                visits=tuple(v["id"] for v in standing if v["transcript_id"] == row["id"]),
                around=" ".join(row["around"].split()),
            )
            for row in found
        ]

    def history(self, visit_id: int) -> list[dict[str, Any]]:
        """Every change to the visit's findings, oldest first: path, who, at, before, after."""
        return self._rows(
            """SELECT f.path, h.who, h.at, h.before, h.after FROM history h
            JOIN findings f ON f.id = h.finding_id WHERE f.visit_id = ? ORDER BY h.id""",
            visit_id,
        )

    def _touched(self, recording_id: int) -> bool:
        return bool(
            self._rows(
                f"""SELECT 1 {_CURRENT} AND r.id = ? AND (v.status = 'signed' OR EXISTS (
                    SELECT 1 FROM findings f JOIN history h ON h.finding_id = f.id
                    WHERE f.visit_id = v.id AND h.who <> ?)) LIMIT 1""",
                recording_id,
                MACHINE,
            )
        )

    def _recording(self, recording: rows.Recording, transcript: Transcript) -> int:
        table = self._db.table("recordings")
        now_known = {
            "seconds": transcript.duration,
            "status": "read" if transcript.text.strip() else "no_speech",
        }
        for row in self._rows("SELECT id FROM recordings WHERE sha256 = ?", recording.sha256):
            table.update(row["id"], now_known)
            return int(row["id"])
        return _inserted(table.insert({**vars(recording), **now_known, "added": schema.now()}))

    def _transcript(self, recording_id: int, transcript: Transcript) -> tuple[int, bool]:
        """The transcript's id, and whether it was the recording's latest already."""
        for row in self._rows("SELECT max(id) id FROM transcripts WHERE recording_id = ?", recording_id):
            if row["id"] and self.transcript(row["id"]) == transcript:
                return int(row["id"]), True
        values = transcript.model_dump(mode="json")
        values |= {key: json.dumps(values[key], ensure_ascii=False) for key in ("words", "settings")}
        row = {"recording_id": recording_id, **values, "added": schema.now()}
        return _inserted(self._db.table("transcripts").insert(row)), False

    def _visit(self, transcript_id: int, ordinal: int, visit: Visit) -> int:
        row = {
            "transcript_id": transcript_id,
            "ordinal": ordinal,
            "status": "draft",
            **rows.visit_columns(visit),
            "added": schema.now(),
        }
        visit_id = _inserted(self._db.table("visits").insert(row))
        self._findings(visit_id, visit, MACHINE)
        self._notices(visit_id, visit)
        return visit_id

    def _findings(self, visit_id: int, visit: Visit, who: str) -> None:
        """Make the findings those of `visit`; touch only what differs."""
        table = self._db.table("findings")
        there = {
            row["path"]: row for row in self._rows("SELECT * FROM findings WHERE visit_id = ?", visit_id)
        }
        wanted = rows.finding_rows(visit_id, visit, who)
        for path, row in wanted.items():
            old = there.get(path)
            if old is None:
                table.insert(row)
            elif any(old[key] != row[key] for key in row if key != "changed_by"):
                table.update(old["id"], row)
        for path, old in there.items():
            if path not in wanted and not old["removed"]:
                table.update(old["id"], {"removed": 1, "changed_by": who})

    def _notices(self, visit_id: int, visit: Visit) -> None:
        table = self._db.table("notices")
        table.delete_where("visit_id = ?", [visit_id])
        table.insert_all(rows.notice_rows(visit_id, visit))


def _inserted(table: Any) -> int:
    return int(table.last_pk)
