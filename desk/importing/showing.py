"""The progress bar of an import: files, minutes of sound, speed against real time, time left."""

from __future__ import annotations

import sys
import time
from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn


class Bar:
    """A bar on stderr while its block runs; nothing of it lands in files and pipes."""

    def __init__(self, label: str, files: int, seconds: float) -> None:
        self._files, self._seconds = files, seconds
        self._done, self._heard = 0, 0.0
        self._began = time.monotonic()
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

    def step(self, seconds: float = 0.0) -> None:
        """One file, of so many seconds, is done."""
        self._done += 1
        self._heard += seconds
        if self._shown:
            self._shown.update(
                self._task, completed=self._heard if self._seconds else self._done, words=self.words()
            )

    def words(self) -> str:
        """What stands beside the bar."""
        files = f"{self._done:,} of {self._files:,} files"
        took = time.monotonic() - self._began
        if not self._seconds or not self._heard or not took:
            return files
        speed = self._heard / took
        left = max(self._seconds - self._heard, 0.0) / speed
        return (
            f"{files}, {self._heard / 60:.0f} of {self._seconds / 60:.0f} min, "
            f"{speed:.1f} times real time, {left // 60:.0f}:{left % 60:02.0f} left"
        )

    def __enter__(self) -> Bar:
        if self._shown:
            self._shown.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._shown:
            self._shown.stop()
