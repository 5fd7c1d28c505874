"""Single key presses from the terminal, without waiting for Enter. A foot pedal that types a key is a key."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator

Get = Callable[[], str]
"""The key pressed since the last call, "" if none was."""


@contextlib.contextmanager
def keys() -> Iterator[Get | None]:
    """Reads keys while its block runs, also where standard input is a pipe. Yields None without a terminal."""
    if sys.platform == "win32":
        import msvcrt  # noqa: PLC0415

        yield lambda: msvcrt.getwch() if msvcrt.kbhit() else ""
        return
    import select  # noqa: PLC0415
    import termios  # noqa: PLC0415
    import tty  # noqa: PLC0415

    try:
        terminal = os.open("/dev/tty", os.O_RDONLY)
        before = termios.tcgetattr(terminal)
    except (OSError, termios.error):
        yield None
        return

    def get() -> str:
        ready, _, _ = select.select([terminal], [], [], 0)
        return os.read(terminal, 1).decode("latin-1") if ready else ""

    try:
        tty.setcbreak(terminal)  # Ctrl-C still interrupts
        yield get
    finally:
        termios.tcsetattr(terminal, termios.TCSADRAIN, before)
        os.close(terminal)
