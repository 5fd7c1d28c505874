"""Two programs at one store, each with several connections, as the desk and the command line have them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from shared.store import Store

OPEN = "import pathlib, sys; from shared.store import Store; store = Store(pathlib.Path(sys.argv[1]))"


def another_program(folder: Path, work: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", f"{OPEN}; {work}", str(folder)], stdout=subprocess.PIPE, text=True, check=True
    )
    return done.stdout


def test_a_program_that_ends_takes_nothing_from_one_that_goes_on(tmp_path: Path) -> None:
    """SQLite, "How To Corrupt An SQLite Database File", 2.2: POSIX locks end with any closed descriptor of a file.

    Without locks the other program takes itself for the last one and removes the log that is written to here.
    """
    with Store(tmp_path) as first:
        first.set_person("Ann Example", "clinician")
        Store(tmp_path).close()
        another_program(tmp_path, "store.close()")
        first.set_person("Ben Sample", "assistant")
        told = another_program(tmp_path, "print(len(store.people()))")
    assert told == "2\n"
    with Store(tmp_path) as store:
        assert [person.name for person in store.people()] == ["Ann Example", "Ben Sample"]
        assert store.verify().faults == ()
