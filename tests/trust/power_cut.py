"""A power cut, imitated: what a program wrote to a folder is written down call by call, and made anew as a disk may
hold it whose power failed at some moment.

What was synced (fsync(2), fdatasync(2)) is there. Of what was not, each write is there, is not, or is torn at a
sector, whatever the order. Names (created, renamed, removed) come to the disk in their order, as journalling file
systems have it; a sync takes with it those before it. Calls are seen by strace(1), with their bytes.

    python tests/trust/power_cut.py [TIMES] [STARTING NUMBER]
"""

from __future__ import annotations

import collections
import hashlib
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from working import PASSPHRASE

from desk.safekeeping import archive
from shared.protecting import files, key_file, unlocking
from shared.store import Store
from shared.store.protecting import clear_up

HERE = Path(__file__).parent
SECTOR = 512
CALLS = ("openat,open,creat,write,pwrite64,writev,pwritev,pwritev2,sendfile,copy_file_range,fallocate,fsync,fdatasync,"
         "ftruncate,truncate,rename,renameat,renameat2,link,linkat,unlink,unlinkat,mkdir,mkdirat,rmdir,lseek,"
         "close")  # fmt: skip
_CALL = re.compile(r"^\d+ +(\w+)\((.*)\) += (-?\d+)")
_QUOTED = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')
_SHOWN = re.compile(r"<((?:\\x[0-9a-f]{2})*)>")


@dataclass(frozen=True)
class Event:
    """One thing that a program did. what: make, folder, write, cut (to a length), sync, move, remove, told."""

    what: str
    path: str
    at: int = 0
    data: bytes = b""
    to: str = ""


def watch(command: Sequence[str], folder: Path, env: dict[str, str], calls: Path) -> list[Event]:
    """Run a command of one process; what it did in a folder, in order. What it writes to the folder's `told` is what
    it acknowledges. Raises RuntimeError if it fails or does what is not known here."""
    traced = ["strace", "-f", "--seccomp-bpf", "-qq", "-y", "-xx", "-s", "10000000", "-e", f"trace={CALLS}"]
    done = subprocess.run(
        [*traced, "-o", str(calls), *command], env=env, capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise RuntimeError(done.stderr)
    return list(_events(calls, str(folder)))


def _text(found: re.Match[str]) -> bytes:
    return bytes.fromhex(found[1].replace("\\x", ""))


def _events(calls: Path, folder: str) -> Iterator[Event]:
    places: dict[str, int] = {}  # where each descriptor stands in its file
    appending: dict[str, str] = {}
    lengths: dict[str, int] = {}
    hidden = folder.encode().hex()
    with calls.open() as lines:
        for line in lines:
            call = _CALL.match(line)
            if call is None or int(call[3]) < 0:
                if "unfinished" in line and hidden in line.replace("\\x", ""):
                    raise RuntimeError(f"two threads write at once: {line[:200]}")
                continue
            name, given, came = call[1], call[2], int(call[3])
            number = given.split("<", 1)[0].split(",", 1)[0]
            shown = _SHOWN.search(given)
            path = _text(shown).decode(errors="replace") if shown else ""
            texts = [_text(found) for found in _QUOTED.finditer(given)]
            if name in ("openat", "open", "creat"):
                opened = _SHOWN.search(line, call.end(3))
                where = _text(opened).decode(errors="replace") if opened else ""
                places[str(came)], appending[str(came)] = 0, where if "O_APPEND" in given else ""
                if where.startswith(folder) and "O_CREAT" in given:
                    lengths.setdefault(where, 0)
                    yield Event("make", where)
                if where.startswith(folder) and "O_TRUNC" in given:
                    lengths[where] = 0
                    yield Event("cut", where)
                continue
            if name == "lseek":
                places[number] = came
                continue
            if name == "close":
                continue
            names = [_absolute(text, folder, path) for text in texts]
            if name.startswith("rename") and (names[0].startswith(folder) or names[1].startswith(folder)):
                lengths[names[1]] = lengths.pop(names[0], 0)
                yield Event("move", names[0], to=names[1])
            elif name in ("unlink", "unlinkat", "rmdir") and names[0].startswith(folder):
                lengths.pop(names[0], None)
                yield Event("remove", names[0])
            elif name in ("mkdir", "mkdirat") and names[0].startswith(folder):
                yield Event("folder", names[0])
            elif not path.startswith(folder) or "(deleted)" in line:
                continue
            elif name in ("write", "pwrite64"):
                at = int(given.rsplit(",", 1)[1]) if name == "pwrite64" else places.get(number, 0)
                at = lengths.get(path, 0) if appending.get(number) == path else at
                data = texts[0][:came]
                lengths[path] = max(lengths.get(path, 0), at + came)
                if name == "write":
                    places[number] = at + came
                yield Event("told" if path == f"{folder}/told" else "write", path, at, data)
            elif name == "ftruncate":
                lengths[path] = int(given.rsplit(",", 1)[1])
                yield Event("cut", path, lengths[path])
            elif name in ("fsync", "fdatasync"):
                yield Event("sync", path)
            else:
                raise RuntimeError(f"a call that is not known here: {line[:200]}")


def _absolute(name: bytes, folder: str, beside: str) -> str:
    text = name.decode(errors="replace")
    return text if text.startswith("/") else f"{beside}/{text}"


@dataclass
class _File:
    """What is on the disk for certain, and what is on its way: writes and cuts, in order."""

    safe: bytearray = field(default_factory=bytearray)
    waiting: list[Event] = field(default_factory=list)


def _put(content: bytearray, event: Event, length: int | None = None) -> None:
    if event.what == "cut":
        del content[event.at :]
        content.extend(bytes(event.at - len(content)))
        return
    data = event.data if length is None else event.data[:length]
    content.extend(bytes(max(event.at - len(content), 0)))
    content[event.at : event.at + len(data)] = data


class Disk:
    """A folder as it may be after the power failed behind so many events."""

    def __init__(self, events: Sequence[Event], folder: str) -> None:
        self._folder = folder
        self._now: dict[str, _File | None] = {folder: None}  # by name, as the program sees it; None: a folder
        self._names: dict[str, _File | None] = {folder: None}  # as the disk has it for certain
        self._changes: list[tuple[str, str, _File | None]] = []  # of names, on their way
        self.told = b""
        for event in events:
            self._do(event)

    def _do(self, event: Event) -> None:
        path, now = event.path, self._now
        if event.what == "told":
            self.told += event.data
        elif event.what in ("make", "folder") and path not in now:
            now[path] = _File() if event.what == "make" else None
            self._changes.append(("put", path, now[path]))
        elif event.what == "move":
            for name in [n for n in now if n == path or n.startswith(path + "/")]:
                now[event.to + name[len(path) :]] = now.pop(name)
            self._changes.append(("move " + path, event.to, None))
        elif event.what == "remove":
            now.pop(path, None)
            self._changes.append(("take", path, None))
        elif event.what in ("write", "cut") and (file := now.get(path)):
            file.waiting.append(event)
        elif event.what == "sync":
            if file := now.get(path):
                for one in file.waiting:
                    _put(file.safe, one)
                file.waiting.clear()
            self._settle(self._names, len(self._changes))
            self._changes.clear()

    def _settle(self, names: dict[str, _File | None], count: int) -> None:
        for what, path, file in self._changes[:count]:
            if what == "put":
                names[path] = file
            elif what == "take":
                names.pop(path, None)
            else:
                old = what.removeprefix("move ")
                for name in [n for n in names if n == old or n.startswith(old + "/")]:
                    names[path + name[len(old) :]] = names.pop(name)

    def leave(self, to: Path, chance: random.Random) -> None:
        """Make the folder anew as the disk may hold it."""
        names = dict(self._names)
        self._settle(names, chance.randrange(len(self._changes) + 1))
        kept = chance.choice((0, 0.3, 0.7, 0.95, 1))
        for name, file in sorted(names.items()):
            place = to / name[len(self._folder) :].lstrip("/")
            if file is None:
                place.mkdir(parents=True, exist_ok=True)
                continue
            content = bytearray(file.safe)
            for event in file.waiting:
                if chance.random() < kept:
                    torn = event.what == "write" and len(event.data) > SECTOR and chance.random() < 0.2
                    _put(content, event, chance.randrange(0, len(event.data), SECTOR) if torn else None)
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(content)
            place.chmod(0o600)


def moments(events: Sequence[Event], chance: random.Random) -> Iterator[int]:
    """Where the power fails: anywhere, and as often beside a sync, a change of names or an acknowledgement."""
    rare = [n for n, event in enumerate(events) if event.what not in ("write", "make")]
    while True:
        yield chance.randrange(1, len(events) + 1)
        yield min(chance.choice(rare) + chance.randrange(3), len(events))


def look(folder: Path, told: bytes) -> str:
    """Look at what a power cut left of `working.py`; how far it had come. Raises AssertionError."""
    lines = told.decode().splitlines()
    last = json.loads(lines[-1]) if lines else {"entries": 0}
    data = folder / "data"
    _holds(data, last.get("head"))
    if last.get("protected"):
        assert key_file.is_there(data), "it is not protected any more"
    for name in ("data", "restored"):
        if (folder / name).is_dir() and key_file.is_there(folder / name):
            assert not list((folder / name).glob("earside.db*")), "a plain database is left"
    if "backup" in last or (folder / "backup.zip").exists():
        archive.check(folder / "backup.zip")
    if "restored" in last or (folder / "restored").exists():
        _holds(folder / "restored", None)
    return f"step {len(lines)}"


def _holds(data: Path, head: str | None) -> None:
    unlocking.forget()
    if key_file.is_there(data):
        text = unlocking.read_key_file(data)
        unlocking.hold(data, key_file.open_with_passphrase(text, PASSPHRASE, data))
    clear_up(data)
    with Store(data) as store:
        assert store.verify().faults == ()
        if head is not None:
            assert store.has_entry(head), "what was acknowledged is not there"
        kept = store._rows(
            "SELECT id, sha256 FROM recordings WHERE sound IS NOT NULL AND sound_erased IS NULL"
        )
        for row in kept:
            place = store.sound(row["id"])
            assert place is not None, "a recording is not there"
            with files.opened(place) as reading:
                assert hashlib.sha256(reading.read()).hexdigest() == row["sha256"], "a recording is not whole"
    with Store(data) as store:  # and holds when it is opened again
        assert store.verify().faults == ()


def main(times: int = 40, start: int = 8, *, waiting: bool = True) -> collections.Counter[str]:
    """Cut the power so many times; how far the work had come, by how often. waiting: False as if nothing had been
    synced."""
    found, chance = collections.Counter[str](), random.Random(start)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place).resolve() / "watched"
        folder.mkdir()
        env = {**os.environ, "PYTHONPATH": str(HERE.parents[1])}
        events = watch(
            [sys.executable, str(HERE / "working.py"), str(folder)], folder, env, Path(place) / "calls"
        )
        if not waiting:
            events = [event for event in events if event.what != "sync"]
        when = moments(events, chance)
        for number in range(times):
            left = Path(place).resolve() / f"left-{number}"
            disk = Disk(events[: next(when)], str(folder))
            disk.leave(left, chance)
            found[look(left, disk.told)] += 1
            shutil.rmtree(left)
    return found


if __name__ == "__main__":
    came = main(*(int(a) for a in sys.argv[1:]))
    print(dict(sorted(came.items())))
    print(
        f"{sum(came.values())} power cuts; the store opened and verified after each, nothing acknowledged was lost"
    )
