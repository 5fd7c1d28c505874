"""The progress bar of an import: files, minutes of sound, speed against real time, time left."""

from __future__ import annotations

import sys
import time
from collections import deque
from collections.abc import Callable
from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from desk.importing.beats import Beat

_LATELY_SECONDS = 300.0
"""Speed is measured over this time: what an earlier import had heard already goes by in no time."""


class Bar:
    """A bar on stderr while its block runs; nothing of it lands in files and pipes.

    seconds: of sound in all, as far as the files state it. clock: seconds.
    """

    def __init__(
        self, label: str, files: int, seconds: float, *, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._files, self._seconds, self._clock = files, seconds, clock
        self._done, self._heard = 0, 0.0
        self._under_way: dict[str, float] = {}
        self._lately = deque([(clock(), 0.0)])
        self._shown: Progress | None = None
        if sys.stderr.isatty() and files:
            columns = (TextColumn(label), BarColumn(), TextColumn("{task.fields[words]}", markup=False))
            self._shown = Progress(
                *columns, console=Console(stderr=True), transient=True, redirect_stdout=False
            )
            self._task = self._shown.add_task(label, total=seconds or files, words="")

    @classmethod
    def looking(cls, files: int) -> Bar:
        """While files are looked at."""
        return cls("Looking", files, 0.0)

    @classmethod
    def working(cls, files: int, seconds: float) -> Bar:
        """While they are heard and read."""
        return cls("Importing", files, seconds)

    def under_way(self, file: str, beat: Beat) -> None:
        """A file has come so far."""
        if beat.done is not None:
            self._under_way[file] = beat.done
            self._show()

    def step(self, file: str = "", seconds: float = 0.0) -> None:
        """One file, of so many seconds, is done."""
        self._done += 1
        self._heard += seconds
        self._under_way.pop(file, None)
        self._show()

    def words(self) -> str:
        """What stands beside the bar."""
        files = f"{self._done:,} of {self._files:,} files"
        heard = self._so_far()
        (began, before), (now, _) = self._lately[0], self._lately[-1]
        if not self._seconds or heard <= before or now <= began:
            return files
        speed = (heard - before) / (now - began)
        left = max(self._seconds - heard, 0.0) / speed
        return (
            f"{files}, {heard / 60:,.0f} of {self._seconds / 60:,.0f} min, "
            f"{speed:.1f} times real time, {_clock(left)} left"
        )

    def _so_far(self) -> float:
        return self._heard + sum(self._under_way.values())

    def _show(self) -> None:
        now = self._clock()
        self._lately.append((now, self._so_far()))
        while len(self._lately) > 2 and self._lately[1][0] < now - _LATELY_SECONDS:
            self._lately.popleft()
        if self._shown:
            done = self._so_far() if self._seconds else self._done
            self._shown.update(self._task, completed=done, words=self.words())

    def __enter__(self) -> Bar:
        if self._shown:
            self._shown.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._shown:
            self._shown.stop()


def _clock(seconds: float) -> str:
    """Hours, minutes and seconds, e.g. "1:02:03"; without hours, "2:03"."""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes // 60}:{minutes % 60:02}:{rest:02}" if minutes >= 60 else f"{minutes}:{rest:02}"
