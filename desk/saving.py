"""Saving files: each is there whole or not at all, and none takes the place of another unasked."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from shared.errors import BadInput, EarsideError

_PREFIX = ".earside-"


def refuse_there(place: Path, remedy: str = "Move it, or choose another name.") -> None:
    """Raises BadInput if something is at this place."""
    if place.exists():
        raise BadInput("is there already", where=str(place), remedy=remedy)


@contextmanager
def whole(place: Path, *, replace: bool = False) -> Iterator[Path]:
    """A file beside `place` to write, for this user's eyes only; it takes its place when all is written.

    Raises BadInput if something is there already and not to be replaced, EarsideError if the disk does not let it
    be written.
    """
    if not replace:
        refuse_there(place)
    beside: Path | None = None
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        number, name = tempfile.mkstemp(dir=place.parent, prefix=_PREFIX)
        os.close(number)
        beside = Path(name)
        yield beside
        with beside.open("r+b") as file:
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


def save(place: Path, content: bytes, *, replace: bool = False) -> None:
    """Write a file at once; raises what `whole` raises."""
    with whole(place, replace=replace) as beside:
        beside.write_bytes(content)


def remove_left(folder: Path, before: float) -> None:
    """Remove what killed programs left half written in a folder. before: when it was last written to, at most
    (seconds since 1970); a program that lives needs a moment for its own."""
    for left in folder.glob(f"{_PREFIX}*"):
        with suppress(OSError):
            if left.stat().st_mtime < before:
                left.unlink()
