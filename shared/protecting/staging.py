"""The files of a data folder that hold patients' talk beside the database: sealed copies, and the plain ones removed.

Sealed copies lie beside the plain files until the key file is put in place, which is the moment at which the data
folder is protected: before it they count for nothing, after it the plain ones do. `MARK` lies there from before the
first copy to after the last removal, so that whoever comes after a crash knows that something is to be cleared up.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from shared.errors import StoreError
from shared.protecting import files, sealed
from shared.protecting.vault import Vault

MARK = "protecting.unfinished"
SOUNDS = (("recordings", "*"), ("listening", "*.wav"))
"""Sealed as a whole."""
LINES = (("listening", "*.jsonl"), ("listening", "*.heard"), ("importing", "*"))
"""Sealed line by line, under the same name."""
PASSING = ("*-before-*.db", "*.part", ".earside-*", "recordings/.*.part")
"""Copies from before an upgrade, and what killed programs left half-written."""
_STAGED = ".staged"
_PIECE = sealed.CHUNK
_HEADER_BYTES, _LENGTHS = 44, ((4, 8), (40, 44))
"""Of a WAV file: in a sealed journal it gives no length, since more may come."""

Progress = Callable[[int], object]


def plain(folder: Path) -> Iterator[tuple[Path, bool]]:
    """Every plain file there is, and whether it is sealed line by line."""
    for groups, lined in ((SOUNDS, False), (LINES, True)):
        for where, pattern in groups:
            for path in sorted((folder / where).glob(pattern)):
                if (
                    path.is_file()
                    and not path.name.startswith(".")
                    and path.suffix not in (sealed.SUFFIX, _STAGED)
                ):
                    yield path, lined


def seal(folder: Path, vault: Vault, progress: Progress = lambda size: None) -> None:
    """Make a sealed copy of every plain file, read it back, and have it reach the disk.

    progress: called with the bytes done of each file. Raises StoreError if a copy is not what it was made from,
    OSError.
    """
    for path, lined in plain(folder):
        if lined:
            _seal_lines(path, vault)
        else:
            _seal_sound(path, vault)
        progress(path.stat().st_size)


def drop(folder: Path) -> None:
    """Remove the sealed copies: the data folder is not protected. Raises OSError."""
    for where, _ in (*SOUNDS, *LINES):
        for path in [*(folder / where).glob(f"*{sealed.SUFFIX}"), *(folder / where).glob(f"*{_STAGED}")]:
            path.unlink()


def remove_plain(folder: Path) -> list[Path]:
    """Put the sealed copies in place and remove the plain files, overwritten once. Returns those that could not be
    removed."""
    left = []
    for path, lined in [*plain(folder)]:
        staged = path.with_name(path.name + _STAGED)
        try:
            if not lined and files.sealed_name(path).exists():
                erase(path)
            elif not lined:  # came after the copies were made
                left.append(path)
            elif staged.exists():
                _overwrite(path)
                staged.replace(path)
        except OSError:
            left.append(path)
    for pattern in PASSING:
        for path in folder.glob(pattern):
            try:
                if not path.name.startswith("earside-protected"):
                    erase(path)
            except OSError:
                left.append(path)
    return left


def erase(path: Path) -> None:
    """Overwrite a file with zeros and remove it. Raises OSError."""
    _overwrite(path)
    path.unlink()


def _overwrite(path: Path) -> None:
    with path.open("r+b", buffering=0) as file:
        left = os.fstat(file.fileno()).st_size
        while left > 0:
            left -= file.write(bytes(min(left, 1 << 20))) or 0
        os.fsync(file.fileno())


def _seal_sound(path: Path, vault: Vault) -> None:
    copy, journal, taken = files.sealed_name(path), path.parent.name == "listening", hashlib.sha256()
    with path.open("rb") as file, _new(copy) as out:
        pieces = iter(lambda: file.read(_PIECE), b"")
        sealed.write(vault, _taken(pieces, taken.update, journal=journal), out, path.name)
        out.flush()
        os.fsync(out.fileno())
    with sealed.opened(vault, copy) as back:
        if hashlib.file_digest(back, "sha256").digest() != taken.digest():
            raise StoreError("its sealed copy is not the same", where=str(path), remedy="Check the disk.")


def _taken(pieces: Iterator[bytes], each: Callable[[bytes], object], *, journal: bool) -> Iterator[bytes]:
    first = True
    for piece in pieces:
        if first and journal and len(piece) >= _HEADER_BYTES:
            head = bytearray(piece[:_HEADER_BYTES])
            for start, end in _LENGTHS:
                head[start:end] = b"\xff" * (end - start)
            each(bytes(head))
            yield bytes(head)
            piece = piece[_HEADER_BYTES:]  # noqa: PLW2901
        first = False
        each(piece)
        yield piece


def _seal_lines(path: Path, vault: Vault) -> None:
    copy = path.with_name(path.name + _STAGED)
    lines = [line for line in path.read_bytes().splitlines() if line]
    with _new(copy) as out:
        out.writelines(b"\n" + vault.seal_line(line, path.name) + b"\n" for line in lines)
        out.flush()
        os.fsync(out.fileno())


def _new(path: Path) -> BinaryIO:
    path.unlink(missing_ok=True)
    return open(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0), 0o600), "wb")
