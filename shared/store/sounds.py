"""The folder of recordings: a copy of each, named by what is in it, so that its seconds can be played.

A copy is written under a passing name, has reached the disk, and only then gets its own: a file under its
own name is whole.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import secrets
import time
from pathlib import Path

from shared.errors import StoreError
from shared.store.schema import flush

FOLDER = "recordings"
_CHUNK = 1 << 20
_LEFT_OVER_SECONDS = 24 * 3600
_ENDING = re.compile(r"\.[a-z0-9]{1,5}")


def folder(data: Path) -> Path:
    """Where the recordings of a data folder are kept."""
    return data / FOLDER


def name_of(source: Path, sha256: str) -> str:
    """The name under which a recording is kept; its ending stays, for players."""
    ending = source.suffix.lower()
    return sha256 + (ending if _ENDING.fullmatch(ending) else "")


def keep(data: Path, source: Path, sha256: str) -> str:
    """Keep a copy of `source`, readable by this user only, and return its name; one that is there stays.

    Raises StoreError if the file is not the one that was read any more, OSError if it cannot be copied.
    """
    place = folder(data) / name_of(source, sha256)
    place.parent.mkdir(mode=0o700, exist_ok=True)
    if place.is_file() and place.stat().st_size == source.stat().st_size:
        return place.name
    _sweep(place.parent)
    part = place.with_name(f".{secrets.token_hex(8)}.part")
    found = hashlib.sha256()
    try:
        with (
            source.open("rb") as reading,
            open(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as writing,
        ):
            while chunk := reading.read(_CHUNK):
                found.update(chunk)
                writing.write(chunk)
            writing.flush()
            os.fsync(writing.fileno())
        if found.hexdigest() != sha256:
            raise StoreError("was changed while it was read", where=str(source), remedy="Read it again.")
        part.replace(place)
        flush(place.parent)
    finally:
        part.unlink(missing_ok=True)
    return place.name


def _sweep(where: Path) -> None:
    """Remove what a killed program left half-written."""
    for part in where.glob(".*.part"):
        with contextlib.suppress(OSError):
            if time.time() - part.stat().st_mtime > _LEFT_OVER_SECONDS:
                part.unlink()
