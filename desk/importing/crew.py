"""Worker processes on this machine. One that dies takes only its own file with it, and is replaced.

Each has a pipe of its own to the program; a worker whose program has gone ends itself, whatever it is doing.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from multiprocessing.connection import Connection, wait
from types import TracebackType
from typing import TypeVar

from desk.importing import faults
from desk.importing.faults import Fault
from dictate.recognise import processors, workers

Task = TypeVar("Task")
Result = TypeVar("Result")

_SPAWN = multiprocessing.get_context("spawn")


def enough() -> int:
    """Workers that keep all processors busy: the recogniser of each takes several, and one that shares them with
    another is no quicker for twice the memory."""
    return max(1, processors() // workers())


class Crew:
    """So many worker processes. A context manager; leaving it ends them at once, done or not."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._all: list[_Worker] = []
        self._idle: list[_Worker] = []

    def run(
        self, function: Callable[[Task], Result | Fault], tasks: Iterable[Task]
    ) -> Iterator[tuple[Task, Result | Fault]]:
        """Each task with its result, as they get done. function: a module's own, so that it can be sent.

        A task whose worker died is tried once more alone, when the others are done; if its worker dies again
        the result is `faults.DIED`.
        """
        again: deque[Task] = deque()
        yield from self._side_by_side(function, iter(tasks), again.append, self._size)
        died: list[Task] = []
        yield from self._side_by_side(function, iter(again), died.append, 1)
        yield from ((task, faults.DIED) for task in died)

    def _side_by_side(
        self,
        function: Callable[[Task], Result | Fault],
        tasks: Iterator[Task],
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
            for pipe in wait(list(busy)):
                assert isinstance(pipe, Connection)
                worker, task = busy.pop(pipe)
                try:
                    result = pipe.recv()
                except (EOFError, OSError):
                    self._end(worker)
                    died(task)
                    continue
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
        self.pipe, theirs = _SPAWN.Pipe()
        self._process = _SPAWN.Process(target=_serve, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()  # so that its end is noticed here

    def end(self) -> None:
        self._process.kill()
        self._process.join()
        self.pipe.close()


def _serve(pipe: Connection) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches all; the program decides
    threading.Thread(target=_end_with_program, daemon=True).start()
    while True:
        try:
            function, task = pipe.recv()
        except EOFError:
            return
        try:
            result = function(task)
        except Exception as fault:
            result = faults.of(fault)
        pipe.send(result)


def _end_with_program() -> None:
    program = multiprocessing.parent_process()
    if program is not None:
        wait([program.sentinel])
        os._exit(1)
