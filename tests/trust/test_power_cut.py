"""A power cut, imitated (`power_cut.py`): what was acknowledged is there, and all of it holds.

500 times with `python tests/trust/power_cut.py 500`.
"""

from __future__ import annotations

import random
import shutil
import subprocess
from pathlib import Path

import pytest
from power_cut import Disk, Event, main

TRACED = (
    shutil.which("strace")
    and not subprocess.run(["strace", "-o", "/dev/null", "true"], check=False).returncode
)
needs_strace = pytest.mark.skipif(not TRACED, reason="no strace here, or it is not allowed to trace")

MADE = (Event("make", "/f/a"), Event("write", "/f/a", 0, b"x" * 1024))


def left(tmp_path: Path, *events: Event) -> set[bytes | None]:
    """What many power cuts behind these events leave of the file a."""
    found = set[bytes | None]()
    for number in range(200):
        to = tmp_path / str(number)
        Disk(events, "/f").leave(to, random.Random(number))
        found.add((to / "a").read_bytes() if (to / "a").exists() else None)
        shutil.rmtree(to)
    return found


def test_what_was_not_synced_may_be_lost_torn_or_there(tmp_path: Path) -> None:
    assert left(tmp_path, *MADE) == {None, b"", b"x" * 512, b"x" * 1024}


def test_what_was_synced_is_there(tmp_path: Path) -> None:
    again = Event("write", "/f/a", 512, b"y" * 512)
    assert left(tmp_path, *MADE, Event("sync", "/f/a")) == {b"x" * 1024}
    assert left(tmp_path, *MADE, Event("sync", "/f/a"), again) == {b"x" * 1024, b"x" * 512 + b"y" * 512}


def test_a_name_may_come_before_what_is_in_it(tmp_path: Path) -> None:
    """As a file that is written anew and renamed without a sync can be empty afterwards."""
    events = (Event("make", "/f/b"), Event("write", "/f/b", 0, b"new"), Event("move", "/f/b", to="/f/a"))
    assert left(tmp_path, *MADE, Event("sync", "/f/a"), *events) == {b"x" * 1024, b"", b"new"}


@needs_strace
def test_nothing_acknowledged_is_lost() -> None:
    assert sum(main(12).values()) == 12


@needs_strace
def test_a_store_that_did_not_wait_for_the_disk_would_be_found_out() -> None:
    """The same work as a program would have done it that never syncs: the power cuts must show it."""
    with pytest.raises(Exception, match=r"not there|damaged|not a database|malformed|hold|whole"):
        main(40, waiting=False)
