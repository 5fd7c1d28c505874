"""What goes into the store and what comes out, and how a visit becomes rows."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from shared.errors import BadInput
from shared.protecting import files
from shared.record import Notice, Value, Visit
from shared.transcript import Transcript

Kind = Literal["sound", "text", "transcript"]
Outcome = Literal["new", "unchanged", "replaced", "partly", "left"]
Role = Literal["clinician", "assistant", "auditor"]
Status = Literal["draft", "signed", "amending", "amended", "replaced"]
"""draft: never signed. signed: locked. amending: opened again after signing, to be signed again. amended:
signed again, locked. replaced: gave way to a later reading, or went into another visit by a merge."""
TimeFrom = Literal["dictation", "metadata", "name", "file_time", "list", "entered", "reading"]
"""Where the start of a recording or visit comes from; "reading": nothing was known but when it was read."""

LOCKED: tuple[Status, ...] = ("signed", "amended")
OPEN: tuple[Status, ...] = ("draft", "amending")

_EAR = re.compile(r"ears\[(\d+)\]\.")
_INDEX = re.compile(r"\[\d+\]")


@dataclass(frozen=True)
class Recording:
    """What a transcript was made from.

    sha256: of the file's bytes, "" if nobody could read them. bytes: its size. path: where it lies.
    started: when it begins, UTC, ISO 8601; None if that is not known, then the file's own time is used:
    modified, which is when the recording ended. clinician: who saw its patients, if a list says so.
    """

    sha256: str
    name: str
    bytes: int
    kind: Kind
    path: Path | None = None
    started: str | None = None
    started_from: TimeFrom | None = None
    modified: str | None = None
    clinician: str | None = None

    @classmethod
    def of(cls, path: Path, kind: Kind) -> Recording:
        """The recording at `path`. Reads the whole file; raises OSError, and as `files.opened`."""
        with files.opened(path) as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
            size, changed = file.tell(), datetime.fromtimestamp(path.stat().st_mtime, UTC)
        return cls(
            sha256=digest,
            name=files.plain_name(path).name,
            bytes=size,
            kind=kind,
            path=path.absolute(),
            modified=iso(changed),
        )


@dataclass(frozen=True)
class Kept:
    """What became of a reading that was given to the store.

    outcome: "new"; "unchanged" (the same reading was there already); "replaced" (earlier drafts gave way); "partly"
    (those did on which nobody had worked, the others stay); "left" (people had worked on all, or the new reading
    divides the recording differently, so all stay and the new reading was not kept).
    visits: the ids of the visits that now stand, in the order of the recording; fresh: of those that are new.
    """

    recording: int
    visits: tuple[int, ...]
    outcome: Outcome
    fresh: tuple[int, ...] = ()


@dataclass(frozen=True)
class RecordingRow:
    """One recording as the store knows it.

    status: waiting, read, no_speech, failed (then `reason`). tries: how often reading it was tried.
    path: where it lay when last read. sound: whether a copy is kept. started: UTC; started_from: how known.
    """

    id: int
    name: str
    kind: Kind
    status: Literal["waiting", "read", "no_speech", "failed"]
    reason: str | None
    tries: int
    path: str | None
    sound: bool
    bytes: int
    seconds: float | None
    started: str | None
    started_from: TimeFrom | None
    added: str


@dataclass(frozen=True)
class VisitRow:
    """One line of a list of visits.

    ordinal: the patient's number in the recording. ears: the sides in order. to_check: notices that nobody
    has decided; to_decide: those of them that signing waits for. when: start of the visit, UTC, ISO 8601;
    when_from: where that time comes from. clinician: who saw the patient, if known.
    """

    id: int
    recording: str
    ordinal: int
    added: str
    status: Status
    patient_reference: str | None
    ears: tuple[str, ...]
    to_check: int
    to_decide: int
    when: str
    when_from: TimeFrom
    clinician: str | None
    revision: int


@dataclass(frozen=True)
class Page:
    """One page of a list. next: what to give as `after` for the next page; None if this is the last."""

    rows: tuple[VisitRow, ...]
    next: str | None


@dataclass(frozen=True)
class Counts:
    """How many: drafts; amendments not yet signed; of both, those with something to decide; signed (amended
    ones included); recordings that failed, and that wait to be read."""

    draft: int
    amending: int
    undecided: int
    signed: int
    failed: int
    waiting: int


@dataclass(frozen=True)
class StoredVisit:
    """One visit with what the store knows of it.

    recording: its name; recording_id, transcript: ids. revision: counts up with every change. when,
    when_from, clinician: as in VisitRow. undo, redo: what these would do, in plain words; None if nothing.
    """

    id: int
    recording: str
    recording_id: int
    ordinal: int
    added: str
    status: Status
    revision: int
    transcript: int
    visit: Visit
    when: str
    when_from: TimeFrom
    clinician: str | None
    undo: str | None = None
    redo: str | None = None

    @property
    def locked(self) -> bool:
        """Whether it is signed, so that only an amendment can change it."""
        return self.status in LOCKED


@dataclass(frozen=True)
class Person:
    """Somebody who works with the records. clinician: may sign; assistant: may correct, not sign; auditor:
    may only read."""

    name: str
    role: Role
    active: bool = True


@dataclass(frozen=True)
class Edit:
    """One value that a person changed. field: its path without numbers. ear: the side. before, after: None
    for nothing there. heard: the words behind it."""

    field: str
    ear: str | None
    before: str | int | None
    after: str | int | None
    heard: str | None


@dataclass(frozen=True)
class Alike:
    """Words heard whose value was changed to the same one in so many visits."""

    heard: str
    field: str
    after: str | int
    times: int


@dataclass(frozen=True)
class Change:
    """A new state of a visit and what was done to reach it.

    kind: one word, e.g. "correct". what: one plain sentence for the history. edits: the values concerned.
    transcript: the visit's own words, if they were put right; the visit's places then count in it.
    when, clinician: only if they change.
    """

    kind: str
    what: str
    visit: Visit
    edits: tuple[Edit, ...] = ()
    transcript: Transcript | None = None
    when: str | None = None
    clinician: str | None = None


@dataclass(frozen=True)
class Entry:
    """One entry of the history. number: its place in the chain of all entries. kind: one word. what: a plain
    sentence. why: the reason given, "" if none. erased: whether its content was erased by law or request."""

    number: int
    visit: int | None
    kind: str
    who: str
    at: str
    what: str
    why: str = ""
    edits: tuple[Edit, ...] = ()
    undone: bool = False
    erased: bool = False


@dataclass(frozen=True)
class Signature:
    """A signature, with the record as it was signed. entry: its number in the history. reason: why it was
    signed although notices were undecided. amendment: the reason of the amendment it signs, if it does."""

    entry: int
    who: str
    role: Role
    at: str
    reason: str | None
    amendment: str | None
    visit: Visit


@dataclass(frozen=True)
class Verified:
    """What `verify` found. head: the hash of the last entry; kept elsewhere, it shows if entries were cut off
    the end. faults: one line for each entry or visit that does not hold. tombstones: one for each that was erased.
    notes: where the clock had gone back."""

    entries: int
    head: str
    faults: tuple[str, ...] = field(default=())
    tombstones: tuple[str, ...] = field(default=())
    notes: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class Hit:
    """A visit in whose words the searched ones stand, or a recording in which no visit was found.

    visits: its id, or none. around: the words in their sentence, each hit in [ ].
    """

    recording: str
    added: str
    visits: tuple[int, ...]
    around: str


def folded(reference: str) -> str:
    """A patient's reference without what does not tell two apart: spaces and case."""
    return "".join(reference.split()).casefold()


def iso(at: datetime) -> str:
    """A time of day as it is stored: UTC, ISO 8601 to the millisecond."""
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def normal(at: str) -> str:
    """A time as it is stored. Raises BadInput for one that is not ISO 8601, or has no zone."""
    try:
        given = datetime.fromisoformat(at)
    except ValueError as fault:
        raise BadInput(f"{at!r} is not a time", where="start", remedy="Give it as ISO 8601.") from fault
    if given.tzinfo is None:
        raise BadInput(f"{at!r} has no zone", where="start", remedy="Give its offset from UTC.")
    return iso(given)


def finding_rows(visit_id: int, visit: Visit, when: str) -> list[dict[str, Any]]:
    """One row per value of the visit."""
    return [
        {
            "visit_id": visit_id,
            "path": path,
            "field": _INDEX.sub("", path).removeprefix("ears."),
            "ear": visit.ears[int(ear[1])].side.value if (ear := _EAR.match(path)) else None,
            "value": value.value,
            "certainty": value.certainty,
            "origin": value.origin,
            "confirmed_by": value.confirmed_by,
            **_evidence(value),
            "confidence": value.confidence,
            "when_at": when,
        }
        for path, value in visit.values()
    ]


def notice_rows(visit_id: int, visit: Visit) -> list[dict[str, Any]]:
    """One row per notice of the visit."""
    return [
        {
            "visit_id": visit_id,
            **notice.model_dump(exclude={"heard", "chars", "seconds", "decision"}),
            **_evidence(notice),
            "decided": notice.decision.what if notice.decision else None,
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
        "ears": ",".join(ear.side.value for ear in visit.ears),
        "to_check": sum(notice.decision is None for notice in visit.notices),
        "to_decide": sum(notice.waits for notice in visit.notices),
        "char_start": chars[0],
        "char_end": chars[1],
        "second_start": seconds[0],
        "second_end": seconds[1],
        "record": record_json(visit),
    }


def record_json(visit: Visit) -> str:
    """The visit in the full form, as JSON; what was not said is left out."""
    return visit.model_dump_json(exclude_none=True)


NOTHING = record_json(Visit())
"""The record of a visit of which everything was erased."""


def _evidence(said: Value[Any] | Notice) -> dict[str, Any]:
    chars, seconds = said.chars or (None, None), said.seconds or (None, None)
    return {
        "heard": said.heard,
        "char_start": chars[0],
        "char_end": chars[1],
        "second_start": seconds[0],
        "second_end": seconds[1],
    }
