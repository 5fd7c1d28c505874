"""A copy of the database while others write to it, of the state it has at one moment.

SQLite's backup interface takes the pages as they stand in one read transaction, so nobody waits; a protected
database's copy is encrypted with the same key. Never copy the file itself while a program uses it: what was kept
last stands in the log beside it.
"""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from shared.errors import StoreError
from shared.protecting import unlocking
from shared.store import chain, opening, schema
from shared.store.faults import faults


def database(folder: Path) -> Path:
    """Where the database of a data folder lies. Raises as `unlocking.vault`."""
    return folder / opening.file_name(unlocking.vault(folder))


def copy_database(folder: Path, to: Path) -> tuple[int, str]:
    """Copy the database of a data folder to a file of its own; the number and hash of its last entry.

    Raises StoreError if there is none, it is damaged, or there is no room; as `unlocking.vault`.
    """
    vault, source = unlocking.vault(folder), database(folder)
    if not source.is_file():
        raise StoreError("there is no store", where=str(folder), remedy="Choose the data folder with --data.")
    with faults(to):
        opening.new_file(to)
    with (
        faults(source, protected=vault is not None),
        closing(opening.connect(source, vault)) as held,
        closing(opening.connect(to, vault)) as copied,
    ):
        held.backup(copied)
        wrong = copied.execute("PRAGMA integrity_check(1)").fetchone()[0]
        if wrong != "ok":
            raise StoreError(
                "is damaged",
                where=str(source),
                remedy="To save what can be read into a new store: earside mend",
            )
        last = copied.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone()
    schema.flush(to)
    return last or (0, chain.START)
