"""Where an export goes: a file that is there whole or not at all, and never in place of another."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from shared.errors import BadInput, EarsideError


@contextmanager
def whole(place: Path) -> Iterator[Path]:
    """A file beside `place` to write; it takes its place when all is written.

    Raises BadInput if something is there already, EarsideError if the disk does not let it be written.
    """
    if place.exists():
        raise BadInput("is there already", where=str(place), remedy="Move it, or choose another name.")
    beside: Path | None = None
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        number, name = tempfile.mkstemp(dir=place.parent, prefix=".export-")  # for this user's eyes only
        os.close(number)
        beside = Path(name)
        yield beside
        with beside.open("rb") as file:
            os.fsync(file.fileno())
        os.replace(beside, place)
    except OSError as fault:
        raise EarsideError(
            f"cannot be written ({fault.strerror or type(fault).__name__})",
            where=str(place),
            remedy="Free some space, or choose another folder.",
        ) from fault
    finally:
        if beside:
            beside.unlink(missing_ok=True)
