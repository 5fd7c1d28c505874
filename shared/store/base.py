"""The open database: one connection, its transactions, and how a visit's state is put down."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from platformdirs import user_data_path
from pydantic import ValidationError
from sqlite_utils import Database

from shared.errors import StoreError
from shared.protecting import key_file, staging, unlocking
from shared.protecting.vault import Vault
from shared.record import Visit
from shared.store import chain, opening, protecting, rows, schema, verifying
from shared.store.faults import faults

MACHINE = "earside"
"""Who an entry comes from that no person made."""

State = dict[str, Any]
"""What the history follows of a visit: record, status, transcript, when, when_from, clinician."""

_Self = TypeVar("_Self", bound="Base")


def _vault(folder: Path) -> Vault | None:
    """The data key of a data folder that may be protected; what an interrupted protecting left is cleared up."""
    with faults(folder):
        protecting.clear_up(folder)
    vault = unlocking.vault(folder)
    if vault is None and (folder / opening.PROTECTED_NAME).exists() and not (folder / staging.MARK).exists():
        raise StoreError(
            f"is protected, and its key file {key_file.NAME} is missing",
            where=str(folder),
            remedy="Take it from a backup: without it nobody can read this store.",
        )
    return vault


def data_folder() -> Path:
    """The user's own data folder: EARSIDE_DATA if set, else the system's usual place."""
    chosen = os.environ.get("EARSIDE_DATA")
    return Path(chosen) if chosen else user_data_path("earside", appauthor=False)


class Base:
    """The database in one data folder. A context manager; one per thread.

    wait_seconds: how long to wait for another program that is writing.
    Raises StoreError if the folder or its database cannot be used, WrongPassphrase if it is protected and does not
    open.
    """

    def __init__(self, folder: Path, *, wait_seconds: float = 10) -> None:
        self._vault = _vault(folder)
        self.folder, self.path = folder, folder / opening.file_name(self._vault)
        with faults(folder):
            # Patients' talk: for this user's eyes only.
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            opening.new_file(self.path)
        with faults(self.path, protected=self._vault is not None):
            connection = opening.connect(self.path, self._vault, wait_seconds=wait_seconds)
            self._db = Database(connection, execute_plugins=False)
            try:
                self._prepare()
            except BaseException:
                self.close()
                raise

    def _prepare(self) -> None:
        schema.check_origin(self._db, str(self.path))
        for pragma in ("journal_mode = WAL", "synchronous = FULL"):
            self._db.execute(f"PRAGMA {pragma}")
        if schema.version(self._db) < len(schema.MIGRATIONS):
            # Tables that others refer to are made anew; SQLite wants the references unchecked meanwhile.
            self._db.execute("PRAGMA foreign_keys = OFF")
            with self._writing():
                schema.back_up(self._db, self.path, self._vault)
                schema.migrate(self._db)
                if broken := self._db.execute("PRAGMA foreign_key_check").fetchall():
                    raise StoreError(
                        f"the tables do not fit together ({len(broken)} loose ends)",
                        where=str(self.path),
                        remedy="Nothing was changed. Restore the last backup, or ask for help.",
                    )
        self._db.execute("PRAGMA foreign_keys = ON")

    def __enter__(self: _Self) -> _Self:
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
                if key_file.is_there(self.folder) != (self._vault is not None):
                    raise StoreError(
                        "was protected or opened by another program meanwhile",
                        where=str(self.folder),
                        remedy="Nothing of this was kept. Start again.",
                    )
                yield
                self._db.commit()
            except BaseException:
                self._db.rollback()
                raise

    def _rows(self, sql: str, *values: Any) -> list[dict[str, Any]]:
        with faults(self.path):
            try:
                return list(self._db.query(sql, values))
            except OverflowError:  # a number too large for SQLite: nothing kept has it
                return []

    def _execute(self, sql: str, *values: Any) -> None:
        self._db.execute(sql, values)

    def _record(self, visit_id: int, text: str) -> Visit:
        try:
            return Visit.model_validate_json(text)
        except ValidationError as fault:
            raise StoreError(
                "its record does not follow this version's fields",
                where=f"{self.path}, visit {visit_id}",
                remedy="Read the recording again.",
            ) from fault

    def _state(self, row: dict[str, Any]) -> State:
        """The state of a row of `visits`."""
        state = {
            "record": json.loads(row["record"]),
            "status": row["status"],
            "transcript": row["transcript_id"],
            "when": row["when_at"],
            "when_from": row["when_from"],
            "clinician": row["clinician"],
        }
        return {key: value for key, value in state.items() if value is not None}

    def _enter(
        self, row: dict[str, Any], after: State, *, kind: str, who: str, at: str, content: dict[str, Any]
    ) -> int:
        """Take a visit from the state of its row to `after`: one entry of the history, and all that is
        looked up. Returns the entry's number; call inside a write transaction."""
        before = self._state(row)
        steps = chain.differences(before, after)
        if before.get("transcript") != after["transcript"]:
            content = content | self._words(after["transcript"])
        entry = chain.append(
            self._db,
            visit=row["id"],
            kind=kind,
            who=who,
            at=at,
            content={**content, "steps": steps, "state": chain.digest(after)},
        )
        new = {
            "status": after["status"],
            "transcript_id": after["transcript"],
            "when_at": after["when"],
            "when_from": after["when_from"],
            "clinician": after.get("clinician"),
            "revision": row["revision"] + 1,
        }
        if before["record"] != after["record"]:
            new |= rows.visit_columns(Visit.model_validate(after["record"]))
        self._db.table("visits").update(row["id"], new)
        if any(before.get(key) != after.get(key) for key in ("record", "transcript", "when")) or (
            (before["status"] == "replaced") != (after["status"] == "replaced")
        ):
            self._look_up(row["id"])
        return entry

    def _words(self, transcript: int) -> dict[str, Any]:
        """What an entry holds of the words that a visit rests on from now on."""
        (row,) = self._rows("SELECT text, words FROM transcripts WHERE id = ?", transcript)
        return {"words": {"transcript": transcript, "sha256": verifying.words_mark(row)}}

    def _look_up(self, visit_id: int) -> None:
        """Put down what a visit can be found by; a replaced one is not found."""
        (row,) = self._rows("SELECT * FROM visits WHERE id = ?", visit_id)
        self._execute("DELETE FROM findings WHERE visit_id = ?", visit_id)
        self._execute("DELETE FROM notices WHERE visit_id = ?", visit_id)
        self._execute("DELETE FROM words_fts WHERE rowid = ?", visit_id)
        if row["status"] == "replaced":
            return
        visit = self._record(visit_id, row["record"])
        for table, found in (
            ("findings", rows.finding_rows(visit_id, visit, row["when_at"])),
            ("notices", rows.notice_rows(visit_id, visit)),
        ):
            if found:
                names = ", ".join(found[0])
                places = ", ".join(f":{name}" for name in found[0])
                self._db.conn.executemany(f"INSERT INTO {table} ({names}) VALUES ({places})", found)
        self._execute(
            """INSERT INTO words_fts (rowid, text) SELECT v.id,
            coalesce(substr(t.text, v.char_start + 1, v.char_end - v.char_start), t.text)
            FROM visits v JOIN transcripts t ON t.id = v.transcript_id WHERE v.id = ?""",
            visit_id,
        )
