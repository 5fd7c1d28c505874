"""Making a data folder a protected one, so that a crash at any moment leaves the old one or the new one, whole.

    1. The write lock of the database is taken, and `staging.MARK` put down.
    2. Sealed copies of everything are made beside the plain files, read back, and have reached the disk.
    3. The key file gets its name: from this moment on the data folder is protected.
    4. The plain files are overwritten once and removed, and at last the mark.

After a crash before 3 the copies are removed, after it the plain files; whoever opens the store next does it.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from shared.errors import BadInput, StoreError
from shared.protecting import key_file, staging, unlocking
from shared.protecting.vault import KEY_BYTES, Vault
from shared.store import opening, schema
from shared.store.faults import faults

LOCK = "protecting.lock"
_BESIDE = ("", "-wal", "-shm", "-journal")
_SLACK_BYTES = 50_000_000


def protect(
    folder: Path, passphrase: str, *, show: Callable[[str], object], progress: staging.Progress
) -> list[Path]:
    """Protect a data folder whose store is of the newest schema; returns the plain files that could not be removed.

    show: called with the recovery key before anything is settled. progress: with the bytes of each file done.
    Raises BadInput (protected already, passphrase), StoreError (another program is at it, no room, a copy is not
    like its original); then nothing has changed.
    """
    key_file.check_passphrase(passphrase)
    with alone(folder):
        _clear_up(folder)
        if key_file.is_there(folder):
            raise BadInput("is protected already", where=str(folder), remedy="See: earside protect --help")
        _check_room(folder)
        vault = Vault(os.urandom(KEY_BYTES))
        text, recovery = key_file.make(vault, passphrase)
        with faults(folder), closing(opening.connect_plain(folder / opening.PLAIN_NAME)) as writer:
            writer.execute("BEGIN IMMEDIATE")  # what others would write meanwhile, they are told to do again
            _written(folder / staging.MARK, b"")
            try:
                staging.seal(folder, vault, progress)
                _seal_database(folder, vault)
                show(recovery)
                put_key_file(folder, text)
            except BaseException as fault:
                _clear_up(folder)
                if isinstance(fault, OSError):
                    raise StoreError(
                        f"cannot be protected ({fault.strerror})",
                        where=fault.filename or str(folder),
                        remedy="Nothing was changed. Check the disk and its free space, then try again.",
                    ) from fault
                raise
        unlocking.hold(folder, vault)
        return _clear_up(folder)


def put_key_file(folder: Path, text: bytes) -> None:
    """Put a key file in place, in one step. Raises OSError."""
    passing = folder / f"{key_file.NAME}.new"
    passing.unlink(missing_ok=True)
    _written(passing, text)
    passing.replace(folder / key_file.NAME)
    schema.flush(folder)


def clear_up(folder: Path) -> None:
    """Finish what a crash interrupted, if anything, unless another program is at it."""
    if (folder / staging.MARK).exists():
        with suppress(Timeout), FileLock(folder / LOCK, timeout=0, mode=0o600):
            _clear_up(folder)


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Nobody else protects this data folder, or changes its key file. Raises StoreError."""
    try:
        with FileLock(folder / LOCK, timeout=0, mode=0o600):
            yield
    except Timeout as fault:
        raise StoreError(
            "is being protected by another program", where=str(folder), remedy="Wait for it."
        ) from fault


def _clear_up(folder: Path) -> list[Path]:
    mark = folder / staging.MARK
    if not mark.exists():
        return []
    left: list[Path] = []
    if key_file.is_there(folder):
        left = staging.remove_plain(folder)
        for path in _database(folder / opening.PLAIN_NAME):
            try:
                staging.erase(path)
            except OSError:
                left.append(path)
    else:
        staging.drop(folder)
        for path in _database(folder / opening.PROTECTED_NAME):
            path.unlink()
    if not left:
        mark.unlink()
        schema.flush(folder)
    return left


def _database(path: Path) -> list[Path]:
    """A database and what lies beside it, as far as it is there."""
    beside = [path.with_name(path.name + ending) for ending in _BESIDE]
    return [p for p in reversed(beside) if p.exists()]


def _check_room(folder: Path) -> None:
    files = [path for path, _ in staging.plain(folder)] + _database(folder / opening.PLAIN_NAME)
    needed = sum(path.stat().st_size for path in files) + _SLACK_BYTES
    if shutil.disk_usage(folder).free < needed:
        raise StoreError(
            f"there is no room for the sealed copies, which take {needed / 1e6:,.0f} MB until the plain ones are gone",
            where=str(folder),
            remedy="Nothing was changed. Free some space first.",
        )


def _seal_database(folder: Path, vault: Vault) -> None:
    """An encrypted copy of the database, compared with it."""
    sealed = folder / opening.PROTECTED_NAME
    opening.new_file(sealed)
    with closing(opening.connect_plain(folder / opening.PLAIN_NAME)) as db:
        db.execute(f"ATTACH DATABASE ? AS sealed {opening.key_clause(vault)}", (str(sealed),))
        db.execute("SELECT sqlcipher_export('sealed')").fetchall()
        for pragma in ("user_version", "application_id"):
            (number,) = db.execute(f"PRAGMA main.{pragma}").fetchone()
            db.execute(f"PRAGMA sealed.{pragma} = {number}")
        db.commit()
        whole = db.execute("PRAGMA sealed.integrity_check").fetchall()
        if whole != [("ok",)] or not all(_same(db, table) for table in _tables(db)):
            raise StoreError(
                "its sealed copy is not the same",
                where=str(folder / opening.PLAIN_NAME),
                remedy="Nothing was changed. Check the disk.",
            )
    schema.flush(sealed)
    schema.flush(folder)


def _tables(db: Any) -> list[str]:
    found = db.execute(
        "SELECT name FROM main.sqlite_master WHERE type = 'table' AND rootpage > 0 AND name NOT LIKE 'sqlite_%'"
    )
    return [name for (name,) in found.fetchall()]


def _same(db: Any, table: str) -> bool:
    """Whether a table has the same rows in both: as many, and, where it has a key, each the same."""
    counts = {
        db.execute(f'SELECT count(*) FROM {side}."{table}"').fetchone()[0] for side in ("main", "sealed")
    }
    columns = db.execute(f'PRAGMA main.table_info("{table}")').fetchall()
    keys = [f'a."{name}" = b."{name}"' for _, name, *_, key in columns if key]
    if not keys:
        return len(counts) == 1
    same = " AND ".join(f'a."{name}" IS b."{name}"' for _, name, *_ in columns)
    (alike,) = db.execute(
        f'SELECT count(*) FROM main."{table}" a JOIN sealed."{table}" b ON {" AND ".join(keys)} WHERE {same}'
    ).fetchone()
    return counts == {alike}


def _written(path: Path, content: bytes) -> None:
    with open(os.open(path, os.O_CREAT | os.O_WRONLY | getattr(os, "O_BINARY", 0), 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    schema.flush(path.parent)
