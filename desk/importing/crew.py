"""Worker processes on this machine. One that dies or hangs takes only its own file with it, and is replaced.

Each has a pipe of its own to the program; a worker whose program has gone ends itself, whatever it is doing.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from multiprocessing.connection import Connection, wait
from pathlib import Path
from types import TracebackType
from typing import TypeVar

from desk.importing import beats, faults
from desk.importing.beats import Beat
from desk.importing.faults import Fault
from dictate.recognise import processors, workers
from shared.protecting import unlocking
from shared.protecting.vault import Vault

Task = TypeVar("Task")
Result = TypeVar("Result")

Progress = Callable[[Task, Beat], object]

PATIENCE_SECONDS = 900.0
"""So long a worker may say nothing before it is taken to hang. It speaks up with every few clips that are heard,
every minute of sound that is decoded: only a decoder that goes round in circles takes longer."""

_LOOK_SECONDS = 5.0
_SPAWN = multiprocessing.get_context("spawn")


def enough() -> int:
    """Workers that keep all processors busy: the recogniser of each takes several, and one that shares them with
    another is no quicker for twice the memory."""
    return max(1, processors() // workers())


class Crew:
    """So many worker processes. A context manager; leaving it ends them at once, done or not.

    patience: seconds after which a worker that says nothing is ended.
    """

    def __init__(self, size: int, *, patience: float = PATIENCE_SECONDS) -> None:
        self._size, self._patience = size, patience
        self._all: list[_Worker] = []
        self._idle: list[_Worker] = []

    def run(
        self,
        function: Callable[[Task], Result | Fault],
        tasks: Iterable[Task],
        progress: Progress[Task] | None = None,
    ) -> Iterator[tuple[Task, Result | Fault]]:
        """Each task with its result, as they get done. function: a module's own, so that it can be sent.

        A task whose worker died is tried once more alone, when the others are done; if its worker dies again
        the result is `faults.DIED`. That of a task on which a worker hung is `faults.HUNG`.
        progress: called with what workers say of their tasks.
        """
        again: deque[Task] = deque()
        yield from self._side_by_side(function, iter(tasks), progress, again.append, self._size)
        died: list[Task] = []
        yield from self._side_by_side(function, iter(again), progress, died.append, 1)
        yield from ((task, faults.DIED) for task in died)

    def _side_by_side(
        self,
        function: Callable[[Task], Result | Fault],
        tasks: Iterator[Task],
        progress: Progress[Task] | None,
        died: Callable[[Task], object],
        size: int,
    ) -> Iterator[tuple[Task, Result | Fault]]:
        busy: dict[Connection, tuple[_Worker, Task]] = {}
        while True:
            while len(busy) < size and (task := next(tasks, None)) is not None:
                worker = self._begin((function, task))
                busy[worker.pipe] = worker, task
            if not busy:
                return
            began = time.monotonic()
            heard_of = wait(list(busy), timeout=_LOOK_SECONDS)
            # Not the clock's difference alone: if all of this was held up, nobody could have said anything.
            passed = min(time.monotonic() - began, _LOOK_SECONDS)
            for pipe, (worker, task) in list(busy.items()):
                if pipe not in heard_of:
                    worker.silent += passed
                    if worker.silent > self._patience:
                        del busy[pipe]
                        self._end(worker)
                        yield task, faults.HUNG
                    continue
                worker.silent = 0.0
                try:
                    result = pipe.recv()
                except (EOFError, OSError):
                    del busy[pipe]
                    self._end(worker)
                    died(task)
                    continue
                if isinstance(result, Beat):
                    if progress:
                        progress(task, result)
                    continue
                del busy[pipe]
                self._idle.append(worker)
                yield task, result

    def _begin(self, what: object) -> _Worker:
        """A worker that has begun; one that died while it had nothing to do is replaced."""
        while self._idle:
            worker = self._idle.pop()
            try:
                worker.pipe.send(what)
                return worker
            except OSError:
                self._end(worker)
        worker = _Worker()
        self._all.append(worker)
        worker.pipe.send(what)
        return worker

    def _end(self, worker: _Worker) -> None:
        self._all.remove(worker)
        worker.end()

    def __enter__(self) -> Crew:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        for worker in self._all:
            worker.end()
        self._all.clear()
        self._idle.clear()


class _Worker:
    def __init__(self) -> None:
        self.silent = 0.0
        self.pipe, theirs = _SPAWN.Pipe()
        self._process = _SPAWN.Process(target=_serve, args=(theirs, unlocking.held()), daemon=True)
        self._process.start()
        theirs.close()  # so that its end is noticed here

    def end(self) -> None:
        self._process.kill()
        self._process.join()
        self.pipe.close()


def _serve(pipe: Connection, keys: dict[Path, Vault]) -> None:
    unlocking.take(keys)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches all; the program decides
    threading.Thread(target=_end_with_program, daemon=True).start()
    one_at_a_time = threading.Lock()

    def send(what: object) -> None:
        with one_at_a_time:
            pipe.send(what)

    beats.send_to(send)
    while True:
        try:
            function, task = pipe.recv()
        except EOFError:
            return
        try:
            result = function(task)
        except Exception as fault:
            result = faults.of(fault)
        send(result)


def _end_with_program() -> None:
    program = multiprocessing.parent_process()
    if program is not None:
        wait([program.sentinel])
        os._exit(1)
