"""The same work on an existing Dask distributed scheduler (the optional extra `cluster`).

Its workers need Earside and the recordings under the same paths; what they hear comes back here, where alone the
store is written. What is said goes over the network between them, so it must be the clinic's own. A task
whose worker died is given to another by Dask; after some deaths it gives up, and the file has failed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any, TypeVar

from desk.importing import faults
from desk.importing.crew import Progress
from desk.importing.faults import Fault
from shared.errors import BadInput, EarsideError

Task = TypeVar("Task")
Result = TypeVar("Result")

_AHEAD = 2
"""Tasks in hand for each worker, so that none waits for the next."""
_WAIT_SECONDS = 15


class Cluster:
    """Workers that a Dask scheduler knows. A context manager; leaving it cancels what is not done.

    address: the scheduler's, e.g. "tcp://10.0.0.5:8786". Raises BadInput if nothing answers there, EarsideError if the
    extra is not installed.
    """

    def __init__(self, address: str) -> None:
        try:
            import distributed  # noqa: PLC0415  (slow, and optional)
        except ImportError as fault:
            raise EarsideError(
                "working on a cluster needs one more package", where="--cluster",
                remedy="Install it: .venv/bin/python -m pip install distributed",
            ) from fault  # fmt: skip
        try:
            self._dask: Any = distributed
            self._client = self._dask.Client(address, timeout=_WAIT_SECONDS, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as fault:
            remedy = "Start one with: dask scheduler"
            raise BadInput(
                "no Dask scheduler answers", where=f"--cluster {address}", remedy=remedy
            ) from fault

    def run(
        self,
        function: Callable[[Task], Result | Fault],
        tasks: Iterable[Task],
        progress: Progress[Task] | None = None,
    ) -> Iterator[tuple[Task, Result | Fault]]:
        """Each task with its result, as they get done. progress: never called, whole files only are told of here.

        Raises EarsideError if the cluster has no workers.
        """
        waiting = iter(tasks)
        at_once = _AHEAD * len(self._client.nthreads())
        if not at_once:
            raise EarsideError(
                "the scheduler has no workers", where="--cluster", remedy="Start some: dask worker"
            )
        first = {
            self._client.submit(function, t, pure=False): t
            for _, t in zip(range(at_once), waiting, strict=False)
        }
        done = self._dask.as_completed(first, loop=self._client.loop)
        for future in done:
            task = first.pop(future)
            if (following := next(waiting, None)) is not None:
                another = self._client.submit(function, following, pure=False)
                first[another] = following
                done.add(another)
            fault = future.exception()
            yield task, (faults.DIED if fault is not None else future.result())

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.close()
