"""One place that turns what SQLite and the disk say into one clear line."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from shared.errors import StoreError
from shared.store.opening import DATABASE_FAULTS

_ELSEWHERE = "Choose another data folder with --data."
_BY_SQLITE = {
    sqlite3.SQLITE_NOTADB: (
        "is not an Earside database",
        f"Move it away, or {_ELSEWHERE[0].lower()}{_ELSEWHERE[1:]}",
    ),
    sqlite3.SQLITE_CORRUPT: (
        "is damaged",
        "Restore the last backup, or save what can be read: earside mend FOLDER.",
    ),
    sqlite3.SQLITE_BUSY: ("is in use by another program", "Close that program and try again."),
    sqlite3.SQLITE_LOCKED: ("is in use by another program", "Close that program and try again."),
    sqlite3.SQLITE_FULL: (
        "the disk is full; nothing of this recording was kept",
        "Free some space and try again.",
    ),
    sqlite3.SQLITE_READONLY: ("cannot be written to", f"Check who may write there. {_ELSEWHERE}"),
    sqlite3.SQLITE_PERM: ("cannot be written to", f"Check who may write there. {_ELSEWHERE}"),
    sqlite3.SQLITE_CANTOPEN: ("cannot be opened", f"Check who may write to its folder. {_ELSEWHERE}"),
    sqlite3.SQLITE_IOERR: (
        "the disk failed or is full",
        "Check the disk and its free space, then try again.",
    ),
}
_BY_SYSTEM = {
    errno.ENOSPC: _BY_SQLITE[sqlite3.SQLITE_FULL],
    errno.EDQUOT: _BY_SQLITE[sqlite3.SQLITE_FULL],
    errno.EEXIST: ("is a file, not a folder", _ELSEWHERE),
    errno.ENOTDIR: ("is a file, not a folder", _ELSEWHERE),
}


_NO_TEXT = "Could not decode to UTF-8"
"""What the two say, without a code, of a text whose bytes are none any more; they write none but UTF-8."""

_OTHER_KEY = (
    "does not open with the key of this store, or is damaged",
    "Restore it and earside.key from the same backup.",
)


@contextmanager
def faults(where: Path, *, protected: bool = False) -> Iterator[None]:
    """Turn expected failures at `where` into StoreError; a fault of our own SQL passes as it is.

    protected: it is a protected database that is being opened.
    """
    try:
        yield
    except DATABASE_FAULTS as fault:
        # The low byte is the kind of failure; the rest tells its sub-kind.
        code = getattr(fault, "sqlite_errorcode", 0) & 0xFF
        if isinstance(fault, UnicodeDecodeError) or str(fault).startswith(_NO_TEXT):
            code = sqlite3.SQLITE_CORRUPT
        known = _OTHER_KEY if protected and code == sqlite3.SQLITE_NOTADB else _BY_SQLITE.get(code)
        if known is None:
            raise
        raise StoreError(known[0], where=str(where), remedy=known[1]) from fault
    except OSError as fault:
        what, remedy = _BY_SYSTEM.get(fault.errno or 0, _BY_SQLITE[sqlite3.SQLITE_READONLY])
        raise StoreError(what, where=str(where), remedy=remedy) from fault
