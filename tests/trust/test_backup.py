"""A backup, made while others write, gives back the store value for value; a damaged one is known and refused."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from stock import ANN, answers, change, fill, rows

from desk.cli import cli
from desk.safekeeping import archive
from desk.safekeeping.restoring import restore
from dictate.journal import Journal
from shared.errors import BadInput, EarsideError, StoreError
from shared.protecting import unlocking
from shared.store import Store

WRITER = """
import pathlib, sys
sys.path.insert(0, sys.argv[2])
from stock import *
with Store(pathlib.Path(sys.argv[1])) as store:
    print("open", flush=True)
    for n in range(100_000):
        if n % 5 == 4:
            new = sound(pathlib.Path(sys.argv[1]).parent, f"w{n}.wav", 1000 + n)
            store.keep(new, Transcript.from_text(f"{TEXT} w{n}"), [visit(1)], keep_sound=True)
        else:
            change(store, 5, n % 39 + 1)
        print(n, flush=True)
"""


@pytest.fixture
def data(tmp_path: Path) -> Path:
    fill(tmp_path / "data")
    (tmp_path / "data" / "vocabulary.yaml").write_text("consistency:\n  firm: [like old putty]\n")
    return tmp_path / "data"


def test_what_is_restored_answers_as_the_original_does(data: Path, tmp_path: Path) -> None:
    before, there = answers(data), rows(data)
    made = archive.make(data, tmp_path / "out" / "monday.zip")
    done = restore(tmp_path / "out" / "monday.zip", tmp_path / "back")
    assert done.faults == ()
    assert rows(tmp_path / "back") == there
    assert answers(tmp_path / "back") == before
    assert (made.entries, made.head) == (before[-1].entries, before[-1].head)
    assert (tmp_path / "back" / "vocabulary.yaml").read_bytes() == (data / "vocabulary.yaml").read_bytes()
    for place in [
        tmp_path / "out" / "monday.zip",
        *(p for p in (tmp_path / "back").rglob("*") if p.is_file()),
    ]:
        assert place.stat().st_mode & 0o077 == 0, place
    with Store(tmp_path / "back") as store:  # and it is worked on as any
        change(store, 5, 33)
        store.sign(5, ANN, revision=store.visit(5).revision)
        assert store.verify().faults == ()


def test_a_backup_while_another_program_writes(data: Path, tmp_path: Path) -> None:
    """Each backup is a state that the store truly had: its head is an entry of the chain that went on."""
    made = []
    command = [sys.executable, "-c", WRITER, str(data), str(Path(__file__).parent)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as writing:
        assert writing.stdout
        for _ in range(8):
            writing.stdout.readline()
        for n in range(3):
            made.append(archive.make(data, tmp_path / f"{n}.zip"))
            writing.stdout.readline()
        writing.kill()
    with Store(data) as store:
        chain = dict(store._db.execute("SELECT seq, hash FROM entries").fetchall())
        assert store.verify().faults == ()
    assert made[0].entries < made[-1].entries
    for n, manifest in enumerate(made):
        assert chain[manifest.entries] == manifest.head
        done = restore(tmp_path / f"{n}.zip", tmp_path / f"back{n}")
        assert done.faults == ()
        with Store(tmp_path / f"back{n}") as store:
            assert all(store.sound(r.id) for r in store.recordings() if r.sound)
            assert store.verify().head == manifest.head


def test_a_dictation_that_is_going_on_is_in_it(data: Path, tmp_path: Path) -> None:
    journal = Journal.begin(data / "listening", who=ANN)
    journal.write(b"\1\0" * 16_000)
    assert journal.flush() == 0
    archive.make(data, tmp_path / "a.zip")
    restore(tmp_path / "a.zip", tmp_path / "back")
    journal.close()
    from desk import keeping  # noqa: PLC0415

    (found,) = keeping.unfinished(tmp_path / "back")
    assert (found.who, found.seconds) == (ANN, 1.0)


def test_nothing_is_written_over(data: Path, tmp_path: Path) -> None:
    file, other = tmp_path / "a.zip", tmp_path / "other"
    archive.make(data, file)
    fill(other, recordings=2)
    there = rows(other)
    with pytest.raises(BadInput, match="is there already"):
        archive.make(data, file)
    with pytest.raises(BadInput, match="would be lost with it"):
        archive.make(data, data / "recordings" / "b.zip")
    with pytest.raises(BadInput, match="holds a store"):
        restore(file, other)
    assert rows(other) == there
    done = restore(file, other, replace=True)
    assert rows(other) == rows(data)
    assert done.aside
    assert rows(done.aside) == there


def test_a_store_in_use_is_not_moved_away(data: Path, tmp_path: Path) -> None:
    archive.make(data, tmp_path / "a.zip")
    code = (
        "import pathlib, sys; from shared.store import Store\n"
        "with Store(pathlib.Path(sys.argv[1])): print(1, flush=True); input()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(data)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as held:
        assert held.stdout
        held.stdout.readline()
        with pytest.raises(StoreError, match="is in use"):
            restore(tmp_path / "a.zip", data, replace=True)
        held.communicate(b"\n")
    assert {p.name for p in tmp_path.iterdir()} == {"data", "a.zip", "incoming"}
    assert restore(tmp_path / "a.zip", data, replace=True).aside


def _cut(file: Path) -> None:
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])


def _renamed(to: str) -> Callable[[Path], None]:
    def change_(file: Path) -> None:
        _rewrite(
            file, lambda manifest: manifest["files"].update({to: manifest["files"].pop("vocabulary.yaml")})
        )

    return change_


def _other_hash(file: Path) -> None:
    _rewrite(file, lambda manifest: manifest["files"]["vocabulary.yaml"].update(sha256="0" * 64))


def _rewrite(file: Path, change_: Callable[[dict[str, dict[str, object]]], object]) -> None:
    with zipfile.ZipFile(file) as packed:
        held = {name: packed.read(name) for name in packed.namelist()}
    manifest = json.loads(held["backup.json"])
    change_(manifest)
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in held.items():
            packed.writestr(name, json.dumps(manifest) if name == "backup.json" else content)


def _bomb(file: Path) -> None:
    """A file that unpacks to 300 MB where 50 bytes are said."""
    with zipfile.ZipFile(file, "a", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("recordings/bomb", bytes(300_000_000))
    _rewrite_manifest(file)


def _rewrite_manifest(file: Path) -> None:
    with zipfile.ZipFile(file) as packed:
        manifest = json.loads(packed.read("backup.json"))
    manifest["files"]["recordings/bomb"] = {"bytes": 50, "sha256": "0" * 64}
    with zipfile.ZipFile(file, "a") as packed, pytest.warns(UserWarning, match="Duplicate"):
        packed.writestr("backup.json", json.dumps(manifest))


@pytest.mark.parametrize(
    ("harm", "told"),
    [
        (_cut, "is no backup, or was cut off"),
        (lambda file: file.write_bytes(b"PK nothing"), "is no backup"),
        (_renamed("../../outside"), "no backup that Earside made"),
        (_renamed("/tmp/outside"), "no backup that Earside made"),
        (_renamed("C:outside"), "no backup that Earside made"),
        (_renamed("missing.yaml"), "missing.yaml in it is damaged"),
        (_other_hash, "vocabulary.yaml in it"),
        (_bomb, "recordings/bomb in it is damaged"),
    ],
)  # fmt: skip
def test_what_is_no_backup_or_was_changed_is_refused(
    data: Path, tmp_path: Path, harm: Callable[[Path], object], told: str
) -> None:
    file = tmp_path / "a.zip"
    archive.make(data, file)
    harm(file)
    with pytest.raises(BadInput, match=told):
        restore(file, tmp_path / "back")
    assert {p.name for p in tmp_path.iterdir()} == {"data", "a.zip", "incoming"}
    told_ = CliRunner().invoke(cli, ["backup", "--check", str(file)], prog_name="earside")
    assert told_.exit_code == 2


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("backup")
    fill(folder / "data", recordings=2)
    archive.make(folder / "data", folder / "a.zip")
    return folder / "a.zip"


@settings(max_examples=40, deadline=None)
@given(at=st.floats(0, 1), given_=st.binary(min_size=1, max_size=6))
def test_any_changed_bytes_are_found_or_mean_nothing(file: Path, at: float, given_: bytes) -> None:
    content = file.read_bytes()
    place = file.with_name("changed.zip")
    start = round(at * len(content))
    place.write_bytes(content[:start] + given_ + content[start + len(given_) :])
    with contextlib.suppress(EarsideError):
        # Else a byte that nothing rests on, e.g. a time of day in the ZIP's own table.
        assert archive.check(place) == archive.check(file)


def test_the_commands(data: Path, tmp_path: Path) -> None:
    def call(*arguments: str) -> str:
        done = CliRunner().invoke(cli, arguments, prog_name="earside")
        assert done.exit_code == 0, done.output
        return done.stderr

    file = str(tmp_path / "a.zip")
    assert "Backed up and compared" in call("backup", file, "--data", str(data))
    assert "Nothing in it is damaged" in call("backup", "--check", file)
    assert "Restored into" in call("restore", file, "--data", str(tmp_path / "back"))
    assert rows(tmp_path / "back") == rows(data)
    again = CliRunner().invoke(cli, ["restore", file, "--data", str(tmp_path / "back")], prog_name="earside")
    assert (again.exit_code, again.stderr.count("\n")) == (2, 1)
    assert "--replace" in again.stderr


def test_a_backup_of_a_protected_store_is_protected(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No word, name or sound stands plainly in it, and it is restored with the passphrase, value for value."""
    secret = tmp_path / "passphrase"
    secret.write_text("correct horse battery staple\n")
    monkeypatch.setenv(unlocking.VARIABLE, str(secret))
    plain = next((data / "recordings").iterdir()).read_bytes()
    done = CliRunner().invoke(
        cli, ["protect", "--data", str(data), "--passphrase-file", str(secret)], prog_name="earside"
    )
    assert done.exit_code == 0, done.output
    before = answers(data)
    archive.make(data, tmp_path / "a.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as packed:
        whole = b"".join(packed.read(name) for name in packed.namelist())
        assert not any(name.endswith("earside.db") for name in packed.namelist())
    for word in (b"millimetres", b"Ann Example", b"SQLite format 3", plain[44:300]):
        assert word not in whole
    unlocking.forget()
    restore(tmp_path / "a.zip", tmp_path / "back")
    assert answers(tmp_path / "back")[:5] == before[:5]
    unlocking.forget()
    secret.write_text("wrong horse battery staple\n")
    with pytest.raises(BadInput):
        restore(tmp_path / "a.zip", tmp_path / "again")
    assert not (tmp_path / "again").exists()
