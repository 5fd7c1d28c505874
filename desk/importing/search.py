"""Which files under the paths given are taken for recordings."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from desk.importing import faults
from desk.importing.faults import Fault
from desk.sources import OTHER_SUFFIXES, SOUND_SUFFIXES

LIST_NAME = "recordings.csv"
"""The list that may lie beside recordings; see `sidecar`."""

_SIGNATURES = (b"RIFF", b"fLaC", b"OggS", b"ID3", b"\x1a\x45\xdf\xa3", b"\x30\x26\xb2\x75", b"FORM")
"""How files of sound begin (of those without a usual ending; MP4 and its kin are told by their fifth byte on)."""


@dataclass
class Found:
    """files: taken, in order of their paths. lists: the lists beside them. others: how many are no recordings.
    faults: folders and files that could not be looked into."""

    files: list[Path] = field(default_factory=list)
    lists: list[Path] = field(default_factory=list)
    others: int = 0
    faults: list[tuple[Path, Fault]] = field(default_factory=list)


def find(paths: Sequence[Path]) -> Found:
    """All recordings at and under the paths. A file that is named is taken whatever it is called; links are
    followed, and each folder is entered once, so links in circles end."""
    found, entered = Found(), set[tuple[int, int]]()
    seen: set[Path] = set()
    for path in paths:
        try:
            listed = [path] if not path.is_dir() else _walk(path, entered, found)
            for file in listed:
                if file in seen:
                    continue
                seen.add(file)
                _sort(file, found, named=file == path)
        except (OSError, ValueError) as fault:
            found.faults.append((path, faults.of(fault)))
    found.files.sort()
    found.lists.sort()
    return found


def _walk(folder: Path, entered: set[tuple[int, int]], found: Found) -> Iterator[Path]:
    waiting = [folder]
    while waiting:
        here = waiting.pop()
        try:
            place = here.stat()
            if (place.st_dev, place.st_ino) in entered:
                continue
            entered.add((place.st_dev, place.st_ino))
            with os.scandir(here) as entries:
                inside = sorted(entries, key=lambda e: e.name)
        except OSError as fault:
            found.faults.append((here, faults.of(fault)))
            continue
        for entry in inside:
            if entry.name.startswith("."):  # a system's own notes, e.g. of a Mac's on a memory stick
                continue
            try:
                folder_too = entry.is_dir()
            except OSError:  # a link that leads to itself
                folder_too = False
            if folder_too:
                waiting.append(Path(entry.path))
            else:
                yield Path(entry.path)


def _sort(file: Path, found: Found, *, named: bool) -> None:
    suffix = file.suffix.lower()
    if file.name.lower() == LIST_NAME:
        found.lists.append(file)
    elif named or suffix in SOUND_SUFFIXES or (suffix not in OTHER_SUFFIXES and _begins_as_sound(file)):
        found.files.append(file)
    else:
        found.others += 1


def _begins_as_sound(file: Path) -> bool:
    """Whether a file under a strange ending may be sound all the same."""
    try:
        if not file.is_file():
            return False
        with file.open("rb") as held:
            head = held.read(12)
    except OSError:
        return False
    return head.startswith(_SIGNATURES) or head[4:8] == b"ftyp"
