"""One door tried with many inputs: how many there were, and that none took too long or too much memory."""

from __future__ import annotations

import resource
import signal
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

from doors import Door
from hypothesis import HealthCheck, Phase, given, seed, settings

SECONDS = 20.0
"""Of processor time for one input: far more than any takes, and than anybody would wait for a hang."""


@dataclass
class Tried:
    """What trying a door came to. slowest: seconds of processor time of one input; grown: MB of memory more."""

    inputs: int = 0
    slowest: float = 0.0
    grown: float = 0.0


class Hang(BaseException):
    """An input took longer than SECONDS."""


def _hang(_: int, __: FrameType | None) -> None:
    raise Hang


def attempt(door: Door, *, examples: int, start: int, tried: Tried) -> None:
    """Try a door with so many inputs made from a starting number. Raises what is amiss, with the input."""

    @seed(start)
    @settings(
        max_examples=examples,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=(Phase.generate, Phase.shrink),
        report_multiple_bugs=False,
    )
    @given(given=door.given)
    def one(given: Any) -> None:
        before, most = time.process_time(), _memory()
        signal.setitimer(signal.ITIMER_PROF, SECONDS)
        try:
            with tempfile.TemporaryDirectory() as folder:
                door.take(given, _folder(folder, door))
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
        tried.inputs += 1
        tried.slowest = max(tried.slowest, time.process_time() - before)
        tried.grown = max(tried.grown, _memory() - most) if tried.inputs > 5 else 0.0

    old = signal.signal(signal.SIGPROF, _hang)
    try:
        one()
    finally:
        signal.signal(signal.SIGPROF, old)


_lasting = tempfile.TemporaryDirectory(prefix="earside-fuzz-")


def _folder(passing: str, door: Door) -> Path:
    """A folder for one input; the desk's stands for all of them."""
    return Path(_lasting.name if door.name in ("http", "websocket", "command") else passing)


def _memory() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
