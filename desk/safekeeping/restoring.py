"""A backup becomes a data folder again: checked as it is written, opened and verified, and only then put in place."""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO

from desk.keeping import FOLDER as LISTENING
from desk.safekeeping import archive
from desk.safekeeping.archive import Manifest
from dictate import journals
from shared.errors import BadInput, EarsideError, StoreError
from shared.protecting import unlocking
from shared.store import Store, opening, schema
from shared.store.copying import database
from shared.store.faults import faults


@dataclass(frozen=True)
class Restored:
    """What came of it. faults: what `verify` finds in the restored history. aside: where the data folder that was
    there before lies now, None if there was none."""

    manifest: Manifest
    faults: tuple[str, ...]
    aside: Path | None


def restore(file: Path, data: Path, *, replace: bool = False) -> Restored:
    """Make the data folder of a backup. replace: move one that is there aside; nothing of it is lost.

    Raises BadInput (no backup, damaged, or a store is there), StoreError (it is in use, or no room), as `Store`.
    Then all is as it was before.
    """
    data = data.absolute()
    there = data.exists() and any(data.iterdir())
    if there and not replace:
        raise BadInput(
            "holds a store or other files already",
            where=str(data),
            remedy="Restore into another folder with --data, or move this one aside with --replace.",
        )
    with archive.opened(file) as packed, faults(data.parent):
        manifest = archive.manifest_of(packed, file)
        data.parent.mkdir(parents=True, exist_ok=True)
        free = shutil.disk_usage(data.parent).free
        if manifest.bytes > free:
            raise StoreError(
                f"it takes {manifest.bytes / 1e6:.0f} MB, and {free / 1e6:.0f} MB are free",
                where=str(data.parent),
                remedy="Free some space, or restore into another folder with --data.",
            )
        made = Path(tempfile.mkdtemp(dir=data.parent, prefix=".earside-restoring-"))
        try:
            for name, held in manifest.files.items():
                with _new(made / name) as writing:
                    for piece in archive.content(packed, name, held, file):
                        writing.write(piece)
                    writing.flush()
                    os.fsync(writing.fileno())
            with Store(made) as store:
                found = store.verify()
            aside = _moved_aside(data) if there else None
            if data.exists():
                data.rmdir()
            made.rename(data)
            schema.flush(data.parent)
        except BaseException:
            shutil.rmtree(made, ignore_errors=True)
            raise
    return Restored(manifest, found.faults, aside)


def _new(place: Path) -> IO[bytes]:
    place.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    return open(
        os.open(place, os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0), 0o600), "wb"
    )


def _moved_aside(data: Path) -> Path:
    """Give the data folder that is there another name. Raises StoreError if a program is using it."""
    in_use = StoreError("is in use", where=str(data), remedy="Close Earside everywhere, then restore again.")
    if journals.being_written(data / LISTENING):
        raise in_use
    try:
        vault = unlocking.vault(data)
        if database(data).exists():
            with closing(opening.connect(database(data), vault, wait_seconds=0)) as held:
                # In this mode the first access takes the file for itself alone, or fails (SQLite, PRAGMA locking_mode).
                held.execute("PRAGMA locking_mode = EXCLUSIVE")
                held.execute("BEGIN IMMEDIATE")
                held.rollback()
    except opening.DATABASE_FAULTS as fault:
        if "locked" in str(fault):
            raise in_use from fault  # a damaged one may be moved aside all the same
    except EarsideError:
        pass  # nor need its passphrase be known
    aside = data.with_name(f"{data.name}-before-{datetime.now():%Y-%m-%d-%H%M%S}")
    data.rename(aside)
    return aside
