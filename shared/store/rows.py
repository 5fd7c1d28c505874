"""What goes into the store and what comes out, and how a visit becomes rows."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from shared.record import Notice, Value, Visit

Kind = Literal["sound", "text", "transcript"]
Outcome = Literal["new", "unchanged", "replaced", "left"]

_EAR = re.compile(r"ears\[(\d+)\]\.")
_INDEX = re.compile(r"\[\d+\]")


@dataclass(frozen=True)
class Recording:
    """What a transcript was made from. sha256: of the file's bytes. bytes: its size."""

    sha256: str
    name: str
    bytes: int
    kind: Kind

    @classmethod
    def of(cls, path: Path, kind: Kind) -> Recording:
        """The recording at `path`. Reads the whole file; raises OSError."""
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
            return cls(sha256=digest, name=path.name, bytes=file.tell(), kind=kind)


@dataclass(frozen=True)
class Kept:
    """What became of a reading that was given to the store.

    outcome: "new"; "unchanged" (the same reading was there already); "replaced" (earlier drafts gave way);
    "left" (a person had worked on the earlier drafts, so they stay and the new reading was not kept).
    visits: the ids of the visits that now stand, in the order of the recording.
    """

    recording: int
    visits: tuple[int, ...]
    outcome: Outcome


@dataclass(frozen=True)
class VisitRow:
    """One line of a list of visits.

    ears: the sides in order. to_check: how many notices; to_decide: those that signing waits for.
    """

    id: int
    recording: str
    ordinal: int
    added: str
    status: str
    patient_reference: str | None
    ears: tuple[str, ...]
    to_check: int
    to_decide: int


@dataclass(frozen=True)
class StoredVisit:
    """One visit with what the store knows of it. revision: counts up with every change."""

    id: int
    recording: str
    ordinal: int
    added: str
    status: str
    revision: int
    transcript: int
    visit: Visit


@dataclass(frozen=True)
class Hit:
    """A transcript in which searched words stand. around: the words in their sentence, each hit in [ ]."""

    recording: str
    added: str
    visits: tuple[int, ...]
    around: str


def finding_rows(visit_id: int, visit: Visit, who: str) -> dict[str, dict[str, Any]]:
    """One row per value of the visit, by path."""
    return {
        path: {
            "visit_id": visit_id,
            "path": path,
            "field": _INDEX.sub("", path).removeprefix("ears."),
            "ear": visit.ears[int(ear[1])].side.value if (ear := _EAR.match(path)) else None,
            "value": value.value,
            "certainty": value.certainty,
            "origin": value.origin,
            **_evidence(value),
            "confidence": value.confidence,
            "changed_by": who,
            "removed": 0,
        }
        for path, value in visit.values()
    }


def notice_rows(visit_id: int, visit: Visit) -> list[dict[str, Any]]:
    """One row per notice of the visit."""
    return [
        {
            "visit_id": visit_id,
            **notice.model_dump(exclude={"heard", "chars", "seconds"}),
            **_evidence(notice),
        }
        for notice in visit.notices
    ]


def visit_columns(visit: Visit) -> dict[str, Any]:
    """The columns of a visit that depend on its record."""
    extent = visit.extent
    chars = extent.chars if extent else (None, None)
    seconds = (extent.seconds if extent else None) or (None, None)
    return {
        "patient_reference": visit.patient_reference.value if visit.patient_reference else None,
        "char_start": chars[0],
        "char_end": chars[1],
        "second_start": seconds[0],
        "second_end": seconds[1],
        "record": record_json(visit),
    }


def record_json(visit: Visit) -> str:
    """The visit in the full form, as JSON; what was not said is left out."""
    return visit.model_dump_json(exclude_none=True)


def _evidence(said: Value[Any] | Notice) -> dict[str, Any]:
    chars, seconds = said.chars or (None, None), said.seconds or (None, None)
    return {
        "heard": said.heard,
        "char_start": chars[0],
        "char_end": chars[1],
        "second_start": seconds[0],
        "second_end": seconds[1],
    }
