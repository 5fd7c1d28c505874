"""How every command ends: one clear line for a failure, and an exit code that tells its sort.

0 fine; 1 a failure of the machine or of Earside; 2 the call or what was given to it; 130 interrupted.
"""

from __future__ import annotations

import contextlib
import os
import sys
import traceback
from collections.abc import Iterator
from typing import Any, NoReturn

import click

from desk.asking import ask
from shared.errors import BadInput, EarsideError
from shared.protecting import asking

FINE, FAILED, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130


def say(line: str) -> None:
    """A line for the person at the keyboard, beside whatever is being piped."""
    click.echo(line, err=True)


def report(fault: Exception, where: str = "") -> int:
    """Say on stderr what failed, where, and what to do; return the exit code for it.

    Of an unexpected fault only its kind is shown: its message might quote the dictation.
    """
    from desk.lines import clean  # noqa: PLC0415  (slow to import, and help must be quick)

    if isinstance(fault, EarsideError):
        say(clean(fault.line))
        return BAD_INPUT if isinstance(fault, BadInput) else FAILED
    head = f"{clean(where)}: " if where else ""
    if isinstance(fault, OSError) and fault.strerror:
        say(f"{head}{fault.strerror}. Check the disk and who may use it, then try again.")
        return FAILED
    say(f"{head}something went wrong that Earside did not expect ({type(fault).__name__}). "
        "Run again with EARSIDE_DEBUG=1 for details.")  # fmt: skip
    if os.environ.get("EARSIDE_DEBUG"):
        traceback.print_exception(fault)
    return FAILED


class Desk(click.Group):
    """The group of all commands; whatever one of them raises ends here."""

    def invoke(self, ctx: click.Context) -> Any:
        asking.ask = ask
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise  # click's own business: usage errors, exits, a closed pipe
        except KeyboardInterrupt:
            _leave(ctx, INTERRUPTED)
        except Exception as fault:
            _leave(ctx, report(fault))


def _leave(ctx: click.Context, code: int) -> NoReturn:
    ctx.exit(code)


@contextlib.contextmanager
def leave_at_once() -> Iterator[None]:
    """End the program as soon as it was interrupted, without waiting for what is still being recognised."""
    try:
        yield
    except (SystemExit, KeyboardInterrupt) as end:
        if isinstance(end, SystemExit) and end.code != INTERRUPTED:
            raise
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(OSError):
                stream.flush()
        os._exit(INTERRUPTED)
