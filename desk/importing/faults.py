"""What a worker process says of a file that it could not do, in a form that travels between processes."""

from __future__ import annotations

from dataclasses import dataclass

from shared.errors import BadInput, EarsideError


@dataclass(frozen=True)
class Fault:
    """One file's failure. lasting: the same bytes will fail again, so they are retried only on demand."""

    what: str
    remedy: str = ""
    lasting: bool = False

    def line(self, path: str) -> str:
        """The failure as one line."""
        return EarsideError(self.what, where=path, remedy=self.remedy).line


DIED = Fault(
    "the worker that was reading it ended unexpectedly, twice",
    "It may need more memory than there is, or be damaged: try it alone with --retry.",
    lasting=True,
)

HUNG = Fault(
    "nothing was got out of it for a quarter of an hour, and it was given up",
    "It may be damaged: play it, save it anew, or try it alone with --retry.",
    lasting=True,
)
GONE = Fault("is not there any more, or is a link to nothing", "Import again when it is back.")
CHANGED = Fault("was changed while it was read", "Import again when nothing writes to it any more.")


def of(fault: Exception) -> Fault:
    """What a failure comes to. Of an unexpected one only its kind is told: it might quote the dictation."""
    if isinstance(fault, BadInput):
        return Fault(fault.what, fault.remedy, lasting=True)
    if isinstance(fault, EarsideError):
        return Fault(fault.line)
    if isinstance(fault, FileNotFoundError):
        return GONE
    if isinstance(fault, OSError) and fault.strerror:
        return Fault(f"cannot be read ({fault.strerror})", "Check the disk and who may read it.")
    if isinstance(fault, MemoryError):
        return Fault("needs more memory than there is", "Close other programs, then --retry.", lasting=True)
    return Fault(f"something went wrong that Earside did not expect ({type(fault).__name__})", lasting=True)
