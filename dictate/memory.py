"""Memory that is freed is kept for the next clip, and given back when a recording is done.

The C library of Linux (glibc) gets every block over 32 MB from the system anew and gives it back when it is freed.
The encoder's are larger, several in each of its layers, and the system fills each page with zeros before: a third
of the encoder's time. With other systems nothing is done.
"""

from __future__ import annotations

import ctypes
import functools
import platform
from typing import Any

# The numbers of mallopt's parameters, from malloc.h.
_TRIM_THRESHOLD, _MMAP_MAX, _ARENA_MAX = -1, -4, -8
_MOST = 2**31 - 1


@functools.cache
def keep() -> bool:
    """Keep what is freed from now on; for threads that begin later, too. Whether that could be done."""
    library = _glibc()
    # One heap for all threads: the others' cannot hold blocks of this size.
    options = ((_MMAP_MAX, 0), (_TRIM_THRESHOLD, _MOST), (_ARENA_MAX, 1))
    return library is not None and all(library.mallopt(*option) for option in options)


def give_back() -> None:
    """Give the system what is kept and not used."""
    if (library := _glibc()) is not None:
        library.malloc_trim(0)


@functools.cache
def _glibc() -> Any:
    return ctypes.CDLL(None) if platform.libc_ver()[0] == "glibc" else None
