"""One recording to its transcript and visits; runs in a worker process, and writes nothing into the store."""

from __future__ import annotations

import functools
import pickle
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from desk import heard_amiss, saving
from desk.importing import beats, faults
from desk.importing.faults import Fault
from desk.importing.look import Looked, hashed
from shared.errors import EarsideError
from shared.naming import readable
from shared.protecting.files import Lines
from shared.record import Visit
from shared.store.rows import record_json
from shared.transcript import Transcript

if TYPE_CHECKING:
    from dictate.recognise import Recogniser
    from extract.reader import Reader

Hear = Callable[["Job"], Transcript]
"""How a recording is heard, if not as `hear` does."""


@dataclass(frozen=True)
class Job:
    """What is to be done with a recording.

    vocabulary: pickled, as it goes to every worker. heard: its transcript, if only the reading is to be done.
    passing: the folder in which what was heard is kept until the visits are; None where that is another
    machine's.
    """

    looked: Looked
    model: str
    vocabulary: bytes
    heard: Transcript | None = None
    passing: Path | None = None
    hear: Hear | None = None


@dataclass(frozen=True)
class Done:
    """A recording's transcript and its visits, each as JSON: generic models do not travel otherwise.

    afresh: whether all of it was heard just now.
    """

    transcript: Transcript
    records: list[str]
    afresh: bool

    def visits(self) -> list[Visit]:
        """The visits."""
        return [Visit.model_validate_json(record) for record in self.records]


_one_at_a_time = threading.Lock()
"""A cluster's worker may have many threads; the recogniser has its own."""


def work(job: Job) -> Done | Fault:
    """Hear and read one recording."""
    begun = job.passing and any(p.exists() for p in passing_files(job.passing, job.looked.sha256))
    try:
        with _one_at_a_time:
            transcript = job.heard or _waiting(job) or _heard(job)
            if isinstance(transcript, Fault):
                return transcript
            visits = _reader(job.vocabulary).read(transcript)
    except Exception as fault:
        return faults.of(fault)
    for visit in visits:
        visit.notices += heard_amiss.notices(transcript)
    return Done(transcript, [record_json(visit) for visit in visits], afresh=not (job.heard or begun))


def passing_files(folder: Path, sha256: str) -> tuple[Path, Path]:
    """Where a transcript waits for its visits to be kept, and where what was heard so far does for the rest."""
    return folder / f"{sha256}.json", folder / f"{sha256}.heard"


def _waiting(job: Job) -> Transcript | None:
    """What an interrupted import heard already with this model."""
    if job.passing is None:
        return None
    try:
        place, _ = passing_files(job.passing, job.looked.sha256)
        held = Transcript.model_validate_json(Lines(place).read(place.read_bytes()))
    except (OSError, ValueError):
        return None
    same = held.model == job.model
    return held.model_copy(update={"source": readable(job.looked.path)}) if same else None


def _heard(job: Job) -> Transcript | Fault:
    path = job.looked.path
    failed: Exception | None = None
    try:
        transcript = (job.hear or hear)(job)
    except Exception as fault:
        failed = fault
    try:
        if hashed(Path(path))[0] != job.looked.sha256:
            return faults.CHANGED
    except OSError as fault:
        return faults.of(fault)
    if failed:
        return faults.of(failed)
    if job.passing:
        with suppress(EarsideError):  # a full disk: the store will say so
            place, _ = passing_files(job.passing, job.looked.sha256)
            saving.save(place, Lines(place).written(transcript.model_dump_json().encode()), replace=True)
    return transcript


def hear(job: Job, recogniser: Callable[[], Recogniser] | None = None) -> Transcript:
    """Hear a recording, going on where an interrupted import stopped. recogniser: another than the model's."""
    from dictate.hear import transcribe  # noqa: PLC0415  (slow to import)
    from dictate.heard_before import HeardBefore, HeardFile  # noqa: PLC0415
    from dictate.recognise import whisper  # noqa: PLC0415

    hearer = recogniser or functools.partial(whisper, job.model)
    path, model = job.looked.path, job.model
    if job.passing is None:
        return transcribe(path, model=model, progress=beats.beat, recogniser=hearer())
    _, place = passing_files(job.passing, job.looked.sha256)
    with HeardFile(place) as file:
        before = HeardBefore(hearer, file, beats.beat)
        return transcribe(path, model=model, progress=beats.beat, recogniser=before)


@functools.lru_cache(maxsize=1)
def _reader(vocabulary: bytes) -> Reader:
    from extract.reader import Reader  # noqa: PLC0415  (slow to import)

    return Reader(pickle.loads(vocabulary))
