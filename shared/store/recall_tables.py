"""The third migration: what became of each recall.

An entry of kind "recall" in the history says so first; `recalls` is kept to be looked up. The last row of
a visit stands, the earlier ones stay.
"""

from __future__ import annotations

from sqlite_utils import Database

from shared.store.checking_tables import guard

_STATEMENTS = (
    """CREATE TABLE recalls (
        entry INTEGER PRIMARY KEY REFERENCES entries(seq),
        visit_id INTEGER NOT NULL REFERENCES visits(id),
        what TEXT NOT NULL CHECK (what IN ('done', 'postponed', 'declined', 'open')),
        until TEXT,                   -- the new day, for postponed
        who TEXT NOT NULL REFERENCES people(name),
        at TEXT NOT NULL,
        CHECK ((what = 'postponed') = (until IS NOT NULL))
    )""",
    "CREATE INDEX recalls_of_visit ON recalls (visit_id, entry)",
    *guard("recalls", "1", "history is append-only", "UPDATE", "DELETE"),
    *guard(
        "recalls",
        "EXISTS (SELECT 1 FROM recalls WHERE entry = new.entry)",
        "history is append-only",
        "INSERT",
    ),
)


def third(db: Database) -> None:
    """Make the table."""
    for statement in _STATEMENTS:
        db.execute(statement)
