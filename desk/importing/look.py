"""A first look at a file, in a worker process: its content's hash, how long it is, when it was recorded."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from desk.importing import beats, faults, when
from desk.importing.faults import Fault
from shared.protecting import files
from shared.store.rows import TimeFrom, iso

_CHUNK = 1 << 20


@dataclass(frozen=True)
class Looked:
    """What a look found. bytes, mtime_ns: as they were at that moment. seconds: as the container states them,
    None if it does not. started, started_from: as for shared.store.Recording."""

    path: str
    sha256: str
    bytes: int
    mtime_ns: int
    seconds: float | None
    started: str | None
    started_from: TimeFrom | None

    @property
    def modified(self) -> datetime:
        """The file's own time."""
        return datetime.fromtimestamp(self.mtime_ns / 1e9, UTC)

    @property
    def modified_iso(self) -> str:
        """The file's own time as the store has it."""
        return iso(self.modified)


def look(path: str) -> Looked | Fault:
    """Look at one file; reads it once, whole. A fault here is of the disk, or an empty file."""
    place = Path(path)
    try:
        if place.exists() and not place.is_file():
            return Fault("is not a file that can be kept", "Save it as a file first.")
        digest, stat = hashed(place)
    except (OSError, ValueError) as fault:
        return faults.of(fault)
    if not stat[0]:
        return Fault("the file is empty", "Copy it again from where it was recorded.", lasting=True)
    modified = datetime.fromtimestamp(stat[1] / 1e9, UTC)
    seconds, metadata = _stated(place)
    started, source = when.recorded(metadata, place.stem, modified)
    return Looked(path, digest, *stat, seconds, started, source)


def hashed(place: Path) -> tuple[str, tuple[int, int]]:
    """The SHA-256 of a file, its size and its time in nanoseconds. Raises OSError."""
    digest = hashlib.sha256()
    with files.opened(place) as file:
        while chunk := file.read(_CHUNK):
            digest.update(chunk)
            beats.beat()
        size, stat = file.tell(), place.stat()
    return digest.hexdigest(), (stat.st_size if files.is_sealed(place) else size, stat.st_mtime_ns)


def _stated(place: Path) -> tuple[float | None, dict[str, str]]:
    """What the container states of itself: seconds and tags; nothing of a file that is no recording."""
    import av  # noqa: PLC0415  (slow to import)

    from dictate.read import container_of  # noqa: PLC0415

    try:
        with container_of(place) as held:
            tags = dict(held.metadata)
            for stream in held.streams:
                tags = dict(stream.metadata) | tags
            return (held.duration / av.time_base if held.duration else None), tags
    except (av.FFmpegError, ValueError, RuntimeError, OSError, MemoryError):
        return None, {}  # hearing it will tell what is wrong
