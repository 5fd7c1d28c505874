"""Damage: each sort is said clearly, and what can be read is saved into a new store, with what is lost named."""

from __future__ import annotations

import os
import random
import re
import resource
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from itertools import islice
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from harming import KINDS, Pages, harm
from stock import ANN, change, fill

from desk.cli import cli
from desk.safekeeping.mending import mend
from shared.errors import EarsideError, StoreError
from shared.store import Store, StoredVisit, salvage

HERE = Path(__file__).parent
MOST_MORE_KB = 100_000
"""A store of some hundred pages must not take more memory than that beyond what the tests have, however damaged."""
IN_A_ROOM = ["unshare", "--user", "--map-root-user", "--mount"]


def earside(data: Path, *arguments: str) -> Result:
    return CliRunner().invoke(cli, [*arguments, "--data", str(data)], prog_name="earside")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store in one file, some hundred pages, its log written back."""
    data = tmp_path_factory.mktemp("damage") / "data"
    fill(data, recordings=8)
    with Store(data) as store:
        for n in range(60):
            change(store, 5, n % 30 + 1)
    return data


def visits(data: Path) -> dict[int, StoredVisit]:
    with Store(data) as store:
        return {n: store.visit(n) for (n,) in store._db.execute("SELECT id FROM visits").fetchall()}


def copied(whole: Path, tmp_path: Path) -> Path:
    shutil.copytree(whole, tmp_path / "data")
    return tmp_path / "data"


def saved(data: Path, to: Path, before: dict[int, StoredVisit]) -> tuple[str, ...]:
    """Mend, and hold what is saved against what was there: every difference must be named. Returns what is lost."""
    content = {p: p.read_bytes() for p in data.rglob("*") if p.is_file()}
    done = mend(data, to)
    assert {
        p: p.read_bytes() for p in data.rglob("*") if p.is_file()
    } == content  # the damaged one stays as it is
    after, told = visits(to), " ".join(done.lost)
    gone = [n for a, b in re.findall(r"visits (\d+) to (\d+):", told) for n in range(int(a), int(b) + 1)]
    for number, visit in before.items():
        if number > max(after, default=0):  # cut off the end, of which nothing tells how many there were
            assert "visits: some rows cannot be read" in done.lost
        elif f"visit {number}:" not in told and number not in gone:
            assert after[number].visit == visit.visit, (number, done.lost)
            assert after[number].status == visit.status, (number, done.lost)
    with Store(to) as store:
        found = store.verify()
        assert found.faults == (), (found.faults, done.lost)
        store.set_person(ANN, "clinician")
        draft = next((v.id for v in store.visits().rows if v.status == "draft"), None)
        if draft:  # and it is worked on as any
            change(store, draft, 39)
            store.undo(draft, ANN, revision=store.visit(draft).revision)
            store.sign(draft, ANN, revision=store.visit(draft).revision)
        assert store.verify().faults == ()
    return done.lost


def test_an_undamaged_store_loses_nothing(whole: Path, tmp_path: Path) -> None:
    data = copied(whole, tmp_path)
    assert saved(data, tmp_path / "saved", visits(whole)) == ()
    assert sorted(p.name for p in (tmp_path / "saved" / "recordings").iterdir()) == sorted(
        p.name for p in (data / "recordings").iterdir()
    )


@pytest.mark.parametrize("seed", range(int(os.environ.get("EARSIDE_DAMAGES", "24"))))
def test_a_damaged_page_is_told_and_the_rest_saved(whole: Path, tmp_path: Path, seed: int) -> None:
    """A page of noise, of zeros, of another place: as failing disks give; never the first, which is tried below."""
    before, chance = visits(whole), random.Random(seed)
    data = copied(whole, tmp_path)
    file, kind = data / "earside.db", list(KINDS)[seed % len(KINDS)]
    harm(file, kind, chance)
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    told = earside(data, "verify")
    assert told.exit_code in (0, 1)
    assert "did not expect" not in told.stderr, told.stderr
    refused = ""
    try:
        saved(data, tmp_path / "saved", before)
    except StoreError as fault:
        refused = fault.what
    if refused:
        assert refused == "not even its list of tables can be read"
        assert hopeless(file, whole / "earside.db")
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - most < MOST_MORE_KB


def test_numbers_out_of_order_are_read_once(tmp_path: Path) -> None:
    """Behind rows whose numbers go down stands one that cannot be read: to go on behind the last would never end."""
    file = tmp_path / "a.db"
    with closing(sqlite3.connect(file)) as db:
        db.execute("CREATE TABLE a (id INTEGER PRIMARY KEY, b TEXT)")
        db.executemany("INSERT INTO a VALUES (?, ?)", [(n, "x" * 900) for n in range(1, 13)])
        db.commit()
        assert {kind for _, kind, *_ in salvage_pages(file)} >= {0x0D}
    page = next(n for n, kind, *_ in salvage_pages(file) if kind == 0x0D and n > 1)
    pages = Pages(file)
    held = bytearray(pages[page])
    cells = [
        int.from_bytes(held[8 + 2 * n : 10 + 2 * n], "big") for n in range(int.from_bytes(held[3:5], "big"))
    ]
    numbers = [held[at + 2] for at in cells]
    held[cells[-2] + 2] = numbers[0]  # a number that was there already
    held[cells[-1] : cells[-1] + 2] = b"\xff\xff"  # a length beyond the file
    pages[page] = bytes(held)
    with closing(sqlite3.connect(file)) as db:
        found = list(islice(salvage._rows(db, "a"), 100))
    there = [row[0] for row in found if row]
    assert len(found) < 30
    assert sorted(set(there)) == sorted(there)
    assert set(range(1, 13)) - set(there) <= {numbers[-2], numbers[-1]}


def salvage_pages(file: Path) -> list[tuple[int, int]]:
    """Number and kind of each page."""
    pages = Pages(file)
    return [(n, pages[n][100 if n == 0 else 0]) for n in range(pages.count)]


def hopeless(file: Path, whole: Path) -> bool:
    """Whether SQLite itself cannot read the list of tables, or reads another."""

    def tables(place: Path) -> list[tuple[object, ...]]:
        with closing(sqlite3.connect(f"file:{place}?immutable=1", uri=True)) as db:
            return db.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()

    try:
        return tables(file) != tables(whole)
    except (sqlite3.DatabaseError, UnicodeDecodeError):
        return True


def test_a_damaged_first_page_and_a_cut_off_file(whole: Path, tmp_path: Path) -> None:
    before = visits(whole)
    for n, part in enumerate((0.95, 0.8, 0.1)):
        data = copied(whole, tmp_path / str(n))
        os.truncate(data / "earside.db", round((data / "earside.db").stat().st_size * part))
        told = earside(data, "list")
        assert told.exit_code == 1
        assert "is damaged" in told.stderr
        assert "earside mend" in told.stderr
        if part == 0.1:  # the tables' own list is cut off
            with pytest.raises(StoreError, match="not even its list of tables"):
                mend(data, tmp_path / "none")
        else:
            assert saved(data, tmp_path / str(n) / "saved", before)
    data = copied(whole, tmp_path / "first")
    with (data / "earside.db").open("r+b") as writing:
        writing.write(bytes(200))
    for command in (("list",), ("mend", str(tmp_path / "x"))):
        told = earside(data, *command)
        assert (told.exit_code, told.stderr.count("\n")) == (1, 1)
    assert "earside restore" in told.stderr
    assert not (tmp_path / "x").exists()


WRITER = """
import pathlib, sys
sys.path.insert(0, sys.argv[2])
from stock import *
with Store(pathlib.Path(sys.argv[1])) as store:
    for n in range(100_000):
        change(store, 4, n % 39 + 1)
        print(store.verify().head if n == 40 else n, flush=True)
"""


def writer(data: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(data), str(HERE)], stdout=subprocess.PIPE, text=True
    )


def test_a_missing_log_is_known_by_the_last_hash(tmp_path: Path) -> None:
    """Without the log beside it, the file is an earlier state, whole in itself: only a hash kept elsewhere tells."""
    data = tmp_path / "data"
    fill(data, recordings=2)
    with writer(data) as running:
        assert running.stdout
        head = [running.stdout.readline().strip() for _ in range(41)][-1]
        running.kill()
    assert (data / "earside.db-wal").stat().st_size
    kept = shutil.copytree(data, tmp_path / "kept")
    assert earside(kept, "verify", "--head", head).exit_code == 0
    (data / "earside.db-wal").unlink()
    (data / "earside.db-shm").unlink(missing_ok=True)
    assert earside(data, "verify").exit_code == 0
    told = earside(data, "verify", "--head", head)
    assert told.exit_code == 1
    assert "entries at its end are missing" in told.stderr
    assert "earside.db-wal" in told.stderr


def _room(script: str, *arguments: str) -> str:
    """Run a script in a mount namespace of its own; skips where the system allows none."""
    if (
        not shutil.which("unshare")
        or subprocess.run([*IN_A_ROOM, "true"], capture_output=True, check=False).returncode
    ):
        pytest.skip("this system lets nobody make a mount namespace (unshare)")
    env = {**os.environ, "PYTHONPATH": str(HERE.parents[1]), "PY": sys.executable}
    done = subprocess.run(
        [*IN_A_ROOM, "bash", "-ec", script, "bash", *arguments],
        env=env,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout + done.stderr


def test_a_disk_that_lets_nothing_be_written(tmp_path: Path) -> None:
    fill(tmp_path / "data", recordings=2)
    told = _room(
        'mount --bind "$1" "$1"; mount -o remount,ro,bind "$1"; set +e\n'
        '"$PY" -m desk.cli list --data "$1"; echo "exit $?"\n'
        '"$PY" -m desk.cli sign 4 --by "Ann Example" --data "$1"; echo "exit $?"',
        str(tmp_path / "data"),
    )
    assert told.count("exit 1") == 2, told
    assert told.count("Check who may write to its folder") == 2, told
    assert "Traceback" not in told


def test_a_full_disk_loses_nothing_that_was_kept(tmp_path: Path) -> None:
    """A disk of 3 MB is filled by readings until it takes no more; then room is made, and it goes on."""
    told = _room(
        'mount -t tmpfs -o size=3m none "$1"; set +e\n'
        'dd if=/dev/zero of="$1/ballast" bs=1k count=500 status=none; cat > "$2/full.py" <<END\n'
        "import pathlib, sys\n"
        'sys.path.insert(0, sys.argv[2]); from stock import *; from shared.errors import StoreError\n'
        "data, kept = pathlib.Path(sys.argv[1]) / 'data', 0\n"
        "with Store(data) as store: store.set_person(ANN, 'clinician')\n"
        "try:\n"
        "    for n in range(3000):\n"
        "        with Store(data) as store:\n"
        "            transcript = Transcript.from_text((TEXT + ' ') * 20 + str(n))\n"
        "            store.keep(Recording(f'{n:064}', 'a.wav', 1, 'sound'), transcript, [visit(n % 30 + 1)])\n"
        "        kept += 1\n"
        "except StoreError as fault: print(fault.line)\n"
        "(pathlib.Path(sys.argv[1]) / 'ballast').unlink()\n"
        "with Store(data) as store:\n"
        "    assert kept > 20 and len(store.visits(limit=3000).rows) == kept, kept\n"
        "    change(store, 1, 9); assert store.verify().faults == ()\n"
        "print('kept', kept)\n"
        'END\n"$PY" "$2/full.py" "$1" "$3"',
        *(str(p) for p in (_made(tmp_path / "disk"), tmp_path, HERE)),
    )  # fmt: skip
    assert "the disk is full" in told or "the disk failed or is full" in told, told
    assert "kept" in told.splitlines()[-1], told


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def test_two_at_once_wait_for_each_other(tmp_path: Path) -> None:
    """One holds the write lock for longer than the other will wait: a clear message, and nothing is half done."""
    fill(tmp_path / "data", recordings=2)
    with sqlite3.connect(tmp_path / "data" / "earside.db") as held:
        held.execute("BEGIN IMMEDIATE")
        with Store(tmp_path / "data", wait_seconds=0.2) as store:
            before = store.verify()
            with pytest.raises(EarsideError, match="in use by another program"):
                change(store, 4, 9)
            assert store.verify() == before
    with Store(tmp_path / "data") as store:
        change(store, 4, 9)
        assert store.verify().entries == before.entries + 1
