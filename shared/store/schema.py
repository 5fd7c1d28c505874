"""The tables, as numbered migrations. A migration that has landed is never edited; add the next one.

The first made these; the second (`checking_tables`) draws what there is now, the third (`recall_tables`) and
the fourth (`trust_tables`) add to it.

    recordings ──< transcripts ──< visits ──< findings ──< history
                        │             └────< notices
                 transcripts_fts (words of all transcripts)

The database itself writes the history: every insert and change of a finding leaves a row, by trigger,
and history rows cannot be changed or deleted. Findings are never deleted either: one that no longer
stands is marked `removed`, and the visits of an earlier reading are marked `replaced`.
Times of day are UTC, ISO 8601. Seconds count from the recording's start; characters from the text's.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from sqlite_utils import Database

from shared.errors import StoreError
from shared.protecting.vault import Vault
from shared.store import opening
from shared.store.checking_tables import second
from shared.store.recall_tables import third
from shared.store.trust_tables import fourth

APPLICATION_ID = 0x45415253  # "EARS": marks the file as ours in SQLite's own header

_NOW = "strftime('%Y-%m-%dT%H:%M:%fZ', 'now')"
_AS_JSON = (
    "json_object('value', {0}.value, 'certainty', {0}.certainty, 'origin', {0}.origin,"
    " 'heard', {0}.heard, 'removed', {0}.removed)"
)
_EVIDENCE = "heard TEXT, char_start INTEGER, char_end INTEGER, second_start REAL, second_end REAL"


def _first(db: Database) -> None:
    for statement in (
        """CREATE TABLE recordings (
            id INTEGER PRIMARY KEY,
            sha256 TEXT NOT NULL UNIQUE,  -- of the file's bytes
            name TEXT NOT NULL,           -- the file's name when first read
            bytes INTEGER NOT NULL,
            seconds REAL,                 -- NULL for written text
            kind TEXT NOT NULL CHECK (kind IN ('sound', 'text', 'transcript')),
            status TEXT NOT NULL CHECK (status IN ('read', 'no_speech')),
            added TEXT NOT NULL
        )""",
        """CREATE TABLE transcripts (
            id INTEGER PRIMARY KEY,
            recording_id INTEGER NOT NULL REFERENCES recordings(id),
            text TEXT NOT NULL,
            words TEXT NOT NULL,          -- JSON: [{"chars": [0, 5], "seconds": [0, 0.4], "probability": 1}]
            source TEXT NOT NULL,
            duration REAL,
            speech REAL,                  -- seconds taken to be speech
            language TEXT NOT NULL,
            model TEXT,
            settings TEXT NOT NULL,       -- JSON
            added TEXT NOT NULL
        )""",
        """CREATE TABLE visits (
            id INTEGER PRIMARY KEY,
            transcript_id INTEGER NOT NULL REFERENCES transcripts(id),
            ordinal INTEGER NOT NULL,     -- 1 for the first patient of a recording
            patient_reference TEXT,
            status TEXT NOT NULL CHECK (status IN ('draft', 'signed', 'replaced')),
            revision INTEGER NOT NULL DEFAULT 1,
            char_start INTEGER, char_end INTEGER, second_start REAL, second_end REAL,
            record TEXT NOT NULL,         -- JSON: the whole visit, full form
            added TEXT NOT NULL
        )""",
        """CREATE UNIQUE INDEX one_current_visit ON visits (transcript_id, ordinal)
            WHERE status <> 'replaced'""",
        f"""CREATE TABLE findings (
            id INTEGER PRIMARY KEY,
            visit_id INTEGER NOT NULL REFERENCES visits(id),
            path TEXT NOT NULL,           -- e.g. ears[0].before.wax[1].colour[0]
            field TEXT NOT NULL,          -- e.g. before.wax.colour
            ear TEXT,                     -- right, left, unstated; NULL for what belongs to the visit
            value,
            certainty TEXT NOT NULL,
            origin TEXT NOT NULL,
            {_EVIDENCE},
            confidence REAL NOT NULL,
            changed_by TEXT NOT NULL,
            removed INTEGER NOT NULL DEFAULT 0,
            UNIQUE (visit_id, path)
        )""",
        f"""CREATE TABLE notices (
            id INTEGER PRIMARY KEY,
            visit_id INTEGER NOT NULL REFERENCES visits(id),
            kind TEXT NOT NULL,
            weight INTEGER NOT NULL,
            must_decide INTEGER NOT NULL,
            path TEXT NOT NULL,
            message TEXT NOT NULL,
            guidance TEXT NOT NULL,
            {_EVIDENCE}
        )""",
        """CREATE TABLE history (
            id INTEGER PRIMARY KEY,
            finding_id INTEGER NOT NULL REFERENCES findings(id),
            who TEXT NOT NULL,
            at TEXT NOT NULL,
            before TEXT,                  -- JSON; NULL when the finding was new
            after TEXT NOT NULL           -- JSON
        )""",
        f"""CREATE TRIGGER finding_added AFTER INSERT ON findings BEGIN
            INSERT INTO history (finding_id, who, at, before, after)
            VALUES (new.id, new.changed_by, {_NOW}, NULL, {_AS_JSON.format("new")});
        END""",
        f"""CREATE TRIGGER finding_changed AFTER UPDATE ON findings BEGIN
            INSERT INTO history (finding_id, who, at, before, after)
            VALUES (new.id, new.changed_by, {_NOW}, {_AS_JSON.format("old")}, {_AS_JSON.format("new")});
        END""",
        """CREATE TRIGGER finding_stays BEFORE DELETE ON findings BEGIN
            SELECT RAISE(ABORT, 'findings are not deleted: mark them removed');
        END""",
        """CREATE TRIGGER history_not_changed BEFORE UPDATE ON history BEGIN
            SELECT RAISE(ABORT, 'history is append-only');
        END""",
        """CREATE TRIGGER history_not_deleted BEFORE DELETE ON history BEGIN
            SELECT RAISE(ABORT, 'history is append-only');
        END""",
        # INSERT OR REPLACE deletes without firing the delete trigger, unless recursive_triggers is on.
        """CREATE TRIGGER history_not_replaced BEFORE INSERT ON history
            WHEN EXISTS (SELECT 1 FROM history WHERE id = new.id) BEGIN
            SELECT RAISE(ABORT, 'history is append-only');
        END""",
        "CREATE INDEX transcripts_of_recording ON transcripts (recording_id)",
        "CREATE INDEX notices_of_visit ON notices (visit_id)",
        "CREATE INDEX history_of_finding ON history (finding_id)",
        "CREATE INDEX findings_by_field ON findings (field, value)",
    ):
        db.execute(statement)
    db.table("transcripts").enable_fts(["text"], create_triggers=True, tokenize="porter unicode61")


MIGRATIONS: tuple[Callable[[Database], None], ...] = (_first, second, third, fourth)


def now() -> str:
    """The time of day, UTC, ISO 8601 to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def version(db: Database) -> int:
    """How many migrations the database has had."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def check_origin(db: Database, where: str) -> None:
    """Refuse a database of another program, or of a newer Earside. Reads only.

    Raises StoreError for either.
    """
    known = len(MIGRATIONS)
    if version(db) > known:
        raise StoreError(
            f"was written by a newer Earside (tables {version(db)}, this one knows {known})",
            where=where,
            remedy="Update Earside, or choose another data folder with --data.",
        )
    ours = db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    if not ours and db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
        raise StoreError(
            "is the database of another program",
            where=where,
            remedy="Choose another data folder with --data.",
        )


def back_up(db: Database, path: Path, vault: Vault | None = None) -> None:
    """Copy a store that is about to be upgraded beside it, as `earside-before-2.db`; a new one has nothing
    to copy. Call while holding the write lock, so that the copy is of the state that is upgraded. A protected
    store's copy is encrypted with the same key.

    Raises OSError or what the database raises if the copy cannot be made; then nothing is upgraded.
    """
    if not 0 < version(db) < len(MIGRATIONS):  # new, or another program was quicker
        return
    copy = path.with_name(f"{path.stem}-before-{version(db) + 1}{path.suffix}")
    part = copy.with_suffix(".part")
    part.unlink(missing_ok=True)
    os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    with closing(opening.connect(path, vault)) as held, closing(opening.connect(part, vault)) as copied:
        held.backup(copied)
    flush(part)
    part.replace(copy)
    flush(copy.parent)


def flush(path: Path) -> None:
    """Have a file, or the names in a folder, written to the disk itself."""
    if os.name == "nt" and path.is_dir():  # Windows has no such call for a folder
        return
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def migrate(db: Database) -> None:
    """Run the missing migrations; call inside a write transaction, which then also notes that they ran."""
    for number, step in enumerate(MIGRATIONS[version(db) :], version(db) + 1):
        step(db)
        db.execute(f"PRAGMA user_version = {number}")
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
