"""The journals in a folder. One that no program is writing was left over: no record was made of it.

How a journal lies on the disk stands in `dictate.journal`.
"""

from __future__ import annotations

import contextlib
import json
import os
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from shared.errors import BadRecording
from shared.protecting import files, sealed
from shared.protecting.files import Lines

RATE = 16_000
HEADER_BYTES = 44
"""Before the first sample, as in every plain WAV file."""


@dataclass(frozen=True)
class Found:
    """A journal on disk.

    started: UTC, ISO 8601. seconds: of sound in it. closed: whether all sound is in; else the program or the
    computer stopped while it was written. in_use: a program is writing it.
    pauses: for each the second of the recording it stands at, and when it began and ended (UTC; "" if
    nothing came after it). lost: seconds of sound that a full disk did not take. agreements: what the patient
    said to being recorded: the second of the recording, the answer, who put it down.
    """

    id: str
    path: Path
    started: str
    who: str
    seconds: float
    closed: bool
    in_use: bool
    pauses: tuple[tuple[float, str, str], ...] = ()
    lost: float = 0.0
    agreements: tuple[tuple[float, str, str], ...] = ()


def find(folder: Path, name: str) -> Found | None:
    """The journal of this name, if it is there."""
    plain = folder / f"{name}.wav"
    path = files.there(plain) if plain.parent == folder else None
    return _found(folder, path) if path else None


def journals(folder: Path) -> list[Found]:
    """All journals in a folder, the oldest first; one without a single sample of sound is left out."""
    found = []
    for path in (
        sorted([*folder.glob("*.wav"), *folder.glob(f"*.wav{sealed.SUFFIX}")]) if folder.is_dir() else []
    ):
        with contextlib.suppress(FileNotFoundError, BadRecording):  # moved away meanwhile, or cut off at once
            one = _found(folder, path)
            found += [one] if one.seconds else []
    return found


def unfinished(folder: Path) -> list[Found]:
    """The journals that no program is writing, the oldest first."""
    return [found for found in journals(folder) if not found.in_use]


def being_written(folder: Path) -> bool:
    """Whether a program is writing a journal in a folder; asks the locks alone, and so needs no key."""
    return any(_in_use(folder, path.stem) for path in folder.glob("*.lock"))


def line(what: str, **more: Any) -> bytes:
    """A line of a description: what happened, and the time of day (UTC)."""
    clock = datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return json.dumps({"what": what, "clock": clock, **more}, ensure_ascii=False).encode()


def append(file: int, what: bytes) -> None:
    """Add one line, flushed. It begins with a line break, so that it stands alone after one that was cut off."""
    view = memoryview(b"\n" + what + b"\n")
    while view:
        view = view[os.write(file, view) :]
    os.fsync(file)


def notes_path(folder: Path, name: str) -> Path:
    """The description of a journal."""
    return folder / f"{name}.jsonl"


def _found(folder: Path, path: Path) -> Found:
    name = path.name.removesuffix(sealed.SUFFIX).removesuffix(".wav")
    notes = list(_notes(notes_path(folder, name)))
    said = {note["what"]: note for note in notes}
    began = said.get("started", {})
    return Found(
        id=name,
        path=path,
        started=str(began.get("clock", "")) or _moment(path),
        who=str(began.get("who", "")),
        seconds=max(files.size(path) - HEADER_BYTES, 0) // 2 / RATE,
        closed=bool(notes) and notes[-1]["what"] == "closed",
        in_use=_in_use(folder, name),
        pauses=_pauses(notes),
        lost=sum(_number(note.get("seconds")) for note in notes if note["what"] == "lost"),
        agreements=tuple(
            (_number(note.get("at")), str(note.get("answer")), str(note.get("who", "")))
            for note in notes
            if note["what"] == "agreement"
        ),
    )


def _notes(path: Path) -> list[dict[str, Any]]:
    """The lines of a description that are whole."""
    notes = []
    lines = Lines(path)
    for line in path.read_bytes().splitlines() if path.is_file() else []:
        with contextlib.suppress(ValueError):
            note = json.loads(lines.read(line))
            if isinstance(note, dict) and isinstance(note.get("what"), str):
                notes.append(note)
    return notes


def _pauses(notes: list[dict[str, Any]]) -> tuple[tuple[float, str, str], ...]:
    pauses: list[tuple[float, str, str]] = []
    for note in notes:
        if note["what"] == "paused":
            pauses.append((_number(note.get("at")), str(note.get("clock", "")), ""))
        elif pauses and not pauses[-1][2]:  # whatever came next ended it
            pauses[-1] = (*pauses[-1][:2], str(note.get("clock", "")))
    return tuple(pauses)


def _number(held: Any) -> float:
    """A number of a description; 0 for what a damaged disk made of it."""
    return float(held) if isinstance(held, (int, float)) and abs(held) < 1e9 else 0.0


def _moment(path: Path) -> str:
    """When a journal without a description was last written."""
    return datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat(timespec="seconds")


def _in_use(folder: Path, name: str) -> bool:
    path = folder / f"{name}.lock"
    if not path.exists():
        return False
    try:
        with FileLock(path, timeout=0, mode=0o600, thread_local=False):
            return False
    except Timeout:
        return True


def remove(folder: Path, name: str) -> None:
    """Remove a journal that is of no use any more."""
    for ending in ("wav", f"wav{sealed.SUFFIX}", "jsonl", "heard", "lock"):
        (folder / f"{name}.{ending}").unlink(missing_ok=True)
