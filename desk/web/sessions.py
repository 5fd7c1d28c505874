"""Who is signed in at which browser, and when they were last active. In memory: a new start asks everybody again.

A session that has been idle for too long is locked, not ended: its screen shows nothing any more, but a
dictation goes on being recorded, and its person's password opens it again.
"""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

LONGEST_SECONDS = 14 * 3600
"""After a working day everybody signs in again."""


def clock() -> tuple[float, float]:
    """Two clocks: one stands still while a laptop sleeps, the other can be set back. The longer time counts."""
    return time.monotonic(), time.time()


@dataclass
class Session:
    """One person at one browser. account: when their password was set. dictations: those it listens to."""

    name: str
    account: str
    began: tuple[float, float]
    seen: tuple[float, float]
    locked: bool = False
    dictations: set[str] = field(default_factory=set)


class Sessions:
    """All sessions of one desk. Safe to use from several threads.

    now: the two clocks, for tests.
    """

    def __init__(self, now: Callable[[], tuple[float, float]] = clock) -> None:
        self._now, self._lock = now, threading.Lock()
        self._all: dict[str, Session] = {}

    def begin(self, name: str, account: str, instead_of: str = "") -> str:
        """A new session; its secret, 256 random bits. instead_of: the one that this browser had."""
        secret, at = secrets.token_urlsafe(32), self._now()
        with self._lock:
            earlier = self._all.pop(instead_of, None)
            session = Session(name, account, at, at)
            if earlier:
                # Lines of sound that are open still hold the earlier one: they stay without words.
                earlier.locked = True
                session.dictations |= earlier.dictations
            self._all[secret] = session
        return secret

    def find(self, secret: str, idle_seconds: float) -> Session | None:
        """The session of a secret, locked if it has been idle for so long; None if there is none."""
        with self._lock:
            session = self._all.get(secret)
            if session is None:
                return None
            if self._past(session.began) > LONGEST_SECONDS:
                session.locked = True
                del self._all[secret]
                return None
            session.locked = session.locked or self.left(session, idle_seconds) <= 0
            return session

    def left(self, session: Session, idle_seconds: float) -> float:
        """Seconds until it is locked; 0 or less if it is."""
        return 0.0 if session.locked else idle_seconds - self._past(session.seen)

    def active(self, session: Session) -> None:
        """Somebody did something at its browser."""
        session.seen = self._now()

    def end(self, secret: str) -> None:
        """Somebody signed out; what they began to dictate is kept, and goes on without words."""
        with self._lock:
            if session := self._all.pop(secret, None):
                session.locked = True

    def _past(self, since: tuple[float, float]) -> float:
        return max(now - then for now, then in zip(self._now(), since, strict=True))
