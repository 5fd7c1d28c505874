"""An import killed twenty times leaves the store that an undisturbed one leaves, value for value.

Real: files, decoding, worker processes, SIGKILL, reading, store. Scripted: the recogniser (see `folder`).
"""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import child
import folder

KILLS = 20


def begin(where: Path, data: Path, *more: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, child.__file__, str(where), str(data), *more], stderr=subprocess.PIPE, text=True
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


def test_a_long_recording_killed_while_it_is_heard_goes_on_where_it_stopped(tmp_path: Path) -> None:
    stores, asked = [], []
    for kills in (0, 2):
        where, data, calls = (tmp_path / str(kills) / name for name in ("folder", "data", "calls"))
        where.mkdir(parents=True)
        shutil.copy2(folder.SAMPLES / "teaching_session.opus", where)
        for _ in range(kills):
            before = calls.read_text().count("\n") if calls.exists() else 0
            with begin(where, data, "long") as program:
                while not calls.exists() or calls.read_text().count("\n") < before + 3:
                    assert program.poll() is None
                    time.sleep(0.02)
                program.kill()
        with begin(where, data, "long") as program:
            assert program.stderr
            said = program.stderr.read()
        assert program.returncode == 0, said
        assert [p.name for p in (data / "importing").iterdir()] == ["seen.jsonl"]
        rows = folder.state(data)
        stores.append([{k: v for k, v in row.items() if k != "path"} for row in rows])
        asked.append(calls.read_text().count("\n"))
    assert stores[0] == stores[1]
    assert len(stores[0][0]["visits"]) > 1
    # Not heard twice, but for the clips that two threads had in hand at each kill.
    assert asked[0] > 12
    assert asked[0] <= asked[1] <= asked[0] + 2 * 2
