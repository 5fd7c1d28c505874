"""A store that is protected: nothing plain is left, everything is there, and a crash leaves one or the other."""

from __future__ import annotations

import functools
import itertools
import os
import shutil
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from filled import PASSPHRASE, SOUND, TEXT, fill, told

from desk.so_far import remembered
from dictate import journals, read
from dictate.journal import Journal
from shared.errors import BadInput, StoreError
from shared.protecting import files, key_file, staging, unlocking
from shared.store import Store, opening, protecting


@pytest.fixture
def data(tmp_path: Path) -> Iterator[Path]:
    fill(tmp_path / "data", tmp_path / "source")
    yield tmp_path / "data"
    unlocking.forget()


def protect(folder: Path) -> str:
    shown: list[str] = []
    assert protecting.protect(folder, PASSPHRASE, show=shown.append, progress=lambda size: None) == []
    return shown[0]


def state(folder: Path) -> list[object]:
    """All that a store holds, as far as a person could tell."""
    with Store(folder) as store:
        verified = store.verify()
        rows = store.visits().rows
        sounds = [store.sound(row.id) for row in store.recordings()]
        words = store.visits(words="treacle").rows
        assert verified.faults == ()
        return [
            verified,
            rows,
            [store.visit(row.id) for row in rows],
            store.people(),
            words,
            [store.history(row.id) for row in rows],
            [read.read(sound).samples.tobytes() for sound in sounds if sound],
        ]


def test_everything_is_there_and_nothing_can_be_read(data: Path) -> None:
    before = state(data)
    assert before[-1]
    recovery = protect(data)
    assert told(data) == []
    assert state(data) == before
    assert told(data) == []
    (left,) = journals.unfinished(data / "listening")
    assert (left.seconds, left.who, len(left.pauses), left.closed) == (2.0, "Ann Example", 1, True)
    assert remembered(left.path.with_name(f"{left.id}.heard"), 9.0)[0].text == TEXT
    assert not list(data.glob("*before*"))
    assert not list(data.rglob("*.part"))
    assert not (data / staging.MARK).exists()
    unlocking.forget()
    text = unlocking.read_key_file(data)
    assert key_file.open_with_recovery(text, recovery, data) == key_file.open_with_passphrase(
        text, PASSPHRASE, data
    )


def test_a_left_over_dictation_goes_on_sealed(data: Path) -> None:
    protect(data)
    (left,) = journals.unfinished(data / "listening")
    journal = Journal.reopen(data / "listening", left.id)
    assert journal.received == len(SOUND)
    journal.write(SOUND)
    journal.close()
    assert read.read(left.path).samples.tobytes() == SOUND + SOUND
    assert told(data) == []


def test_a_new_store_can_be_protected_and_used(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    Store(folder).close()
    protect(folder)
    fill(folder, tmp_path / "source")
    (folder / "earside-before-2.db").unlink()
    for path in (
        folder / ".earside-a1b2",
        folder / "recordings/.0011.part",
        folder / f"importing/{'a' * 64}.json",
    ):
        path.unlink()  # `fill` writes these as they were before
    assert told(folder) == []
    assert len(state(folder)[1]) == 3  # type: ignore[arg-type]
    unlocking.forget()


def test_what_it_refuses_and_then_nothing_has_changed(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = state(data)

    def refused(match: str, error: type[Exception] = StoreError) -> None:
        there = sorted(p.name for p in data.rglob("*") if p.name != protecting.LOCK and p.is_file())
        with pytest.raises(error, match=match):
            protect(data)
        now = sorted(p.name for p in data.rglob("*") if p.name != protecting.LOCK and p.is_file())
        assert [n for n in now if not n.endswith(("-wal", "-shm"))] == [
            n for n in there if not n.endswith(("-wal", "-shm"))
        ]
        assert state(data) == before

    with monkeypatch.context() as patched:
        patched.setattr("shared.store.protecting._SLACK_BYTES", 1 << 60)
        refused("there is no room")
    with monkeypatch.context() as patched:
        patched.setattr("shared.store.protecting._same", lambda db, table: False)
        refused("its sealed copy is not the same")
    with monkeypatch.context() as patched:
        patched.setattr(staging, "_taken", lambda pieces, each, *, journal: iter([b"other"]))
        refused("its sealed copy is not the same")
    with monkeypatch.context() as patched:
        patched.setattr(
            "shared.store.protecting._seal_database",
            lambda *given: (_ for _ in ()).throw(OSError(28, "No space left")),
        )
        refused("cannot be protected")
    with protecting.alone(data):
        refused("by another program")
    with pytest.raises(BadInput, match="at least 12"):
        protecting.protect(data, "short", show=print, progress=lambda size: None)
    protect(data)
    with pytest.raises(BadInput, match="protected already"):
        protect(data)
    assert state(data) == before


def test_without_its_key_file_it_is_refused_and_no_new_store_is_made(data: Path) -> None:
    protect(data)
    held = (data / key_file.NAME).read_bytes()
    (data / key_file.NAME).unlink()
    with pytest.raises(StoreError, match=r"key file earside\.key is missing"):
        Store(data)
    assert not (data / opening.PLAIN_NAME).exists()
    (data / key_file.NAME).write_bytes(held)
    assert len(state(data)[1]) == 3  # type: ignore[arg-type]


def test_a_program_that_has_the_plain_store_open_is_told(data: Path) -> None:
    """It would write into a file that is gone."""
    with Store(data) as store:
        (data / key_file.NAME).write_bytes(b"{}")  # as another program does
        with pytest.raises(StoreError, match="was protected or opened by another program meanwhile"):
            store.set_person("Ben Sample", "assistant")
        (data / key_file.NAME).unlink()
        assert [person.name for person in store.people()] == ["Ann Example"]


def test_a_changed_page_of_the_database_is_refused(data: Path) -> None:
    protect(data)
    path = data / opening.PROTECTED_NAME
    held = bytearray(path.read_bytes())
    for page in range(1, len(held) // 4096):
        held[page * 4096 + 100] ^= 1
    path.write_bytes(held)
    with pytest.raises(StoreError, match=r"is damaged|does not open with the key"), Store(data) as store:
        store.verify()


def test_the_copy_before_an_upgrade_is_encrypted(data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from shared.store import schema  # noqa: PLC0415

    protect(data)
    number = len(schema.MIGRATIONS) + 1
    monkeypatch.setattr(
        schema, "MIGRATIONS", (*schema.MIGRATIONS, lambda db: db.execute("CREATE TABLE more (a)"))
    )
    assert len(state(data)[1]) == 3  # type: ignore[arg-type]
    copy = data / f"earside-protected-before-{number}.db"
    assert copy.stat().st_size > 50_000
    assert told(data) == []
    connection = opening.connect(copy, unlocking.vault(data))
    assert connection.execute("SELECT count(*) FROM visits").fetchone() == (3,)
    connection.close()


def child(folder: Path, ends_at: int | None = None) -> int:
    """Protect in a process of its own, which ends by itself at the so-manieth call that leads to the disk."""
    pid = os.fork()
    if pid:
        return pid
    try:
        if ends_at is not None:
            left = itertools.count(ends_at, -1)
            for name in ("fsync", "replace", "unlink", "open"):
                setattr(os, name, functools.partial(_counted, getattr(os, name), left))
        protecting.protect(folder, PASSPHRASE, show=lambda key: None, progress=lambda size: None)
        os._exit(0)
    finally:
        os._exit(1)


def _counted(real: Callable[..., object], left: Iterator[int], *given: object, **named: object) -> object:
    if next(left) <= 0:
        os._exit(9)
    return real(*given, **named)


def after_a_crash(data: Path, before: list[object]) -> bool:
    """Checks that it is the old store or the new one, whole; whether it is the new one."""
    unlocking.forget()
    new = key_file.is_there(data)
    if new:
        unlocking.hold(data, key_file.open_with_passphrase(unlocking.read_key_file(data), PASSPHRASE, data))
    assert state(data) == before
    names = [path.name for path in data.rglob("*")]
    assert staging.MARK not in names
    assert any(name.endswith(".sealed") for name in names) == new
    assert (opening.PROTECTED_NAME in names, opening.PLAIN_NAME in names) == (new, not new)
    assert not any(name.endswith(".staged") for name in names)
    if new:
        assert told(data) == []
    (left,) = journals.unfinished(data / "listening")
    assert left.seconds == 2.0
    assert len(left.pauses) == 1
    assert files.is_sealed(left.path) == new
    return new


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_ended_at_any_call_it_is_the_old_store_or_the_new_one(data: Path, tmp_path: Path) -> None:
    """Every call that opens, flushes, renames or removes a file is a place to end at; some are taken."""
    before, outcomes = state(data), list[bool]()
    for at in (*range(1, 20, 4), *range(20, 400, 9)):
        here = shutil.copytree(data, tmp_path / f"at{at}")
        code = os.waitstatus_to_exitcode(os.waitpid(child(here, at), 0)[1])
        assert code in (0, 9)
        outcomes.append(after_a_crash(here, before))
        shutil.rmtree(here)
        if code == 0:
            break
    assert code == 0
    assert outcomes == sorted(outcomes)  # the old one before a certain call, the new one after it
    assert (outcomes[0], outcomes.count(True) > 2) == (False, True)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_killed_at_any_time_it_is_the_old_store_or_the_new_one(data: Path, tmp_path: Path) -> None:
    before = state(data)
    for number, wait in enumerate((0.05, 0.2, 0.4)):
        here = shutil.copytree(data, tmp_path / f"kill{number}")
        pid = child(here)
        time.sleep(wait)
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        after_a_crash(here, before)
