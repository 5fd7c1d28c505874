"""Two programs at one store, each with several connections, as the desk and the command line have them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from shared.store import Store

OTHER = "import pathlib, sys; from shared.store import Store; Store(pathlib.Path(sys.argv[1])).close()"


def test_a_program_that_ends_takes_nothing_from_one_that_goes_on(tmp_path: Path) -> None:
    """SQLite, "How To Corrupt An SQLite Database File", 2.2: POSIX locks end with any closed descriptor of a file.

    Without locks the other program takes itself for the last one and removes the log that is written to here.
    """
    with Store(tmp_path) as first:
        first.set_person("Ann Example", "clinician")
        Store(tmp_path).close()
        subprocess.run([sys.executable, "-c", OTHER, str(tmp_path)], check=True)
        first.set_person("Ben Sample", "assistant")
        seen = "import pathlib, sys; from shared.store import Store; print(len(Store(pathlib.Path(sys.argv[1])).people()))"
        told = subprocess.run(
            [sys.executable, "-c", seen, str(tmp_path)], stdout=subprocess.PIPE, text=True, check=True
        )
    assert told.stdout == "2\n"
    with Store(tmp_path) as store:
        assert [person.name for person in store.people()] == ["Ann Example", "Ben Sample"]
        assert store.verify().faults == ()
