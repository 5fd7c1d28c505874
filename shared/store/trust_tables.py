"""The fourth migration: accounts, the practice's own rules, agreement to recording, and erasing.

    people ──< accounts            passwords, as Argon2id hashes       rules      what the practice decided
    visits ──< agreements          whether the patient agreed          erasing    files still to be deleted

As before, an entry of the history says each of these first (kinds "account", "rule", "agreement", "sound",
"erase"). A visit that is erased keeps its number, its entries without their content, and an entry of kind
"erase" that says who did it and why: only after that entry do the triggers let its words go.
"""

from __future__ import annotations

from sqlite_utils import Database

from shared.store.checking_tables import _SIGNED, LOCKED, guard


def _erased(visit: str) -> str:
    return f"EXISTS (SELECT 1 FROM entries e WHERE e.kind = 'erase' AND e.visit_id = {visit})"


_TABLES = (
    """CREATE TABLE accounts (
        name TEXT PRIMARY KEY COLLATE NOCASE REFERENCES people(name),
        secret TEXT NOT NULL,         -- Argon2id, encoded with its salt and parameters
        changed TEXT NOT NULL,
        wrong INTEGER NOT NULL DEFAULT 0,  -- wrong tries since the last right one
        tried TEXT                    -- when the last was
    )""",
    "CREATE TABLE rules (name TEXT PRIMARY KEY, value TEXT NOT NULL)",
    """CREATE TABLE agreements (
        entry INTEGER PRIMARY KEY REFERENCES entries(seq),
        visit_id INTEGER NOT NULL REFERENCES visits(id),
        what TEXT NOT NULL CHECK (what IN ('agreed', 'notice', 'declined', 'open')),
        notice TEXT,                  -- the standing notice's name, for 'notice'
        heard TEXT, char_start INTEGER, char_end INTEGER,  -- where it was said, if it was
        who TEXT NOT NULL,
        at TEXT NOT NULL,
        CHECK ((what = 'notice') = (notice IS NOT NULL))
    )""",
    "CREATE TABLE erasing (name TEXT PRIMARY KEY)",
    "ALTER TABLE recordings ADD COLUMN sound_erased TEXT",  # when its sound was deleted for good
    "ALTER TABLE recordings ADD COLUMN erased TEXT",  # when its words were as well
    "ALTER TABLE visits ADD COLUMN erased TEXT",
    "CREATE INDEX agreements_of_visit ON agreements (visit_id, entry)",
    "CREATE INDEX entries_by_kind ON entries (kind) WHERE kind IN ('person', 'account', 'rule', 'erase')",
)

_SUPERSEDED = (
    "visits_update",
    "signatures_update",
    "recalls_update",
    "recalls_delete",
    "transcripts_update",
)

_SAME = " AND ".join(f"new.{column} IS old.{column}" for column in _SIGNED)
_OTHER_CHANGE = f"""new.id <> old.id OR new.recording_id <> old.recording_id OR new.ordinal <> old.ordinal
    OR old.erased IS NOT NULL
    OR (old.status IN {LOCKED} AND NOT (new.status = 'amending' AND {_SAME})
        AND NOT (new.status = 'replaced' AND new.erased IS NOT NULL AND {_erased("old.id")}))"""

_GUARDS = (
    *guard("visits", _OTHER_CHANGE, "signed visits are not changed: amend them", "UPDATE"),
    *guard(
        "signatures",
        f"""NOT (new.reason IS NULL AND new.id = old.id AND new.visit_id = old.visit_id AND new.entry = old.entry
            AND new.who = old.who AND new.role = old.role AND new.at = old.at AND {_erased("old.visit_id")})""",
        "signatures are not changed",
        "UPDATE",
    ),
    *guard("recalls", "1", "history is append-only", "UPDATE"),
    *guard("recalls", f"NOT {_erased('old.visit_id')}", "history is append-only", "DELETE"),
    *guard("agreements", "1", "history is append-only", "UPDATE"),
    *guard("agreements", f"NOT {_erased('old.visit_id')}", "history is append-only", "DELETE"),
    *guard(
        "agreements",
        "EXISTS (SELECT 1 FROM agreements WHERE entry = new.entry)",
        "history is append-only",
        "INSERT",
    ),
    # Words of signed visits go only where a visit of the recording was erased: all of them, or a stretch.
    *guard(
        "transcripts",
        """EXISTS (SELECT 1 FROM signatures s JOIN visits v ON v.id = s.visit_id WHERE v.transcript_id = old.id)
            AND NOT (new.id = old.id AND (new.text = '' OR length(new.text) = length(old.text))
            AND EXISTS (SELECT 1 FROM entries e JOIN visits v ON v.id = e.visit_id
                WHERE e.kind = 'erase' AND v.recording_id = old.recording_id))""",
        "the words of signed visits are not changed",
        "UPDATE",
    ),
)


def fourth(db: Database) -> None:
    """Make the tables, and let go of what was erased by an entry that says so."""
    for statement in _TABLES:
        db.execute(statement)
    for name in _SUPERSEDED:
        db.execute(f"DROP TRIGGER {name}")
    for statement in _GUARDS:
        db.execute(statement)
