"""A store of the first tables, filled as the first Earside filled it, becomes one of today; a copy stays."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlite_utils import Database

from shared.errors import NotAllowed, StoreError
from shared.record import Ear, Extent, Notice, Value, Visit
from shared.store import Recording, Store, schema
from shared.store.rows import record_json
from shared.transcript import Transcript

TEXT = "Right ear. Sixteen millimetres. Next patient. Left ear. A little bleeding."


def visit(mm: int, side: str, *, by_hand: bool = False) -> Visit:
    words = {} if by_hand else {"heard": "Sixteen millimetres", "chars": (11, 30)}
    return Visit(
        ears=[
            Ear(
                side=Value(value=side, heard="Right ear", chars=(0, 9)),
                removed_mm=[Value(value=mm, origin="entered" if by_hand else "heard", **words)],
            )
        ],
        extent=Extent(chars=(0, 31) if side == "right" else (46, 74), confidence=1),
        notices=[Notice(kind="x", weight=1, must_decide=True, message="Look.", guidance="ours")],
    )


@pytest.fixture
def first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Three visits: untouched, changed by a person, given way to a later reading; and a silent recording."""
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:1])
        Store(tmp_path).close()
    at = "2026-01-05T10:00:00.000Z"
    with sqlite3.connect(tmp_path / "earside.db") as db:
        db.execute("PRAGMA foreign_keys = ON")
        for n, (name, status) in enumerate([("a.wav", "read"), ("silent.wav", "no_speech")], 1):
            db.execute(
                "INSERT INTO recordings VALUES (?, ?, ?, 9, 9.5, 'sound', ?, ?)",
                (n, name * 8, name, status, at),
            )
            text = TEXT if n == 1 else "hum"
            db.execute(
                """INSERT INTO transcripts (id, recording_id, text, words, source, language, settings, added)
                VALUES (?, ?, ?, '[]', '', 'en', '{}', ?)""",
                (n, n, text, at),
            )
        made = [visit(16, "right"), visit(18, "left", by_hand=True), visit(99, "right")]
        for n, (v, status) in enumerate(zip(made, ("draft", "draft", "replaced"), strict=True), 1):
            db.execute(
                """INSERT INTO visits (id, transcript_id, ordinal, status, revision, char_start, char_end, record,
                added)
                VALUES (?, 1, ?, ?, 1, ?, ?, ?, ?)""",
                (n, n, status, *(v.extent.chars if v.extent else ()), record_json(v), at),
            )
            for path, value in (
                ("ears[0].side", v.ears[0].side),
                ("ears[0].removed_mm[0]", v.ears[0].removed_mm[0]),
            ):
                db.execute(
                    """INSERT INTO findings (visit_id, path, field, ear, value, certainty, origin, confidence,
                    changed_by)
                    VALUES (?, ?, ?, ?, ?, 'stated', ?, 1, 'earside')""",
                    (n, path, path[8:].removesuffix("[0]"), v.ears[0].side.value, value.value, value.origin),
                )
            db.execute(
                "INSERT INTO notices (visit_id, kind, weight, must_decide, path, message, guidance)"
                " VALUES (?, 'x', 1, 1, '', 'Look.', 'ours')",
                (n,),
            )
        db.execute(
            "UPDATE findings SET changed_by = 'Sister Okafor' WHERE visit_id = 2 AND field = 'removed_mm'"
        )
    db.close()
    return tmp_path


def test_everything_is_there_after_the_upgrade(first: Path) -> None:
    with Store(first) as store:
        assert store.verify().faults == ()
        rows = store.visits().rows
        assert [(r.id, r.ears, r.to_check, r.to_decide, r.when_from) for r in rows] == [
            (1, ("right",), 1, 1, "reading"),
            (2, ("left",), 1, 1, "reading"),
        ]
        assert store.visit(1).visit == visit(16, "right")
        assert store.visit(2).visit == visit(18, "left", by_hand=True)
        assert store.visit(3).status == "replaced"
        assert [r.id for r in store.visits(field="removed_mm", value=18).rows] == [2]
        assert [h.visits for h in store.search("bleeding")] == [(2,)]
        assert [h.recording for h in store.search("hum")] == ["silent.wav"]
        assert store.visits(field="removed_mm", value=99).rows == ()
        assert store.counts().draft == 2
        earlier = json.loads(store._rows("SELECT content FROM entries WHERE visit_id = 2")[0]["content"])[
            "earlier"
        ]
        assert [(e["path"], e["who"]) for e in earlier] == [
            ("ears[0].side", "earside"),
            ("ears[0].removed_mm[0]", "earside"),
            ("ears[0].removed_mm[0]", "Sister Okafor"),
        ]


def test_an_upgraded_visit_can_be_worked_on(first: Path) -> None:
    with Store(first) as store:
        store.set_person("Ann Example", "clinician")
        changed = store.revise(1, visit(17, "right"), "Ann Example", revision=1)
        back = store.undo(1, "Ann Example", revision=changed.revision)
        assert back.visit == visit(16, "right")
        with pytest.raises(NotAllowed):
            store.sign(1, "Ann Example", revision=back.revision)
        store.sign(1, "Ann Example", revision=back.revision, reason="known")
        assert store.verify().faults == ()
        kept = store.keep(
            Recording("a.wav" * 8, "a.wav", 9, "sound"), Transcript.from_text("New."), [visit(1, "left")]
        )
        assert kept.outcome == "left"  # a person had changed visit 2 before the upgrade


def test_a_copy_of_the_store_as_it_was_stays_beside_it(first: Path) -> None:
    with sqlite3.connect(first / "earside.db") as db:
        before = list(db.iterdump())
    for _ in range(2):
        Store(first).close()
    copy = first / "earside-before-2.db"
    assert [p.name for p in first.glob("*before*")] == [copy.name]
    with sqlite3.connect(copy) as db:
        assert list(db.iterdump()) == before
        assert db.execute("PRAGMA user_version").fetchone() == (1,)
    assert copy.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("known", range(1, len(schema.MIGRATIONS)))
def test_from_every_earlier_schema(first: Path, known: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """As the Earside that knew so many migrations left it; worked on afterwards, with a copy from before."""
    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:known])
        with closing(sqlite3.connect(first / "earside.db")) as raw, raw:
            schema.migrate(Database(raw))
    with closing(sqlite3.connect(first / "earside.db")) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (known,)
        before = list(db.iterdump())
    with Store(first) as store:
        assert store.verify().faults == ()
        assert [r.id for r in store.visits().rows] == [1, 2]
        assert store.visit(2).visit == visit(18, "left", by_hand=True)
        store.set_person("Ann Example", "clinician")
        store.revise(1, visit(17, "right"), "Ann Example", revision=store.visit(1).revision)
        assert store.verify().faults == ()
    (copy,) = first.glob("*before*")
    assert copy.name == f"earside-before-{known + 1}.db"
    with closing(sqlite3.connect(copy)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (known,)
        assert list(db.iterdump()) == before


def test_without_room_for_the_copy_nothing_is_upgraded(first: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(schema, "flush", full)
    with pytest.raises(StoreError, match="the disk is full"):
        Store(first)
    with sqlite3.connect(first / "earside.db") as db:
        assert db.execute("PRAGMA user_version").fetchone() == (1,)
        assert db.execute("SELECT count(*) FROM history").fetchone() == (7,)


def test_the_upgraded_tables_are_those_of_a_new_store(
    first: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    fresh = tmp_path_factory.mktemp("fresh")
    tables = []
    for folder in (first, fresh):
        Store(folder).close()
        with sqlite3.connect(folder / "earside.db") as db:
            tables.append(
                sorted(db.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall(), key=str)
            )
            assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert tables[0] == tables[1]
