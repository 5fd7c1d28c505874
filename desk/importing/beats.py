"""A worker's word that it gets on with a file: how much of its sound is done, of how much.

In a worker process of `crew` it goes to the program, which shows it, and which ends a worker that has said
nothing for too long. Elsewhere it goes nowhere.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

EVERY_SECONDS = 0.5
"""More often than that nobody wants to know."""


@dataclass(frozen=True)
class Beat:
    """Seconds of sound that are done, and in all as far as is known; both None if all that is known is that the
    worker is not stuck."""

    done: float | None = None
    whole: float | None = None


_told: Callable[[Beat], object] | None = None
_last = 0.0
_lock = threading.Lock()  # clips are heard in several threads


def send_to(told: Callable[[Beat], object]) -> None:
    """Where the words of this process go from now on."""
    global _told  # noqa: PLW0603  (one program, one ear)
    _told = told


def beat(done: float | None = None, whole: float | None = None) -> None:
    """Say that there was progress."""
    global _last  # noqa: PLW0603
    with _lock:
        now = time.monotonic()
        if _told and now - _last >= EVERY_SECONDS:
            _last = now
            _told(Beat(done, whole))
