"""An import killed twenty times leaves the store that an undisturbed one leaves, value for value.

Real: files, decoding, worker processes, SIGKILL, reading, store. Scripted: the recogniser (see `folder`).
"""

from __future__ import annotations

import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import child
import folder

KILLS = 20


def begin(where: Path, data: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, child.__file__, str(where), str(data)], stderr=subprocess.PIPE, text=True
    )


@pytest.mark.skipif(sys.platform == "win32", reason="links, pipes and SIGKILL are POSIX's")
def test_killed_at_twenty_random_moments(tmp_path: Path) -> None:
    where, quiet, killed = tmp_path / "folder", tmp_path / "quiet", tmp_path / "killed"
    folder.make(where)
    began = time.monotonic()
    with begin(where, quiet) as program:
        assert program.stderr
        said = program.stderr.read()
    took = time.monotonic() - began
    assert program.returncode == 0, said
    expected = folder.state(quiet)
    assert sum(row["status"] in ("read", "no_speech") for row in expected) == folder.RECORDINGS, said
    assert sum(len(row["visits"]) for row in expected) > folder.RECORDINGS / 2
    # Hostile: one line each, but for the same bytes by another name and the link that is walked once.
    for hostile in (where / "bad").iterdir():
        if hostile.name not in ("again.flac", "circle"):
            name = hostile.name.replace("\n", " ").replace("\x1b", "")
            assert sum(name[:9] in line and "bad" in line for line in said.splitlines()) >= 1, (name, said)
    assert "\x1b" not in said
    assert "Traceback" not in said

    chance = random.Random(6)
    for _ in range(KILLS):
        with begin(where, killed) as program:
            time.sleep(chance.uniform(0.2, took / 2))
            program.kill()
    with begin(where, killed) as program:
        assert program.stderr
        said = program.stderr.read()
    assert program.returncode == 0, said
    assert folder.state(killed) == expected
    assert [p.name for p in (killed / "importing").iterdir()] == ["seen.jsonl"]
