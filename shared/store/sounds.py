"""The folder of recordings: a copy of each, named by what is in it, so that its seconds can be played.

A copy is written under a passing name, has reached the disk, and only then gets its own: a file under its
own name is whole. In a protected data folder it is sealed; its name still tells the hash of what is in it.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import secrets
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from shared.errors import StoreError
from shared.protecting import files, sealed, unlocking
from shared.store.schema import flush

FOLDER = "recordings"
_LEFT_OVER_SECONDS = 24 * 3600
_ENDING = re.compile(r"\.[a-z0-9]{1,5}")


def folder(data: Path) -> Path:
    """Where the recordings of a data folder are kept."""
    return data / FOLDER


def name_of(source: Path, sha256: str) -> str:
    """The name under which a recording is kept; its ending stays, for players."""
    ending = source.suffix.lower()
    return sha256 + (ending if _ENDING.fullmatch(ending) else "")


def place_of(data: Path, name: str) -> Path | None:
    """The file of a recording that is kept, sealed or not; None if there is none."""
    return files.there(folder(data) / name) if name else None


def keep(data: Path, source: Path, sha256: str) -> str:
    """Keep a copy of `source`, readable by this user only, and return its name; one that is there stays.

    In a protected data folder the copy is sealed.
    Raises StoreError if the file is not the one that was read any more, OSError if it cannot be copied.
    """
    vault = unlocking.vault(data)
    name = name_of(files.plain_name(source), sha256)
    place = folder(data) / (name + sealed.SUFFIX if vault else name)
    place.parent.mkdir(mode=0o700, exist_ok=True)
    if place.is_file() and files.size(place) == files.size(source):
        return name
    _sweep(place.parent)
    part = place.with_name(f".{secrets.token_hex(8)}.part")
    found = hashlib.sha256()
    try:
        with (
            files.opened(source) as reading,
            open(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as writing,
        ):
            pieces = _pieces(reading, found.update)
            if vault:
                sealed.write(vault, pieces, writing, name)
            else:
                writing.writelines(pieces)
            writing.flush()
            os.fsync(writing.fileno())
        if found.hexdigest() != sha256:
            raise StoreError("was changed while it was read", where=str(source), remedy="Read it again.")
        part.replace(place)
        flush(place.parent)
    finally:
        part.unlink(missing_ok=True)
    return name


def _pieces(reading: BinaryIO, each: Callable[[bytes], object]) -> Iterator[bytes]:
    while chunk := reading.read(sealed.CHUNK):
        each(chunk)
        yield chunk


def _sweep(where: Path) -> None:
    """Remove what a killed program left half-written."""
    for part in where.glob(".*.part"):
        with contextlib.suppress(OSError):
            if time.time() - part.stat().st_mtime > _LEFT_OVER_SECONDS:
                part.unlink()
