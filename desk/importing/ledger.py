"""What was seen of each file, so that a second call need not read all of them again to know them.

A file of JSON lines in the data folder, only ever added to, whole line by whole line; one that was cut off by a
crash is passed over. It is a convenience: without it everything is looked at afresh. Nothing dictated is in it.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from types import TracebackType

from desk.importing.look import Looked
from shared.protecting.files import Lines

FOLDER = "importing"
FILE_NAME = "seen.jsonl"
_SETTLED_NS = 2_000_000_000
"""A file changed so shortly before it was looked at may change again within its time's tick."""


class Ledger:
    """The looks taken. A context manager. Raises OSError if it cannot be written."""

    def __init__(self, data: Path) -> None:
        folder = data / FOLDER
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        place = folder / FILE_NAME
        self.speed: float | None = None
        """How many times real time the last import went; None if there was none."""
        self._known: dict[str, Looked] = {}
        self._lines = Lines(place)
        if place.exists():
            with place.open("rb") as lines:
                for line in lines:
                    self._take(line)
        self._file = place.open("ab", buffering=0)
        os.chmod(place, 0o600)

    def seen(self, path: str) -> Looked | None:
        """What is known of a file as it is now; None if it is not known or has changed. Raises OSError."""
        known = self._known.get(path)
        if known is None:
            return None
        now = os.stat(path)
        return known if (now.st_size, now.st_mtime_ns) == (known.bytes, known.mtime_ns) else None

    def add(self, looked: Looked, at_ns: int) -> None:
        """Note a look taken at this time (ns since 1970)."""
        if at_ns - looked.mtime_ns > _SETTLED_NS:
            self._write(asdict(looked))

    def went(self, speed: float) -> None:
        """Note how many times real time an import went."""
        self._write({"speed": speed})

    def _write(self, held: dict[str, object]) -> None:
        with suppress(OSError):  # a full disk: the store will say so
            # A line of its own, even after one that was cut off.
            self._file.write(b"\n" + self._lines.written(json.dumps(held).encode()) + b"\n")

    def _take(self, line: bytes) -> None:
        try:
            held = json.loads(self._lines.read(line))
            if "speed" in held:
                self.speed = float(held["speed"])
            else:
                self._known[held["path"]] = Looked(**held)
        except (ValueError, TypeError, KeyError):
            return

    def __enter__(self) -> Ledger:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()
