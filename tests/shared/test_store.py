"""The store: what goes in comes out, nothing a person did is lost, and every failure is one clear line."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import sqlite3
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.errors import BadInput, Conflict, NotAllowed, StoreError
from shared.record import Ear, Extent, Notice, Value, Visit
from shared.store import Recording, Store, data_folder, schema
from shared.store.rows import record_json
from shared.transcript import Transcript, Word

TEXT = "Right ear. Hard wax, dark brown, sixteen millimetres. A little bleeding at the end."
SISTER = "Sister Okafor"

# Half a surrogate pair is no character: UTF-8 cannot hold it.
ANY_CHARACTER = st.characters(exclude_categories=["Cs"])


def heard(value: object, words: str, **more: object) -> Value[object]:
    start = TEXT.index(words)
    return Value(value=value, heard=words, chars=(start, start + len(words)), **more)  # type: ignore[arg-type]


def transcript(text: str = TEXT) -> Transcript:
    plain = Transcript.from_text(text, "note.wav")
    words = tuple(
        Word(chars=w.chars, seconds=(i / 2, i / 2 + 0.25), probability=0.5) for i, w in enumerate(plain.words)
    )
    return plain.model_copy(update={"words": words, "duration": 9.5, "speech": 8.0, "model": "base"})


def visit(millimetres: int = 16, side: str = "right") -> Visit:
    return Visit(
        ears=[
            Ear(
                side=heard(side, "Right ear"),
                removed_mm=[heard(millimetres, "sixteen millimetres", seconds=(3.0, 4.25))],
                complications=[heard("bleeding", "A little bleeding", certainty="possible")],
            )
        ],
        extent=Extent(chars=(0, len(TEXT)), seconds=(0.0, 9.5), confidence=0.75),
        notices=[Notice(kind="bleeding", weight=5, message="Said.", guidance="common practice, no source")],
    )


def recording(name: str = "note.wav") -> Recording:
    return Recording(sha256=name.encode().hex().ljust(64, "0")[:64], name=name, bytes=10, kind="sound")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as opened:
        opened.set_person(SISTER, "clinician")
        yield opened


@contextlib.contextmanager
def tool(folder: Path) -> Iterator[sqlite3.Connection]:
    """Any SQLite tool: Python's own driver, with SQLite's defaults."""
    with contextlib.closing(sqlite3.connect(folder / "earside.db")) as db:
        yield db


def test_what_is_kept_comes_back(store: Store) -> None:
    kept = store.keep(recording(), transcript(), [visit(), visit(9)])
    assert kept.outcome == "new"
    got = [store.visit(i) for i in kept.visits]
    assert [g.visit for g in got] == [visit(), visit(9)]
    assert [(g.ordinal, g.status, g.revision) for g in got] == [(1, "draft", 1), (2, "draft", 1)]
    assert store.transcript(got[0].transcript) == transcript()
    rows = store.visits().rows
    assert [(r.id, r.ears, r.to_check, r.to_decide) for r in rows] == [
        (i, ("right",), 1, 0) for i in kept.visits
    ]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    text=st.text(ANY_CHARACTER, min_size=1),
    options=st.dictionaries(st.text(ANY_CHARACTER), st.integers(-(2**53), 2**53) | st.booleans() | st.none()),
)
def test_any_transcript_comes_back(store: Store, text: str, options: dict[str, int | bool | None]) -> None:
    given = transcript(text).model_copy(update={"settings": options})
    # A person's draft of the same recording would keep a second reading out; there are none here.
    kept = store.keep(recording(), given, [Visit()])
    assert store.transcript(store.visit(kept.visits[0]).transcript) == given


def test_findings_can_be_read_with_any_sqlite_tool(store: Store, tmp_path: Path) -> None:
    store.keep(recording(), transcript(), [visit()])
    with tool(tmp_path) as db:
        found = db.execute(
            "SELECT field, ear, value, certainty, heard, second_start FROM findings ORDER BY id"
        ).fetchall()
        assert found == [
            ("side", "right", "right", "stated", "Right ear", None),
            ("removed_mm", "right", 16, "stated", "sixteen millimetres", 3.0),
            ("complications", "right", "bleeding", "possible", "A little bleeding", None),
        ]
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []


def test_what_is_kept_survives_a_power_cut(store: Store) -> None:
    """The pragmas that SQLite's documentation asks for: WAL, FULL (2), foreign keys on."""
    names = ("journal_mode", "synchronous", "foreign_keys")
    set_to = {name: store._db.execute(f"PRAGMA {name}").fetchone()[0] for name in names}
    assert set_to == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


def test_only_the_user_can_read_the_files(store: Store, tmp_path: Path) -> None:
    store.keep(recording(), transcript(), [visit()])
    modes = {stat.S_IMODE(p.stat().st_mode) for p in tmp_path.iterdir()}
    assert modes == {0o600}


def test_the_same_reading_again_changes_nothing(store: Store) -> None:
    first = store.keep(recording(), transcript(), [visit()])
    again = store.keep(recording(), transcript(), [visit()])
    assert (again.outcome, again.visits) == ("unchanged", first.visits)
    assert store.keep(recording("silent.wav"), transcript(""), []).outcome == "new"
    assert store.keep(recording("silent.wav"), transcript(""), []).outcome == "unchanged"


def test_a_new_reading_replaces_drafts_and_keeps_their_history(store: Store) -> None:
    first = store.keep(recording(), transcript(), [visit()])
    second = store.keep(recording(), transcript(), [visit(18)])
    assert second.outcome == "replaced"
    assert [row.id for row in store.visits().rows] == list(second.visits)
    assert store.visit(first.visits[0]).status == "replaced"
    assert [e.kind for e in store.history(first.visits[0])] == ["read", "replaced"]


def test_a_persons_change_is_noted_and_survives_a_new_reading(store: Store) -> None:
    (visit_id,) = store.keep(recording(), transcript(), [visit()]).visits
    changed = visit()
    changed.ears[0].removed_mm = [Value(value=18, origin="entered")]
    changed.ears[0].complications = []
    after = store.revise(visit_id, changed, "Sister Okafor", revision=1)
    assert (after.visit, after.revision) == (changed, 2)

    last = store.history(visit_id)[-1]
    assert (last.who, last.kind, last.visit) == (SISTER, "correct", visit_id)

    assert store.keep(recording(), transcript(), [visit(99)]).outcome == "left"
    assert store.visit(visit_id).visit == changed
    assert store.keep(recording(), transcript(), [visit(99)], replace=True).outcome == "replaced"
    assert store.visit(visit_id).visit == changed  # still there to look up
    assert [e.kind for e in store.history(visit_id)] == ["read", "correct", "replaced"]


def test_a_change_based_on_an_old_state_is_refused(store: Store) -> None:
    (visit_id,) = store.keep(recording(), transcript(), [visit()]).visits
    store.revise(visit_id, visit(17), SISTER, revision=1)
    with pytest.raises(Conflict, match="changed since you opened it"):
        store.revise(visit_id, visit(20), SISTER, revision=1)
    for nobody in ("earside", "Nobody At All", ""):
        with pytest.raises(BadInput, match=r"known here|needs the name"):
            store.revise(visit_id, visit(20), nobody, revision=2)
    assert store.visit(visit_id).visit == visit(17)
    store.keep(recording(), transcript(), [visit(3)], replace=True)
    with pytest.raises(NotAllowed, match="not a draft any more"):
        store.revise(visit_id, visit(20), SISTER, revision=3)


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE entries SET who = 'nobody'",
        "UPDATE entries SET content = NULL",
        "DELETE FROM entries",
        "INSERT OR REPLACE INTO entries SELECT * FROM entries",
        "DELETE FROM visits",
        "INSERT OR REPLACE INTO visits SELECT * FROM visits",
        "UPDATE visits SET ordinal = 7",
    ],
)
def test_history_is_append_only_for_every_tool(store: Store, tmp_path: Path, sql: str) -> None:
    store.keep(recording(), transcript(), [visit()])
    with tool(tmp_path) as db:
        before = db.execute("SELECT * FROM entries").fetchall()
        with pytest.raises(sqlite3.IntegrityError, match=r"append-only|not deleted|already|not changed"):
            db.execute(sql)
        assert db.execute("SELECT * FROM entries").fetchall() == before
        assert len(before) == 2


def test_search_finds_every_form_of_a_word(store: Store) -> None:
    (visit_id,) = store.keep(recording(), transcript(), [visit()]).visits
    store.keep(recording("b.wav"), transcript("Left ear, nothing to remove."), [Visit()])
    (hit,) = store.search("bleed")
    assert (hit.recording, hit.visits) == ("note.wav", (visit_id,))
    assert "[bleeding]" in hit.around
    assert [h.recording for h in store.search("ear")] == ["b.wav", "note.wav"]
    assert store.search("bleeding nothing") == []


@pytest.mark.parametrize(
    "words", ['"', "NEAR(", "a AND", "-", "*", "text:x", "ear'); DROP TABLE visits; --", ""]
)
def test_search_takes_any_words(store: Store, words: str) -> None:
    store.keep(recording(), transcript(), [visit()])
    assert store.search(words) == []


def test_an_earlier_reading_is_not_found(store: Store) -> None:
    store.keep(recording(), transcript("Crumbly wax."), [Visit()])
    store.keep(recording(), transcript("Sticky wax."), [Visit()])
    assert store.search("crumbly") == []
    assert len(store.search("sticky")) == 1


def test_the_data_folder_can_be_chosen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("EARSIDE_DATA", str(tmp_path / "elsewhere"))
    assert data_folder() == tmp_path / "elsewhere"
    monkeypatch.delenv("EARSIDE_DATA")
    assert data_folder().name == "earside"


# --- migrations


def test_a_failed_migration_leaves_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def next_one(db: object) -> None:
        db.execute("CREATE TABLE half (x)")  # type: ignore[attr-defined]
        raise RuntimeError("stopped half-way")

    Store(tmp_path).close()
    today = len(schema.MIGRATIONS)
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, next_one))
    with pytest.raises(RuntimeError, match="half-way"):
        Store(tmp_path)
    with tool(tmp_path) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (today,)
        assert db.execute("SELECT count(*) FROM sqlite_master WHERE name = 'half'").fetchone() == (0,)


def test_a_later_migration_runs_once_on_a_filled_store(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Store(tmp_path) as store:
        kept = store.keep(recording(), transcript(), [visit()])
    today = len(schema.MIGRATIONS)

    def next_one(db: object) -> None:
        db.execute("ALTER TABLE visits ADD COLUMN room TEXT")  # type: ignore[attr-defined]

    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, next_one))
    for _ in range(2):
        with Store(tmp_path) as store:
            assert store.visit(kept.visits[0]).visit == visit()
    with tool(tmp_path) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (today + 1,)


def test_a_newer_store_is_refused_and_not_touched(tmp_path: Path) -> None:
    Store(tmp_path).close()
    with tool(tmp_path) as db:
        db.execute("PRAGMA user_version = 99")
    before = (tmp_path / "earside.db").read_bytes()
    with pytest.raises(StoreError, match=r"newer Earside .tables 99.*Update Earside"):
        Store(tmp_path)
    assert (tmp_path / "earside.db").read_bytes() == before


# --- failures


def one_line(fault: StoreError) -> str:
    assert "\n" not in fault.line
    assert fault.where
    assert fault.remedy
    return fault.line


def test_not_a_database(tmp_path: Path) -> None:
    (tmp_path / "earside.db").write_text("Dear diary. " * 1000)
    with pytest.raises(StoreError) as fault:
        Store(tmp_path)
    assert "is not an Earside database" in one_line(fault.value)


def test_another_programs_database(tmp_path: Path) -> None:
    with tool(tmp_path) as db:
        db.execute("CREATE TABLE orders (x)")
    with pytest.raises(StoreError) as fault:
        Store(tmp_path)
    assert "another program" in one_line(fault.value)


def test_a_damaged_database(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        for n in range(40):
            store.keep(recording(f"{n}"), transcript(f"{TEXT} {n}"), [visit()])
    file = tmp_path / "earside.db"
    content = bytearray(file.read_bytes())
    content[8192:] = os.urandom(len(content) - 8192)
    file.write_bytes(content)
    with pytest.raises(StoreError) as fault, Store(tmp_path) as store:
        store.visits()
    assert "is damaged" in one_line(fault.value)


def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("")
    with pytest.raises(StoreError) as fault:
        Store(tmp_path / "taken")
    assert "is a file, not a folder" in one_line(fault.value)


def test_a_locked_database(store: Store, tmp_path: Path) -> None:
    with tool(tmp_path) as db:
        db.execute("BEGIN IMMEDIATE")
        with Store(tmp_path, wait_seconds=0.1) as second, pytest.raises(StoreError) as fault:
            second.keep(recording(), transcript(), [visit()])
    assert "in use by another program" in one_line(fault.value)
    assert store.visits().rows == ()


def test_a_read_only_folder(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        # Root may write anywhere: give up that right in a child, and look at what it was told.
        if os.geteuid() == 0:
            os.chown(tmp_path, 65534, -1)
            tmp_path.parent.chmod(0o711)
            told = in_child_without_rights(tmp_path)
        else:
            with pytest.raises(StoreError) as fault:
                Store(tmp_path)
            told = one_line(fault.value)
        assert told.startswith(f"{tmp_path}: cannot be written to. Check who may write there.")
    finally:
        tmp_path.chmod(0o700)


def in_child_without_rights(folder: Path) -> str:
    reading, writing = os.pipe()
    if (child := os.fork()) == 0:
        try:
            os.chdir(folder)
            os.setuid(65534)
            Store(Path("."))
            os.write(writing, b"no failure")
        except StoreError as fault:
            os.write(writing, one_line(fault).replace(".:", f"{folder}:", 1).encode())
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as told:
        os.waitpid(child, 0)
        return told.read().decode()


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can mount a small disk"
)
def test_a_full_disk(tmp_path: Path) -> None:
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=800k", "tmpfs", tmp_path], check=False).returncode:
        pytest.skip("this machine does not let root mount a small disk")
    try:
        with Store(tmp_path) as store:

            def keep(number: int) -> str:
                try:
                    store.keep(recording(f"{number}"), transcript(f"{TEXT} {number}" * 20), [visit()])
                except StoreError as fault:
                    return one_line(fault)
                return ""

            told = next(filter(None, map(keep, range(1000))))
            assert "the disk is full; nothing of this recording was kept" in told
            whole = store.visits(limit=1000).rows
            assert {row.recording for row in whole} == {f"{n}" for n in range(len(whole))}
            assert store.verify().faults == ()
        with tool(tmp_path) as db:
            assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    finally:
        subprocess.run(["umount", tmp_path], check=True)


# --- crashes

WRITER = """
import pathlib, sys
sys.path.insert(0, sys.argv[2])
from test_store import recording, transcript, visit, TEXT
from shared.store import Store
with Store(pathlib.Path(sys.argv[1])) as store:
    print("open", flush=True)
    for n in range(100000):
        store.keep(recording(f"{n % 7}"), transcript(f"{TEXT} {n}"), [visit(n), visit(n + 1), visit(n + 2)])
"""


def test_killed_at_any_moment_a_recording_is_whole_or_absent(tmp_path: Path) -> None:
    """15 kills at random moments, some while the tables are being made; SQLite's own check judges."""
    moments = random.Random(7)
    for round_ in range(15):
        command = [sys.executable, "-c", WRITER, str(tmp_path), str(Path(__file__).parent)]
        with subprocess.Popen(command, stdout=subprocess.PIPE) as writer:
            assert writer.stdout is not None
            if round_ % 5:  # else: killed while starting
                writer.stdout.readline()
            time.sleep(moments.uniform(0, 0.4))
            writer.send_signal(signal.SIGKILL)
        if not (tmp_path / "earside.db").exists():
            continue
        with tool(tmp_path) as db:
            assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert db.execute("PRAGMA foreign_key_check").fetchall() == []
        with Store(tmp_path) as store:
            for row in store.visits(limit=1000).rows:
                assert record_json(store.visit(row.id).visit)
            assert store.verify().faults == ()
        with tool(tmp_path) as db:
            parts = """SELECT count(*), count(DISTINCT ordinal) FROM visits
                WHERE status <> 'replaced' GROUP BY transcript_id"""
            assert set(db.execute(parts)) <= {(3, 3)}
            assert (
                db.execute("SELECT count(*) FROM findings").fetchone()
                == db.execute("SELECT count(*) * 3 FROM visits WHERE status <> 'replaced'").fetchone()
            )
    with tool(tmp_path) as db:
        assert db.execute("SELECT count(*) FROM visits").fetchone()[0] > 0


def test_many_may_open_a_new_store_at_once(tmp_path: Path) -> None:
    code = "import pathlib, sys; from shared.store import Store; Store(pathlib.Path(sys.argv[1])).visits()"
    started = [subprocess.Popen([sys.executable, "-c", code, str(tmp_path)]) for _ in range(6)]
    assert [p.wait() for p in started] == [0] * 6
