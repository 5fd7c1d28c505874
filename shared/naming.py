"""Names of files as text that can be kept."""

from __future__ import annotations

import os


def readable(path: str | os.PathLike[str]) -> str:
    """A path as text; bytes of a name that is no UTF-8 are written like \\xff. Others are as they were."""
    return os.fsencode(path).decode("utf-8", "backslashreplace")
