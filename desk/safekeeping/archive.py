"""One file with all of a data folder: a plain ZIP, each file in it under its own name, and `backup.json`.

    backup.json   made, version, entries, head (of the history), files: {name: {bytes, sha256}}

Files go in as they lie on the disk, so what is encrypted there is encrypted here. Any unzip can open it.
"""

from __future__ import annotations

import hashlib
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import IO, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from desk import saving
from shared.errors import BadInput
from shared.protecting import staging
from shared.store import Store
from shared.store.copying import copy_database, database

MANIFEST = "backup.json"
_LARGEST_MANIFEST = 200_000_000
_CHUNK = 1 << 20
_DAMAGED = (OSError, EOFError, zipfile.BadZipFile, NotImplementedError, RuntimeError, zlib.error)
_PASSING = frozenset({"desk.secret", "importing"})
"""What is made anew: the browsers' secret, and what an import has seen."""

Progress = Callable[[float, float], None]


class Held(BaseModel):
    """One file of a backup."""

    model_config = ConfigDict(extra="forbid")

    bytes: Annotated[int, Field(ge=0)]
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class Manifest(BaseModel):
    """What a backup holds. entries, head: of its history. database: the name of the database among the files."""

    model_config = ConfigDict(extra="forbid")

    version: Literal[1] = 1
    made: str
    entries: int
    head: str
    database: str
    files: dict[str, Held]

    @property
    def bytes(self) -> int:
        """Of all files."""
        return sum(held.bytes for held in self.files.values())


def make(data: Path, to: Path, progress: Progress | None = None) -> Manifest:
    """Put all of a data folder into a new file, while others may go on working; then read it again and compare.

    A dictation that ends in just this moment may be in it twice, never not at all: the journals go in first, then
    the database, then the recordings. Raises BadInput if there is something at `to` or it is in the data folder,
    StoreError, EarsideError if it cannot be written.
    """
    if to.absolute().resolve().is_relative_to(data.absolute().resolve()):
        raise BadInput(
            "is in the data folder, and would be lost with it", where=str(to), remedy="Choose another place."
        )
    if (data / staging.MARK).exists():
        Store(data).close()  # clears up what a killed `earside protect` left, plain files among it
    with (
        saving.whole(to) as beside,
        tempfile.TemporaryDirectory(dir=to.parent, prefix=".earside-") as passing,
    ):
        copy = Path(passing) / "copy.db"
        files: dict[str, Held] = {}
        with zipfile.ZipFile(beside, "w") as packed:
            for place in files_of(data / "listening"):
                _put(packed, place, place.relative_to(data).as_posix(), files)
            number, head = copy_database(data, copy)
            name = database(data).name
            _put(packed, copy, name, files)
            copy.unlink()
            rest = [place for place in files_of(data) if place.relative_to(data).parts[0] != "listening"]
            for n, place in enumerate(rest):
                if progress:
                    progress(n, len(rest))
                _put(packed, place, place.relative_to(data).as_posix(), files)
            made = datetime.now(UTC).isoformat(timespec="seconds")
            manifest = Manifest(made=made, entries=number, head=head, database=name, files=files)
            packed.writestr(MANIFEST, manifest.model_dump_json(indent=1), zipfile.ZIP_DEFLATED)
        check(beside)
    return manifest


def check(file: Path) -> Manifest:
    """Read all of a backup and compare it with what it says of itself. Raises BadInput, naming what is amiss."""
    with opened(file) as packed:
        manifest = manifest_of(packed, file)
        for name, held in manifest.files.items():
            for _ in content(packed, name, held, file):
                pass
    return manifest


def opened(file: Path) -> zipfile.ZipFile:
    """A backup's file. Raises BadInput if it is none, or cut off."""
    try:
        return zipfile.ZipFile(file)
    except OSError as fault:
        raise BadInput(
            f"cannot be read ({fault.strerror})", where=str(file), remedy="Check its name."
        ) from fault
    except (zipfile.BadZipFile, ValueError, NotImplementedError) as fault:
        raise BadInput("is no backup, or was cut off", where=str(file), remedy="Use another one.") from fault


def manifest_of(packed: zipfile.ZipFile, file: Path) -> Manifest:
    """What a backup says of itself. Raises BadInput."""
    try:
        with packed.open(MANIFEST) as held:
            manifest = Manifest.model_validate_json(held.read(_LARGEST_MANIFEST))
        for name in manifest.files:
            parts = PurePosixPath(name).parts
            if (
                not parts
                or ".." in parts
                or name.startswith("/")
                or set("\\:\0") & set(name)
                or name == MANIFEST
            ):
                raise ValueError("a name that leads elsewhere")
        if manifest.database not in manifest.files:
            raise ValueError("no database")
    except (KeyError, ValueError, ValidationError, RecursionError, *_DAMAGED) as fault:
        raise BadInput(
            "is no backup that Earside made", where=str(file), remedy="Make one with: earside backup FILE"
        ) from fault
    return manifest


def content(packed: zipfile.ZipFile, name: str, held: Held, file: Path) -> Iterator[bytes]:
    """A file of a backup, piece by piece, never more than it is to have. Raises BadInput at its end, or before, if
    it is not what was put in."""
    found, size = hashlib.sha256(), 0
    try:
        with packed.open(name) as stream:
            while size <= held.bytes and (piece := stream.read(_CHUNK)):
                size += len(piece)
                found.update(piece)
                yield piece
    except (KeyError, *_DAMAGED) as fault:
        raise _changed(file, name) from fault
    if (size, found.hexdigest()) != (held.bytes, held.sha256):
        raise _changed(file, name)


def _changed(file: Path, name: str) -> BadInput:
    return BadInput(f"{name} in it is damaged or was changed", where=str(file), remedy="Use another backup.")


def files_of(folder: Path) -> Iterator[Path]:
    """What is to be kept of a folder; not what is made anew, nor what another program has in hand."""
    for place in sorted(folder.iterdir()) if folder.is_dir() else []:
        if place.name.startswith(".") or place.name in _PASSING or place.name == MANIFEST:
            continue
        if place.is_dir() and not place.is_symlink():
            yield from files_of(place)
        elif place.is_file() and not place.name.endswith(
            (".lock", ".part", ".db", "-wal", "-shm", "-journal")
        ):
            yield place


def _put(packed: zipfile.ZipFile, place: Path, name: str, files: dict[str, Held]) -> None:
    """Put in a file as far as it went at first; one that is gone meanwhile was finished or erased."""
    entry = zipfile.ZipInfo(name)
    entry.compress_type = (
        zipfile.ZIP_DEFLATED if place.suffix in (".db", ".jsonl", ".yaml") else zipfile.ZIP_STORED
    )
    found, size = hashlib.sha256(), 0
    try:
        reading: IO[bytes] = place.open("rb")
    except FileNotFoundError:
        return
    with reading, packed.open(entry, "w", force_zip64=True) as writing:
        left = place.stat().st_size
        while left and (piece := reading.read(min(_CHUNK, left))):
            left -= len(piece)
            size += len(piece)
            found.update(piece)
            writing.write(piece)
    files[name] = Held(bytes=size, sha256=found.hexdigest())
