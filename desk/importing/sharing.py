"""How many clips a worker hears at once: as many as there are processors, divided among the workers that are busy."""

from __future__ import annotations

from ctypes import c_int
from multiprocessing.sharedctypes import RawValue

from dictate.recognise import processors, workers

Busy = c_int
"""How many workers have something to do: the program writes it, the workers read it."""

_busy: Busy | None = None


def shared() -> Busy:
    """A count that can be handed to worker processes."""
    return RawValue(c_int, 0)


def take(busy: Busy) -> None:
    """In a worker process: the program's count."""
    global _busy  # noqa: PLW0603  (one worker, one program)
    _busy = busy


def at_once() -> int:
    """Clips that this process may hear side by side now."""
    return max(1, min(workers(), processors() // max(_busy.value if _busy else 1, 1)))
