"""The second migration: people, signatures, decided notices, the chained history, lists fit for many visits.

    people    recordings ──< transcripts ──< visits ──< findings, notices     what stands now, for finding it
                                                └────< signatures
                            entries ──< edits                                 all that was ever done, chained

`entries` is the history and the truth: replayed from its start, a visit's entries give the visit as it
stands. `visits`, `findings`, `notices`, `edits` and `words_fts` are what it comes to, kept to be looked up.
"""

from __future__ import annotations

import json

from sqlite_utils import Database

from shared.store import chain

LOCKED = "('signed', 'amended')"
STANDING = "status <> 'replaced'"
WAITING = "status IN ('draft', 'amending')"

_EVIDENCE = "heard TEXT, char_start INTEGER, char_end INTEGER, second_start REAL, second_end REAL"
_OLD_STATE = """SELECT v.*, t.recording_id, r.added recording_added FROM visits v
    JOIN transcripts t ON t.id = v.transcript_id JOIN recordings r ON r.id = t.recording_id ORDER BY v.id"""

_TABLES = (
    """CREATE TABLE people (
        name TEXT PRIMARY KEY COLLATE NOCASE,
        role TEXT NOT NULL CHECK (role IN ('clinician', 'assistant', 'auditor')),
        active INTEGER NOT NULL DEFAULT 1,
        added TEXT NOT NULL
    )""",
    """CREATE TABLE new_recordings (
        id INTEGER PRIMARY KEY,
        sha256 TEXT UNIQUE,           -- of the file's bytes; NULL while nobody could read them
        name TEXT NOT NULL,           -- the file's name when first read
        bytes INTEGER NOT NULL,
        seconds REAL,                 -- NULL for written text
        kind TEXT NOT NULL CHECK (kind IN ('sound', 'text', 'transcript')),
        status TEXT NOT NULL CHECK (status IN ('waiting', 'read', 'no_speech', 'failed')),
        reason TEXT,                  -- why it failed
        tries INTEGER NOT NULL DEFAULT 0,
        path TEXT,                    -- where it lay when last read
        sound TEXT,                   -- the file's name in the folder of recordings, if a copy is kept
        started TEXT,                 -- when the recording begins
        started_from TEXT,
        added TEXT NOT NULL
    )""",
    """INSERT INTO new_recordings (id, sha256, name, bytes, seconds, kind, status, tries, added)
        SELECT id, sha256, name, bytes, seconds, kind, status, 1, added FROM recordings""",
    """CREATE TABLE new_visits (
        id INTEGER PRIMARY KEY,
        recording_id INTEGER NOT NULL REFERENCES recordings(id),
        transcript_id INTEGER NOT NULL REFERENCES transcripts(id),
        ordinal INTEGER NOT NULL,     -- the patient's number in the recording; never changes
        place REAL NOT NULL,          -- orders the visits of a recording
        patient_reference TEXT COLLATE NOCASE,
        status TEXT NOT NULL CHECK (status IN ('draft', 'signed', 'amending', 'amended', 'replaced')),
        revision INTEGER NOT NULL DEFAULT 1,
        when_at TEXT NOT NULL,        -- start of the visit
        when_from TEXT NOT NULL,      -- where that time comes from
        clinician TEXT COLLATE NOCASE REFERENCES people(name),
        ears TEXT NOT NULL,           -- sides, in order, with commas
        to_check INTEGER NOT NULL,    -- notices that nobody has decided
        to_decide INTEGER NOT NULL,   -- of these, those that signing waits for
        char_start INTEGER, char_end INTEGER, second_start REAL, second_end REAL,
        record TEXT NOT NULL,         -- JSON: the whole visit, full form
        added TEXT NOT NULL
    )""",
    """INSERT INTO new_visits SELECT v.id, t.recording_id, v.transcript_id, v.ordinal,
        coalesce(v.char_start, v.ordinal), v.patient_reference, v.status, v.revision,
        v.added, 'reading', NULL,
        coalesce((SELECT group_concat(value) FROM (SELECT value FROM findings
            WHERE visit_id = v.id AND field = 'side' AND NOT removed ORDER BY path)), ''),
        (SELECT count(*) FROM notices WHERE visit_id = v.id),
        (SELECT count(*) FROM notices WHERE visit_id = v.id AND must_decide),
        v.char_start, v.char_end, v.second_start, v.second_end, v.record, v.added
        FROM visits v JOIN transcripts t ON t.id = v.transcript_id""",
    f"""CREATE TABLE new_findings (
        id INTEGER PRIMARY KEY,
        visit_id INTEGER NOT NULL REFERENCES visits(id),
        path TEXT NOT NULL,           -- e.g. ears[0].before.wax[1].colour[0]
        field TEXT NOT NULL,          -- e.g. before.wax.colour
        ear TEXT,                     -- right, left, unstated; NULL for what belongs to the visit
        value,
        certainty TEXT NOT NULL,
        origin TEXT NOT NULL,
        confirmed_by TEXT,
        {_EVIDENCE},
        confidence REAL NOT NULL,
        when_at TEXT NOT NULL,        -- start of the visit
        UNIQUE (visit_id, path)
    )""",
    """INSERT INTO new_findings SELECT f.id, f.visit_id, path, field, ear, value, certainty, origin, NULL, heard,
        f.char_start, f.char_end, f.second_start, f.second_end, confidence, v.added
        FROM findings f JOIN visits v ON v.id = f.visit_id WHERE NOT removed AND v.status <> 'replaced'""",
    """CREATE TABLE signatures (
        id INTEGER PRIMARY KEY,
        visit_id INTEGER NOT NULL REFERENCES visits(id),
        entry INTEGER NOT NULL REFERENCES entries(seq),
        who TEXT NOT NULL REFERENCES people(name),
        role TEXT NOT NULL,
        at TEXT NOT NULL,
        reason TEXT                   -- for signing with notices undecided
    )""",
    """CREATE TABLE entries (
        seq INTEGER PRIMARY KEY,      -- 1, 2, 3 ... without a gap
        visit_id INTEGER REFERENCES visits(id),
        kind TEXT NOT NULL,
        who TEXT NOT NULL,
        at TEXT NOT NULL,
        content TEXT,                 -- canonical JSON; NULL once erased
        content_hash TEXT NOT NULL,
        previous TEXT NOT NULL,       -- the hash of the entry before
        hash TEXT NOT NULL
    )""",
    """CREATE TABLE tallies (
        status TEXT PRIMARY KEY,      -- of visits; triggers keep count
        n INTEGER NOT NULL
    )""",
    """CREATE TABLE edits (
        entry INTEGER NOT NULL REFERENCES entries(seq),
        visit_id INTEGER NOT NULL REFERENCES visits(id),
        field TEXT NOT NULL,
        ear TEXT,
        before, after,                -- values; NULL for nothing
        heard TEXT,                   -- the words behind it, in lower case
        undone INTEGER NOT NULL DEFAULT 0
    )""",
)

_SWAP = (
    "DROP TABLE transcripts_fts",
    "DROP TABLE history",
    "DROP TABLE findings",
    "DROP TABLE visits",
    "DROP TABLE recordings",
    "ALTER TABLE new_recordings RENAME TO recordings",
    "ALTER TABLE new_visits RENAME TO visits",
    "ALTER TABLE new_findings RENAME TO findings",
    "ALTER TABLE transcripts ADD COLUMN of_visit INTEGER NOT NULL DEFAULT 0",  # 1: words put right for one visit
    "ALTER TABLE notices ADD COLUMN decided TEXT",
    "CREATE VIRTUAL TABLE words_fts USING fts5 (text, tokenize = 'porter unicode61')",
    # rowid: a visit; or, negative, a recording in which no visit was found.
    """INSERT INTO words_fts (rowid, text) SELECT v.id, coalesce(substr(t.text, v.char_start + 1,
        v.char_end - v.char_start), t.text) FROM visits v JOIN transcripts t ON t.id = v.transcript_id
        WHERE v.status <> 'replaced'""",
    """INSERT INTO words_fts (rowid, text) SELECT -t.recording_id, t.text FROM transcripts t
        WHERE t.id = (SELECT max(id) FROM transcripts WHERE recording_id = t.recording_id)
        AND NOT EXISTS (SELECT 1 FROM visits v WHERE v.recording_id = t.recording_id AND v.status <> 'replaced')""",
)

_TALLIES = (
    "INSERT INTO tallies SELECT status, count(*) FROM visits GROUP BY status",
    """CREATE TRIGGER visits_counted AFTER INSERT ON visits BEGIN
        INSERT INTO tallies VALUES (new.status, 1) ON CONFLICT (status) DO UPDATE SET n = n + 1;
    END""",
    """CREATE TRIGGER visits_counted_again AFTER UPDATE OF status ON visits WHEN new.status <> old.status BEGIN
        UPDATE tallies SET n = n - 1 WHERE status = old.status;
        INSERT INTO tallies VALUES (new.status, 1) ON CONFLICT (status) DO UPDATE SET n = n + 1;
    END""",
)

_INDICES = (
    f"CREATE UNIQUE INDEX one_standing_visit ON visits (recording_id, ordinal) WHERE {STANDING}",
    f"CREATE INDEX visits_by_time ON visits (when_at DESC, id) WHERE {STANDING}",
    f"CREATE INDEX visits_waiting ON visits (when_at DESC, id) WHERE {WAITING}",
    f"CREATE INDEX visits_by_status ON visits (status, when_at DESC, id) WHERE {STANDING}",
    f"CREATE INDEX visits_by_patient ON visits (patient_reference, when_at DESC, id) WHERE {STANDING}",
    f"CREATE INDEX visits_undecided ON visits (when_at DESC, id) WHERE {WAITING} AND to_decide > 0",
    "CREATE INDEX visits_of_transcript ON visits (transcript_id)",
    "CREATE INDEX recordings_by_status ON recordings (status)",
    "CREATE INDEX recordings_by_path ON recordings (path) WHERE sha256 IS NULL",
    "CREATE INDEX findings_by_value ON findings (field, value, when_at DESC, visit_id)",
    "CREATE INDEX findings_by_field ON findings (field, when_at DESC, visit_id)",
    f"CREATE INDEX visits_by_clinician ON visits (clinician, when_at DESC, id) WHERE {STANDING}",
    "CREATE INDEX signatures_of_visit ON signatures (visit_id)",
    "CREATE INDEX entries_of_visit ON entries (visit_id, seq)",
    "CREATE INDEX edits_by_words ON edits (heard, field, after) WHERE heard IS NOT NULL AND NOT undone",
    "CREATE INDEX edits_of_entry ON edits (entry)",
)


def guard(table: str, when: str, message: str, *events: str) -> list[str]:
    """Triggers that refuse some events on a table while a condition holds."""
    return [
        f"""CREATE TRIGGER {table}_{"_".join(event.lower().split())} BEFORE {event} ON {table} WHEN {when} BEGIN
            SELECT RAISE(ABORT, '{message}');
        END"""
        for event in events
    ]


def _of_locked(row: str) -> str:
    return f"EXISTS (SELECT 1 FROM visits WHERE id = {row}.visit_id AND status IN {LOCKED})"


_SAME = ("seq", "visit_id", "kind", "who", "at", "content_hash", "previous", "hash")
_SIGNED = ("record", "transcript_id", "when_at", "when_from", "clinician", "ears", "to_check", "to_decide",
           "patient_reference", "char_start", "char_end", "second_start", "second_end", "added")  # fmt: skip

# INSERT OR REPLACE deletes without firing delete triggers, unless recursive_triggers is on: so inserts
# that would replace are refused too.
_GUARDS = [
    *guard("entries", "1", "history is append-only", "DELETE"),
    *guard(
        "entries", "EXISTS (SELECT 1 FROM entries WHERE seq = new.seq)", "history is append-only", "INSERT"
    ),
    # Only the content goes, and only after an entry that says so.
    *guard(
        "entries",
        "NOT (new.content IS NULL AND "
        + " AND ".join(f"new.{c} IS old.{c}" for c in _SAME)
        + " AND EXISTS (SELECT 1 FROM entries e WHERE e.kind = 'erase' AND e.visit_id = old.visit_id"
        " AND e.seq > old.seq))",
        "history is append-only",
        "UPDATE",
    ),
    *guard("signatures", "1", "signatures are not changed", "UPDATE", "DELETE"),
    *guard(
        "signatures",
        "EXISTS (SELECT 1 FROM signatures WHERE id = new.id)",
        "signatures are not changed",
        "INSERT",
    ),
    *guard("visits", "1", "visits are not deleted: mark them replaced", "DELETE"),
    *guard(
        "visits",
        f"""EXISTS (SELECT 1 FROM visits WHERE id = new.id
            OR (recording_id = new.recording_id AND ordinal = new.ordinal AND {STANDING}))""",
        "there is such a visit already",
        "INSERT",
    ),
    *guard(
        "visits",
        f"""new.id <> old.id OR new.recording_id <> old.recording_id OR new.ordinal <> old.ordinal
            OR (old.status IN {LOCKED} AND NOT (new.status = 'amending' AND """
        + " AND ".join(f"new.{c} IS old.{c}" for c in _SIGNED)
        + "))",
        "signed visits are not changed: amend them",
        "UPDATE",
    ),
    *guard("findings", _of_locked("new"), "signed visits are not changed: amend them", "INSERT"),
    *guard("findings", _of_locked("old"), "signed visits are not changed: amend them", "UPDATE", "DELETE"),
    *guard("notices", _of_locked("new"), "signed visits are not changed: amend them", "INSERT"),
    *guard("notices", _of_locked("old"), "signed visits are not changed: amend them", "UPDATE", "DELETE"),
    *guard(
        "transcripts",
        "EXISTS (SELECT 1 FROM signatures s JOIN visits v ON v.id = s.visit_id WHERE v.transcript_id = old.id)",
        "the words of signed visits are not changed",
        "UPDATE",
        "DELETE",
    ),
    *guard(
        "transcripts",
        "EXISTS (SELECT 1 FROM transcripts WHERE id = new.id)",
        "transcripts are not replaced",
        "INSERT",
    ),
]


def second(db: Database) -> None:
    """Make the tables; carry over what is there, each visit with a first entry in the history."""
    for name in (
        "finding_stays",
        "history_not_deleted",
        "transcripts_ai",
        "transcripts_ad",
        "transcripts_au",
    ):
        db.execute(f"DROP TRIGGER IF EXISTS {name}")
    for statement in _TABLES:
        db.execute(statement)
    for row in list(db.query(_OLD_STATE)):
        earlier = list(
            db.query(
                """SELECT f.path, h.who, h.at, h.before, h.after FROM history h
            JOIN findings f ON f.id = h.finding_id WHERE f.visit_id = ? ORDER BY h.id""",
                [row["id"]],
            )
        )
        # A person's work keeps a later reading out, as before.
        who = next((e["who"] for e in reversed(earlier) if e["who"] != "earside"), "earside")
        state = {
            "record": json.loads(row["record"]),
            "status": row["status"],
            "transcript": row["transcript_id"],
            "when": row["added"],
            "when_from": "reading",
        }
        content = {
            "what": "taken over from the store's earlier form",
            "start": state,
            "state": chain.digest(state),
            "earlier": earlier,
        }
        chain.append(db, visit=row["id"], kind="upgrade", who=who, at=row["added"], content=content)
    for statement in (*_SWAP, *_TALLIES, *_INDICES, *_GUARDS):
        db.execute(statement)
