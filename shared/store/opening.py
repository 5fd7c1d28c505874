"""Opening the database file: by SQLite as it is, or by SQLCipher if the data folder is protected.

SQLCipher encrypts every page with AES-256-CBC under a nonce of its own and authenticates it with HMAC-SHA-512, in
the file and in its journals; temporary tables stay in memory. The key is given as it is, not as a passphrase.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path
from typing import Any

from sqlcipher3 import dbapi2 as sqlcipher

from shared.protecting.vault import Vault

PLAIN_NAME, PROTECTED_NAME = "earside.db", "earside-protected.db"

DATABASE_FAULTS: tuple[type[Exception], ...] = (
    sqlite3.DatabaseError,
    sqlcipher.DatabaseError,
    UnicodeDecodeError,
)
"""What the two raise; each knows nothing of the other. The last is raised for a message of SQLite's that names a
damaged table."""


def file_name(vault: Vault | None) -> str:
    """What the database of a data folder is called."""
    return PROTECTED_NAME if vault else PLAIN_NAME


def key_clause(vault: Vault) -> str:
    """The key itself, as ATTACH takes it."""
    return f"KEY \"x'{vault.database.hex()}'\""


def connect(path: Path, vault: Vault | None, *, wait_seconds: float = 10) -> Any:
    """A connection; the two kinds have the same methods. Raises one of DATABASE_FAULTS.

    Never open one file in both ways in one program: each would free the other's locks.
    """
    if vault is None:
        return sqlite3.connect(path, timeout=wait_seconds)
    connection = sqlcipher.connect(path, timeout=wait_seconds)
    connection.execute(f"PRAGMA key = \"x'{vault.database.hex()}'\"")
    connection.execute("PRAGMA temp_store = MEMORY")
    return connection


def connect_plain(path: Path) -> Any:
    """A plain database opened by SQLCipher, so that a protected one can be attached. Raises as `connect`."""
    connection = sqlcipher.connect(path, timeout=10)
    connection.execute("PRAGMA temp_store = MEMORY")
    return connection


def new_file(path: Path) -> None:
    """An empty file for this user's eyes only, where there is none. Raises OSError.

    One that is there is not even opened: to close it would end every lock that this program holds on it (fcntl(2)),
    and another program would then take away the log that is written to here.
    """
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
