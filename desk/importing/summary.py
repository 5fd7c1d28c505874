"""What an import came to, and how it is told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime

from desk.importing import deciding
from desk.importing.faults import Fault
from desk.lines import clean
from shared.record import Visit
from shared.store import Kept
from shared.store.rows import TimeFrom

FROM = {
    "metadata": "the time in the recording",
    "name": "the file's name",
    "file_time": "the file's own time",
    "list": "your list",
    "dictation": "the dictation",
    "reading": "the day it was read",
    "entered": "what was entered",
}
"""Where a recording's time comes from, in words."""


@dataclass
class Summary:
    """Counts of recordings and visits, and why visits wait for a decision."""

    read: int = 0
    silent: int = 0
    nothing_found: int = 0
    seconds: float = 0.0
    visits: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    undecided: int = 0
    reasons: Counter[str] = field(default_factory=Counter)
    times_from: Counter[str] = field(default_factory=Counter)
    failed: int = 0
    failed_for_good: int = 0

    def add(self, kept: Kept, visits: list[Visit], *, seconds: float, silent: bool, source: TimeFrom) -> None:
        """Count one recording that is now in the store."""
        self.read += 1
        self.seconds += seconds
        self.silent += silent
        self.nothing_found += not silent and not visits
        self.outcomes[kept.outcome] += 1
        self.times_from[source] += 1
        if kept.outcome == "left":
            return
        self.visits += len(visits)
        for visit in visits:
            waits = {notice.kind for notice in visit.notices if notice.waits}
            self.undecided += bool(waits)
            self.reasons.update(waits)

    def fail(self, fault: Fault) -> None:
        """Count one file that could not be done."""
        self.failed += 1
        self.failed_for_good += fault.lasting

    def lines(self, took: float) -> Iterator[str]:
        """The summary. took: seconds of the work."""
        speed = f", {self.seconds / took:.1f} times real time" if took > 1 else ""
        yield f"{count(self.read, 'recording')} done, {minutes(self.seconds)} of sound in {minutes(took)}{speed}."
        if self.read:
            yield f"{count(self.visits, 'visit')} found, all drafts: check each against its words."
        if self.undecided:
            yield f"{count(self.undecided, 'visit')} with something to decide before signing:"
            for kind, n in self.reasons.most_common():
                yield f"  in {n:,} {deciding.what(kind)}"
        if partly := self.outcomes["partly"]:
            yield f"{count(partly, 'recording')} read again but for the visits that somebody has worked on; those stay."
        if left := self.outcomes["left"]:
            yield (
                f"{count(left, 'recording')} left as they are: somebody has worked on all of their visits, or the new "
                "reading divides them differently."
            )
        if self.outcomes["unchanged"]:
            yield f"{count(self.outcomes['unchanged'], 'recording')} read again with the same result."
        if self.silent:
            yield f"{count(self.silent, 'recording')} without speech."
        if self.nothing_found:
            yield f"{count(self.nothing_found, 'recording')} without anything of ear care in the words."
        if self.times_from:
            told = ", ".join(f"{FROM[source]} {n}" for source, n in self.times_from.most_common())
            yield f"When they were recorded was taken from: {told}."
        if self.failed:
            yield f"{count(self.failed, 'file')} failed, each named above."
            if self.failed_for_good:
                yield f"  {self.failed_for_good:,} would fail again as they are; to try them all the same: --retry"
            if passing := self.failed - self.failed_for_good:
                yield f"  {passing:,} may do another time, and the next import tries them again"


def count(n: int, what: str) -> str:
    """A number of things: "1 file", "2 files"."""
    return f"{n:,} {what}{'' if n == 1 else 's'}"


def minutes(seconds: float) -> str:
    """A length of time as people say it."""
    if seconds < 90:
        return f"{seconds:.0f} seconds"
    return f"{seconds / 60:.0f} minutes" if seconds < 5400 else f"{seconds / 3600:.1f} hours"


def day(at: str | None) -> str:
    """A stored time, to the minute, in this computer's place."""
    return clean(datetime.fromisoformat(at).astimezone().isoformat(" ", "minutes")[:16]) if at else "unknown"
