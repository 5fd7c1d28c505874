"""What the listening engine tells: small, frozen, one class for each kind. Seconds are the recording's."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from shared.transcript import Word


@dataclass(frozen=True)
class Event:
    """Anything that is told. passing: of this kind only the newest is worth reading."""

    passing: ClassVar[bool] = False


@dataclass(frozen=True)
class Level(Event):
    """How loud the last tenth of a second was.

    at: its end. rms, peak: dBFS, 0 for full scale, -96 for none. clipped: samples at full scale, beyond
    which the sound is cut off.
    """

    passing = True

    at: float
    rms: float
    peak: float
    clipped: bool


@dataclass(frozen=True)
class SpeechBegan(Event):
    """Somebody began to speak."""

    at: float


@dataclass(frozen=True)
class SpeechEnded(Event):
    """Somebody stopped; the words of it follow as an Utterance."""

    at: float


@dataclass(frozen=True)
class WordsSoFar(Event):
    """A first, quick guess at what is being said: to look at, never to record. It stands for [start, end)."""

    passing = True

    start: float
    end: float
    text: str


@dataclass(frozen=True)
class Utterance(Event):
    """What was said between two pauses, heard as carefully as a file is. words: their chars count in text."""

    start: float
    end: float
    text: str
    words: tuple[Word, ...]


@dataclass(frozen=True)
class Behind(Event):
    """The machine does not keep up: seconds by which the careful hearing is late, 0 when it has caught up.

    No sound is lost by it.
    """

    passing = True

    seconds: int


@dataclass(frozen=True)
class Paused(Event):
    """From here on nothing is kept or heard."""

    at: float


@dataclass(frozen=True)
class Resumed(Event):
    """Listening goes on."""

    at: float


@dataclass(frozen=True)
class Faulted(Event):
    """Something failed. what, remedy: to show. lost: seconds of sound not kept so far."""

    what: str
    remedy: str
    lost: float = 0.0


@dataclass(frozen=True)
class Mended(Event):
    """The disk takes sound again; everything held in memory meanwhile is written."""


class Events:
    """Events on their way to one reader in another thread.

    A passing one that was not read gives way to the next of its kind, so a slow reader does not fill the
    memory. Nothing comes after `close`.
    """

    def __init__(self) -> None:
        self._waiting: deque[Event] = deque()
        self._changed = threading.Condition()
        self._closed = False

    def put(self, event: Event) -> None:
        """Add one; after `close` it is dropped."""
        with self._changed:
            if self._closed:
                return
            if event.passing:
                for old in self._waiting:
                    if type(old) is type(event):
                        self._waiting.remove(old)
                        break
            self._waiting.append(event)
            self._changed.notify_all()

    def close(self) -> None:
        """Let nothing more in. What is waiting can still be read."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def get(self, wait_seconds: float | None = None) -> Event | None:
        """The next event; None if there is none within the time, or none will come any more."""
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or self._closed, wait_seconds)
            return self._waiting.popleft() if self._waiting else None

    @property
    def over(self) -> bool:
        """Whether everything was read and nothing will come any more."""
        with self._changed:
            return self._closed and not self._waiting

    def __iter__(self) -> Iterator[Event]:
        while (event := self.get()) is not None:
            yield event
