"""What stands in an import's way is told in one line, and the rest is done. The recogniser is scripted."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import folder
import workers

from desk.importing import look
from desk.importing.bulk import Wanted, import_all
from desk.importing.ledger import Ledger
from dictate import read
from shared.errors import BadInput, StoreError
from shared.store import Store


def recordings(where: Path, *names: str, seconds: float = 1.5) -> Path:
    where.mkdir()
    sound = read.read(folder.SAMPLES / "half_pauses.ogg").samples
    for n, name in enumerate(names):
        folder.encode(
            where / f"{name}.wav", sound[8000 * n : 8000 * n + round(seconds * 16_000)], "pcm_s16le"
        )
    return where


def test_files_that_change_or_vanish_while_they_are_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = recordings(tmp_path / "in", "a", "removed", "written", "z")
    assert import_all(Wanted([where], data=tmp_path / "data", hear=workers.meddle, workers=2)) == 2
    said = capsys.readouterr().err
    assert f"{where / 'written.wav'}: was changed while it was read. " in said
    assert f"{where / 'removed.wav'}: is not there any more" in said
    assert "2 recordings done" in said
    # The next call does the changed one, whose bytes now stand still.
    assert import_all(Wanted([where], data=tmp_path / "data", hear=folder.hear, workers=1)) == 0
    with Store(tmp_path / "data") as store:
        assert [r.name for r in store.recordings("failed")] == ["removed.wav"]
        assert len(store.recordings()) == 4


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 6 MB of its own; root alone may make one."""
    place = tmp_path / "disk"
    place.mkdir()
    made = ["mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", str(place)]
    if sys.platform != "linux" or subprocess.run(made, capture_output=True, check=False).returncode:
        pytest.skip("no disk of its own can be made here")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_disk_that_is_truly_full_stops_it_and_all_is_done_when_there_is_room(
    tmp_path: Path, small_disk: Path
) -> None:
    where = recordings(tmp_path / "in", *"abcdef", seconds=3.0)
    assert import_all(Wanted([where], data=tmp_path / "quiet", hear=folder.hear, workers=1)) == 0
    expected = folder.state(tmp_path / "quiet")
    wanted = Wanted([where], data=small_disk / "data", hear=folder.hear, workers=1)
    other = small_disk / "other"
    other.write_bytes(bytes(6 * 2**20 - 2**14))
    with pytest.raises(StoreError, match="the disk failed or is full"):
        import_all(wanted)
    other.write_bytes(bytes(6 * 2**20 - 700 * 2**10))
    with pytest.raises(StoreError, match=r"the disk .*full.* the same call goes on from there"):
        import_all(wanted)
    with Store(small_disk / "data") as store:
        assert not store.verify().faults
        assert 0 < len(store.recordings("read")) < 6
    other.unlink()
    assert import_all(wanted) == 0
    assert folder.state(small_disk / "data") == expected


def test_looks_that_cannot_be_noted_are_taken_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    where = recordings(tmp_path / "in", "a")
    os.utime(where / "a.wav", (1_600_000_000,) * 2)
    looked = look.look(str(where / "a.wav"))
    assert isinstance(looked, look.Looked)
    with Ledger(tmp_path) as ledger:
        with open("/dev/full", "ab", buffering=0) as full, monkeypatch.context() as patched:
            patched.setattr(ledger, "_file", full)
            ledger.add(looked, time.time_ns())
        ledger.went(3.0)
    with Ledger(tmp_path) as ledger:
        assert ledger.seen(looked.path) is None
        assert ledger.speed == 3.0
        ledger.add(looked, time.time_ns())
    with Ledger(tmp_path) as ledger:
        assert ledger.seen(looked.path) == looked


def test_a_full_disk_stops_it_politely_and_the_next_call_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    where = recordings(tmp_path / "in", "a", "b", "c")
    keep, kept = Store.keep, list[int]()

    def full(self: Store, *given: Any, **more: Any) -> Any:
        if kept:
            raise StoreError("the disk is full", where="earside.db", remedy="Free some space and try again.")
        kept.append(1)
        return keep(self, *given, **more)

    wanted = Wanted([where], data=tmp_path / "data", hear=folder.hear, workers=1)
    with monkeypatch.context() as patched:
        patched.setattr(Store, "keep", full)
        with pytest.raises(StoreError, match=r"the disk is full\. Free .* the same call goes on from there"):
            import_all(wanted)
    with Store(tmp_path / "data") as store:
        assert len(store.recordings("read")) == 1
    assert import_all(wanted) == 0
    with Store(tmp_path / "data") as store:
        assert len(store.recordings("read")) == 3


NAMES = [
    "أذن يمنى", "ухо 耳", "👂🏽 right", "a\u202eb", "Straße é e\u0301", "x" * 240, "-rf", "%s %d {x}", "tab\there",
    "'quo\"te", " led and trailed ", os.fsdecode(b"\xff\xfe d\xe9j\xe0"),
]  # fmt: skip
"""In any script, in none (bytes that are no UTF-8, as old systems left them), and what programs trip over."""


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the system refuses some of these names")
def test_names_of_any_kind(tmp_path: Path) -> None:
    where = recordings(tmp_path / "in", *(str(n) for n in range(len(NAMES))))
    for n, name in enumerate(NAMES):
        (where / f"{n}.wav").rename(where / f"{name}.wav")
    deep = where.joinpath(*["d" * 200] * 4)
    deep.mkdir(parents=True)
    (where / f"{NAMES[0]}.wav").rename(deep / "a.wav")
    wanted = Wanted([where], data=tmp_path / "data", hear=folder.hear, workers=1)
    assert import_all(wanted) == 0
    with Store(tmp_path / "data") as store:
        names = [row.name for row in store.recordings("read")]
        assert all(store.sound(row.id) for row in store.recordings())
    assert sorted(names) == sorted(
        ["a.wav", "\\xff\\xfe d\\xe9j\\xe0.wav", *(f"{n}.wav" for n in NAMES[1:-1])]
    )
    assert import_all(wanted) == 0  # all known
    with Store(tmp_path / "data") as store:
        assert {row.tries for row in store.recordings()} == {1}


def test_a_list_with_a_mistake_stops_it_before_any_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = recordings(tmp_path / "in", "a")
    (where / "recordings.csv").write_text("file,start\nb.wav,0:00\na.wav,x\n")
    with pytest.raises(BadInput, match="2 mistakes in lists"):
        import_all(Wanted([where], data=tmp_path / "data", hear=folder.hear))
    said = capsys.readouterr().err
    assert "row 2, column file: " in said
    assert "row 3, column start: " in said
    with Store(tmp_path / "data") as store:
        assert store.recordings() == []
