"""Progress on a terminal: how much of a recording has been heard, and how long the rest will take."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn


@contextmanager
def bar(label: str) -> Iterator[Callable[[float, float], None] | None]:
    """A bar on stderr while its block runs; yields what to call with (seconds done, seconds in all).

    Yields None when stderr is no terminal, so that nothing of it lands in files and pipes.
    """
    if not sys.stderr.isatty():
        yield None
        return
    name = TextColumn("{task.description}", markup=False)
    columns = (name, BarColumn(), TimeRemainingColumn(), TextColumn("left"))
    with Progress(*columns, console=Console(stderr=True), transient=True, redirect_stdout=False) as shown:
        task = shown.add_task(label, total=None)
        yield lambda done, total: shown.update(task, completed=done, total=total)
