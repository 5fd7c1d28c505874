"""What an import would do: which files are new, which are known, how long it will take."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from desk.importing import look
from desk.importing.crew import Crew
from desk.importing.faults import Fault
from desk.importing.ledger import Ledger
from desk.importing.look import Looked
from shared.store import RecordingRow, Store

FIRST_SPEED = 10.0
"""Times real time to reckon with before the first import on a machine: on the low side of two cores with base."""


@dataclass
class Plan:
    """work: to be heard or read, in order. again: those of them that are in the store already, by hash. known: read
    already; twins: the same bytes as another file here; failed_before: not tried again unless asked.
    faults: could not be looked at."""

    work: list[Looked] = field(default_factory=list)
    again: dict[str, RecordingRow] = field(default_factory=dict)
    known: list[Looked] = field(default_factory=list)
    twins: list[Looked] = field(default_factory=list)
    failed_before: list[tuple[Looked, str]] = field(default_factory=list)
    faults: list[tuple[Path, Fault]] = field(default_factory=list)

    @property
    def seconds(self) -> float:
        """Of sound to be worked on, as far as the files state it."""
        return sum(looked.seconds or 0.0 for looked in self.work)

    @property
    def bytes(self) -> int:
        """Of the files to be worked on."""
        return sum(looked.bytes for looked in self.work)


def make(
    files: Iterable[Path],
    store: Store,
    ledger: Ledger,
    crew: Crew,
    *,
    retry: bool,
    again: bool,
    progress: Callable[[], object],
) -> Plan:
    """Look at every file that is not known as it is, and tell what is to be done with each.

    retry: also those that failed. again: also those that were read. progress: called after each file.
    """
    plan, looks = Plan(), dict[str, Looked]()
    unknown = []
    for file in files:
        path = str(file.absolute())
        try:
            seen = ledger.seen(path)
        except (OSError, ValueError):
            seen = None  # looking at it will tell
        if seen:
            looks[path] = seen
            progress()
        else:
            unknown.append(path)
    for path, found in _looked(unknown, crew, ledger):
        progress()
        if isinstance(found, Fault):
            plan.faults.append((Path(path), found))
        else:
            looks[path] = found
    met: set[str] = set()
    for _, looked in sorted(looks.items()):
        if looked.sha256 in met:
            plan.twins.append(looked)
            continue
        met.add(looked.sha256)
        _sort(looked, store.known(looked.sha256), plan, retry=retry, again=again)
    plan.faults.sort(key=lambda f: f[0])
    return plan


def _looked(paths: list[str], crew: Crew, ledger: Ledger) -> Iterator[tuple[str, Looked | Fault]]:
    for path, found in crew.run(look.look, paths):
        if isinstance(found, Looked):
            ledger.add(found, time.time_ns())
        yield path, found


def _sort(looked: Looked, row: RecordingRow | None, plan: Plan, *, retry: bool, again: bool) -> None:
    if row is None or row.status == "waiting":
        plan.work.append(looked)
    elif row.status == "failed" and not retry:
        plan.failed_before.append((looked, row.reason or ""))
    elif row.status == "failed":
        plan.work.append(looked)
    elif again:
        plan.work.append(looked)
        plan.again[looked.sha256] = row
    else:
        plan.known.append(looked)
