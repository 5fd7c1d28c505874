"""Saving transcripts as files: beside, flushed, then renamed, and never over another file."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from shared.errors import BadInput, EarsideError


def target(folder: Path, source: str) -> Path:
    """Where the transcript of `source` goes. Raises BadInput if something is there already."""
    place = folder / f"{Path(source).name}.json"
    if place.exists():
        raise BadInput("is there already", where=str(place), remedy="Move it, or save to another folder.")
    return place


def save_beside(place: Path, content: str) -> None:
    """Write `content` to `place`, whole or not at all. Raises EarsideError if the disk does not let it."""
    beside = ""
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=place.parent, delete=False) as file:
            beside = file.name
            file.write(content + "\n")
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, place)
    except OSError as fault:
        if beside:
            Path(beside).unlink(missing_ok=True)
        raise EarsideError(
            f"cannot be written ({fault.strerror})",
            where=str(place),
            remedy="Free some space, or save to another folder.",
        ) from fault
