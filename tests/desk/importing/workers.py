"""Work that test_workers.py gives to worker processes; a module of its own, so that they can import it."""

from __future__ import annotations

import os
import re
import signal
import time
from pathlib import Path

import folder

from desk.importing import beats, work
from desk.importing.faults import Fault
from desk.importing.work import Done, Job
from shared.transcript import Transcript


def double_or_die(n: int) -> int:
    """Twice n; 3 ends its worker as a crashing decoder would."""
    if n == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return 2 * n


def die_once(flag: str) -> str:
    """Ends its worker unless the file is there; makes it."""
    if flag and not Path(flag).exists():
        Path(flag).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return flag


def take_long(how: str) -> str:
    """Sleeps for good, goes round in circles without ever letting go of the interpreter, or takes its time."""
    if how == "asleep":
        time.sleep(3600)
    if how == "in circles":
        re.match(r"(a+)+$", "a" * 64 + "b")
    if how == "slow":
        for n in range(1, 11):
            time.sleep(0.6)
            beats.beat(float(n), 10.0)
    return how


def slowly(job: Job) -> Done | Fault:
    """The real work, long enough for a worker to be killed in it; a file beside the folder says who does what."""
    mark = Path(job.looked.path).parent.parent / f"{job.looked.sha256}.{os.getpid()}.begun"
    mark.touch()
    time.sleep(0.5)
    done = work.work(job)
    mark.rename(mark.with_suffix(".done"))
    return done


def meddle(job: Job) -> Transcript:
    """Hears, while somebody else writes to one file and removes another."""
    path, heard = job.looked.path, folder.hear(job)
    if "written" in path:
        with open(path, "ab") as file:
            file.write(b"more")
    if "removed" in path:
        Path(path).unlink()
    return heard
