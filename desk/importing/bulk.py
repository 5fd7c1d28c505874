"""The import as a whole: plan, work, keep. This process alone writes the store, one transaction a recording.

Killed at any moment, the same call goes on where it stopped: what is in the store is known by its content, and
what was heard but not yet kept lies in the passing folder.
"""

from __future__ import annotations

import pickle
import shutil
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from desk import own_words, saving
from desk.importing import faults, search, sidecar, work
from desk.importing import plan as planning
from desk.importing.cluster import Cluster
from desk.importing.crew import Crew, Progress, enough
from desk.importing.faults import Fault
from desk.importing.ledger import FOLDER, Ledger
from desk.importing.look import Looked
from desk.importing.plan import Plan
from desk.importing.showing import Bar
from desk.importing.sidecar import Listed
from desk.importing.summary import FROM, Summary, count, day, minutes
from desk.importing.work import Done, Job
from desk.lines import clean
from desk.shell import say
from dictate import weights
from shared.errors import BadInput, StoreError
from shared.store import Recording, Store, data_folder, sounds


@dataclass(frozen=True)
class Wanted:
    """What is asked for. paths: none with `again` means all that the store knows and that are still there."""

    paths: Sequence[Path]
    data: Path | None = None
    model: str = "base"
    vocabulary: Path | None = None
    plan_only: bool = False
    retry: bool = False
    again: bool = False
    copy: bool = True
    cluster: str | None = None
    workers: int | None = None
    hear: work.Hear | None = None


class Workers(Protocol):
    """A crew or a cluster."""

    def run(
        self, function: Callable[[Job], Done | Fault], tasks: Iterator[Job], progress: Progress[Job]
    ) -> Iterator[tuple[Job, Done | Fault]]:
        """Each task with its result, as they get done. progress: called with how far they are."""


def import_all(wanted: Wanted) -> int:
    """Do it, and tell. Returns how many files failed.

    Raises BadInput (a path, a list, the vocabulary) before any work, StoreError (what is done is kept), WeightsError.
    """
    data = wanted.data or data_folder()
    vocabulary = pickle.dumps(own_words.vocabulary(wanted.vocabulary, data=data))
    with Store(data) as store, ExitStack() as stack:
        try:
            ledger = stack.enter_context(Ledger(data))
        except OSError as fault:
            raise StoreError(
                f"cannot be written to ({fault.strerror})",
                where=str(data / FOLDER),
                remedy="Free some space.",
            ) from fault
        found = _found(wanted, store)
        crew = stack.enter_context(Crew(wanted.workers or enough()))
        lists = _lists(found.lists, store)
        with Bar.looking(len(found.files)) as looking:
            plan = planning.make(
                found.files,
                store,
                ledger,
                crew,
                retry=wanted.retry,
                again=wanted.again,
                progress=looking.step,
            )
        importer = Importer(wanted, store, data, lists)
        for place, reason in [*found.faults, *plan.faults]:
            importer.failed(place, reason)
        _tell(plan, found.others, ledger.speed, data, copy=wanted.copy)
        if wanted.plan_only:
            _tell_files(plan, lists)
            return importer.summary.failed
        if plan.work:
            if not (wanted.cluster or wanted.hear):
                weights.find(wanted.model)  # missing ones would fail every file
            workers: Workers = stack.enter_context(Cluster(wanted.cluster)) if wanted.cluster else crew
            importer.run(plan, vocabulary, workers, ledger)
    return importer.summary.failed


def _found(wanted: Wanted, store: Store) -> search.Found:
    paths = list(wanted.paths)
    if not paths:
        rows = store.recordings(limit=sys.maxsize // 2)
        paths = [p for row in rows if row.kind == "sound" and (p := store.sound(row.id))]
    for path in paths:
        try:
            there = path.exists() or path.is_symlink()
        except OSError:
            there = True  # whatever is wrong with it is told when it is looked at
        if not there:
            raise BadInput("there is no such file or folder", where=str(path), remedy="Check its name.")
    return search.find(paths)


def _lists(places: Sequence[Path], store: Store) -> dict[str, Listed]:
    """What all lists say, by path. Raises BadInput if there is anything wrong, after telling every mistake."""
    clinicians = [p.name for p in store.people() if p.role == "clinician" and p.active]
    said, mistakes = dict[str, Listed](), 0
    for place in places:
        listed, wrong = sidecar.read(place, clinicians)
        said |= {str(file.absolute()): what for file, what in listed.items()}
        mistakes += len(wrong)
        for mistake in wrong:
            say(clean(mistake.line(place)))
    if mistakes:
        raise BadInput(
            f"{count(mistakes, 'mistake')} in lists, named above; nothing was imported",
            remedy="Put them right and import again.",
        )
    return said


def _tell(plan: Plan, others: int, speed: float | None, data: Path, *, copy: bool) -> None:
    new = len(plan.work) - len(plan.again)
    say(f"{count(new, 'recording')} to import" + (f", {len(plan.again)} to read again" if plan.again else "")
        + f": {minutes(plan.seconds)} of sound as the files state it, "
        f"about {minutes(plan.seconds / (speed or planning.FIRST_SPEED))} of work"
        + ("." if speed else " (a first guess)."))  # fmt: skip
    if plan.known:
        say(f"{count(len(plan.known), 'recording')} known already by content.")
    if plan.twins:
        say(f"{count(len(plan.twins), 'file')} with the same content as another here.")
    if plan.failed_before:
        say(f"{count(len(plan.failed_before), 'file')} failed before; to try them again: --retry")
    if others:
        say(f"{count(others, 'other file')} passed over, as no recordings.")
    free = shutil.disk_usage(data).free
    if copy and plan.bytes > free:
        say(f"A copy of each is kept, which takes {plan.bytes / 1e6:,.0f} MB, and {free / 1e6:,.0f} MB are free. "
            "It will stop when the disk is full; to leave recordings where they are: --no-copy")  # fmt: skip


def _tell_files(plan: Plan, lists: dict[str, Listed]) -> None:
    for looked in plan.work:
        at, source = sidecar.started(lists.get(looked.path), looked)
        at, source = (at, source) if at else (looked.modified_iso, "file_time")
        length = minutes(looked.seconds) if looked.seconds else "length not stated"
        say(clean(f"  {looked.path}: {length}, {day(at)} by {FROM[source or 'file_time']}"))
    for looked, reason in plan.failed_before:
        say(clean(f"  {looked.path}: failed before, {reason}"))


class Importer:
    """Takes in what the workers bring, and counts."""

    def __init__(self, wanted: Wanted, store: Store, data: Path, lists: dict[str, Listed]) -> None:
        self.summary = Summary()
        self._wanted, self._store, self._lists = wanted, store, lists
        self._data, self._passing = data, data / FOLDER
        self._afresh = True  # else the time it takes says nothing of another import's

    def run(self, plan: Plan, vocabulary: bytes, workers: Workers, ledger: Ledger) -> None:
        """Work on all that is planned. Raises StoreError."""
        began, today = time.monotonic(), time.time()
        jobs = (self._job(looked, plan, vocabulary) for looked in plan.work)
        try:
            with Bar.working(len(plan.work), plan.seconds) as bar:
                for job, result in workers.run(
                    work.work, jobs, lambda job, beat: bar.under_way(job.looked.path, beat)
                ):
                    if isinstance(result, Fault):
                        self.failed(Path(job.looked.path), result, job.looked)
                    else:
                        self._keep(job, result)
                    bar.step(job.looked.path, job.looked.seconds or 0.0)
        except StoreError as fault:
            done = "What is done is kept; the same call goes on from there."
            raise StoreError(
                fault.what, where=fault.where, remedy=f"{fault.remedy} {done}".strip()
            ) from fault
        finally:
            saving.remove_left(self._passing, before=today)
            took = time.monotonic() - began
            for line in self.summary.lines(took):
                say(line)
        if self._afresh and self.summary.seconds > 60:
            with suppress(OSError):
                ledger.went(self.summary.seconds / took)

    def failed(self, place: Path, fault: Fault, looked: Looked | None = None) -> None:
        """Tell of a file that could not be done, and note it in the store."""
        self.summary.fail(fault)
        say(clean(fault.line(str(place))))
        digest = looked.sha256 if looked and fault.lasting else ""
        size = looked.bytes if looked else 0
        self._store.fail(Recording(digest, place.name, size, "sound", place.absolute()), fault.what)

    def _job(self, looked: Looked, plan: Plan, vocabulary: bytes) -> Job:
        model, heard = self._wanted.model, None
        if row := plan.again.get(looked.sha256):
            last = self._store.last_transcript(row.id)
            heard = last if last and last.model == model else None
        passing = None if self._wanted.cluster else self._passing
        return Job(looked, model, vocabulary, heard, passing, self._wanted.hear)

    def _keep(self, job: Job, done: Done) -> None:
        looked, place = job.looked, Path(job.looked.path)
        listed, visits = self._lists.get(looked.path), done.visits()
        if listed:
            for line in sidecar.name_patients(listed, visits):
                say(clean(f"{place}: {line}"))
        started, source = sidecar.started(listed, looked)
        own_copy = place.parent == sounds.folder(self._data).absolute()  # read again: its name says nothing
        recording = Recording(
            looked.sha256, place.name, looked.bytes, "sound", None if own_copy else place,
            started=None if own_copy else started, started_from=source, modified=looked.modified_iso,
            clinician=listed.clinician if listed else None,
        )  # fmt: skip
        try:
            kept = self._store.keep(
                recording, done.transcript, visits, keep_sound=self._wanted.copy and not own_copy
            )
        except BadInput as refused:  # erased at a patient's request
            self.failed(place, faults.of(refused))
        except StoreError:
            fault = _gone_or_changed(looked)
            if fault is None:
                raise
            self.failed(place, fault)
        else:
            silent = not done.transcript.text.strip()
            seconds = done.transcript.duration or 0.0
            source = self._store.recording(kept.recording).started_from or "reading"
            if kept.outcome == "partly":
                visits = [self._store.visit(number).visit for number in kept.fresh]
            self._afresh &= done.afresh
            self.summary.add(kept, visits, seconds=seconds, silent=silent, source=source)
        if job.passing:
            for passing in work.passing_files(job.passing, looked.sha256):
                with suppress(OSError):
                    passing.unlink(missing_ok=True)


def _gone_or_changed(looked: Looked) -> Fault | None:
    """What became of a file between its reading and its copying, if anything."""
    try:
        now = Path(looked.path).stat()
    except OSError:
        return faults.GONE
    return None if (now.st_size, now.st_mtime_ns) == (looked.bytes, looked.mtime_ns) else faults.CHANGED
