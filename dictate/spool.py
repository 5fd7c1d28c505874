"""Sound on its way from a decoder: in memory if it is short, in a passing file without a name if it is long.

So a day's recording takes no more memory than an hour's. The file is gone with the program, however that ends.
"""

from __future__ import annotations

import errno
import mmap
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType

import numpy as np
import numpy.typing as npt

from dictate.weights import cache_folder
from shared.errors import EarsideError

IN_MEMORY_BYTES = 60_000_000
"""Half an hour of sound at 16,000 samples a second; more goes to the disk."""

_SILENCE = bytes(1 << 20)


class Spool:
    """Takes in 16-bit samples. A context manager; what `held` gives outlives it.

    in_memory: however long it is. Its file lies in the cache folder, since the system's own place for passing
    files may be memory. Raises EarsideError if it cannot be written.
    """

    def __init__(self, *, in_memory: bool = False) -> None:
        folder = cache_folder()
        with _writing():
            folder.mkdir(parents=True, exist_ok=True)
        self._most = sys.maxsize if in_memory else IN_MEMORY_BYTES
        self._file = tempfile.SpooledTemporaryFile(self._most, dir=str(folder))  # noqa: SIM115
        self.samples = 0
        """How many it holds."""

    def write(self, sound: bytes) -> None:
        """Add samples."""
        with _writing():
            self._file.write(sound)
        self.samples += len(sound) // 2

    def silence(self, samples: int) -> None:
        """Add so many silent samples."""
        for at in range(0, 2 * samples, len(_SILENCE)):
            self.write(_SILENCE[: 2 * samples - at])

    def held(self) -> tuple[npt.NDArray[np.int16], mmap.mmap | None]:
        """All samples, and the file in which they lie, if it is one."""
        if 2 * self.samples <= self._most:
            self._file.seek(0)
            return np.frombuffer(self._file.read(), dtype=np.int16), None
        with _writing():
            self._file.flush()
        held = mmap.mmap(self._file.fileno(), 2 * self.samples, access=mmap.ACCESS_READ)
        return np.frombuffer(held, dtype=np.int16), held

    def __enter__(self) -> Spool:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        with _writing():
            self._file.close()


@contextmanager
def _writing() -> Iterator[None]:
    try:
        yield
    except OSError as fault:
        what = "the disk is full" if fault.errno == errno.ENOSPC else f"cannot be written ({fault.strerror})"
        remedy = "Free some space: an hour of sound takes 115 MB while it is worked on."
        raise EarsideError(what, where=str(cache_folder()), remedy=remedy) from fault
