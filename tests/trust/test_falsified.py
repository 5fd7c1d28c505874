"""Whoever changes, removes or reorders any of the history with a database tool is found out, and what is named.

The triggers that refuse such changes are taken away first, as anybody with the file can do.
"""

from __future__ import annotations

import datetime
import re
import shutil
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from stock import ANN, change, fill

from desk.cli import cli
from shared.store import Store, schema

NAMED = re.compile(r"(entry|entries|visit|count of|rule) ?\d*|role|password")
TABLES = {
    "entries": ("seq", "visit_id", "kind", "who", "at", "content", "content_hash", "previous", "hash"),
    "signatures": ("visit_id", "entry", "who", "role", "at", "reason"),
    "edits": ("entry", "visit_id", "field", "ear", "before", "after", "heard", "undone"),
    "recalls": ("entry", "visit_id", "what", "until", "who", "at"),
    "agreements": ("entry", "visit_id", "what", "who", "at"),
    "people": ("role", "active"),
    "accounts": ("secret",),
    "rules": ("name", "value"),
    "visits": ("status", "record", "transcript_id", "when_at", "when_from", "clinician", "patient_reference", "ears",
               "to_check", "to_decide"),
    "findings": ("visit_id", "path", "field", "ear", "value", "certainty", "heard", "when_at"),
    "notices": ("visit_id", "message", "must_decide", "decided"),
    "transcripts": ("text", "words"),
    "tallies": ("n",),
}  # fmt: skip
"""What the history vouches for, by table and column."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with rows in all of the tables, and no triggers to guard them."""
    data = tmp_path_factory.mktemp("falsified") / "data"
    fill(data, recordings=2)
    with Store(data) as store:
        store.set_agreement(1, "agreed", ANN)
        store.set_lock_minutes(7, by=ANN)
        store.set_password(ANN, "correct horse battery staple", by=ANN)
        assert store.verify().faults == ()
    with sqlite3.connect(data / "earside.db") as db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {name}")
    return data


def changed(folder: Path, *statements: tuple[str, tuple[object, ...]]) -> tuple[str, ...]:
    """What `verify` finds after these statements on a copy of the store."""
    copy = folder.with_name("changed")
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(folder, copy)
    with sqlite3.connect(copy / "earside.db") as db:
        db.execute("PRAGMA foreign_keys = OFF")
        db.execute("PRAGMA ignore_check_constraints = ON")
        for sql, values in statements:
            db.execute(sql, values)
    with Store(copy) as store:
        return store.verify().faults


def rows_of(folder: Path, table: str) -> list[int]:
    with sqlite3.connect(folder / "earside.db") as db:
        return [n for (n,) in db.execute(f"SELECT rowid FROM {table}")]


@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_any_changed_value_is_found(folder: Path, data: st.DataObject) -> None:
    table = data.draw(st.sampled_from(sorted(TABLES)))
    there = rows_of(folder, table)
    row, column = data.draw(st.sampled_from(there)), data.draw(st.sampled_from(TABLES[table]))
    with sqlite3.connect(folder / "earside.db") as db:
        (old,) = db.execute(f"SELECT {column} FROM {table} WHERE rowid = ?", (row,)).fetchone()
        if column in ("undone", "active"):
            new: object = 1 - old
        elif isinstance(old, int):
            new = old + data.draw(st.integers(1, 90))
        elif old is None:
            new = "Ben Sample"
        else:
            text = str(old)
            at = data.draw(st.integers(0, max(len(text) - 1, 0)))
            new = (
                text[:at]
                + data.draw(st.sampled_from("0aZ é").filter(lambda c: c != text[at : at + 1]))
                + text[at + 1 :]
            )
    if table == "visits" and column == "record":
        new = (
            str(old)
            .replace("sixteen", "seventeen", 1)
            .replace('"value":9', '"value":8', 1)
            .replace("Right", "Left", 1)
        )
    faults = changed(folder, (f"UPDATE OR IGNORE {table} SET {column} = ? WHERE rowid = ?", (new, row)))
    with sqlite3.connect(folder.with_name("changed") / "earside.db") as db:
        now = db.execute(f"SELECT {column} FROM {table} WHERE rowid = ?", (row,)).fetchone()
    if now == (old,):  # it would have been a second row of the same key
        return
    assert faults, (table, column, old, new)
    assert all(NAMED.search(fault) for fault in faults), faults


NEVER_WRITTEN = (b"\xff\x00", "\x00", "{", "[]", "null", '{"lost": [[1, 9e9]]}', -1, 1 << 62, 0.5, None)
"""Values of sorts that Earside writes nowhere, and a number by which a checker that counts up to it would die."""


@pytest.mark.parametrize("table", TABLES)
def test_a_value_that_is_never_written_is_found_and_ends_no_checking(folder: Path, table: str) -> None:
    tried = 0
    for column in TABLES[table]:
        row = rows_of(folder, table)[-1]
        for new in NEVER_WRITTEN:
            try:
                faults = changed(folder, (f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (new, row)))
            except sqlite3.IntegrityError:  # NULL where there can be none
                continue
            with sqlite3.connect(folder / "earside.db") as db:
                (old,) = db.execute(f"SELECT {column} FROM {table} WHERE rowid = ?", (row,)).fetchone()
            if old != new:
                tried += 1
                assert faults, (column, new)
                assert all(NAMED.search(fault) for fault in faults), faults
    assert tried >= 5


@pytest.mark.parametrize("table", [t for t in TABLES if t != "visits"])
def test_any_removed_row_is_found(folder: Path, table: str) -> None:
    there = rows_of(folder, table)
    if table == "tallies":  # a count of none says nothing
        with sqlite3.connect(folder / "earside.db") as db:
            there = [n for (n,) in db.execute("SELECT rowid FROM tallies WHERE n > 0")]
    assert there
    for row in there[:-1] if table == "entries" else there[:4]:
        assert changed(folder, (f"DELETE FROM {table} WHERE rowid = ?", (row,))), row


def test_entries_in_another_order_are_found_and_named(folder: Path) -> None:
    swap = [
        ("UPDATE entries SET seq = -1 WHERE seq = 5", ()),
        ("UPDATE entries SET seq = 5 WHERE seq = 6", ()),
        ("UPDATE entries SET seq = 6 WHERE seq = -1", ()),
    ]
    faults = changed(folder, *swap)
    assert any("entry 5" in fault for fault in faults)
    assert any("entry 6" in fault for fault in faults)


def test_a_clock_that_goes_back_is_named_and_no_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a clock put back, or its battery dead, times in the history no longer tell the order; numbers do."""
    fill(tmp_path / "data", recordings=2)

    class Earlier(datetime.datetime):
        @classmethod
        def now(cls, tz: datetime.tzinfo | None = None) -> Earlier:
            return cls.fromisoformat("2001-02-03T04:05:06+00:00")

    with Store(tmp_path / "data") as store:
        assert store.verify().notes == ()
        monkeypatch.setattr(schema, "datetime", Earlier)
        change(store, 4, 33)
        found = store.verify()
    assert found.faults == ()
    (note,) = found.notes
    assert f"entry {found.entries}: the clock had gone back" in note
    assert "2001-02-03T04:05" in note
    told = CliRunner().invoke(cli, ["verify", "--data", str(tmp_path / "data")], prog_name="earside")
    assert (told.exit_code, note in told.stdout) == (0, True)
