"""The desk, a dictation and an import over a protected store: as ever, and nothing plain on the disk."""

from __future__ import annotations

import os
import wave
from collections.abc import Iterator
from pathlib import Path

import pytest
from listening_script import find, said, scripted_parts

from desk.importing.bulk import Wanted, import_all
from desk.importing.work import Job
from desk.listening import Listening
from desk.rereading import Rereader
from dictate import read, speech
from extract.reader import Reader
from shared.protecting import key_file, unlocking
from shared.protecting.vault import Vault
from shared.store import Recording, Store
from shared.transcript import Transcript

from .conftest import Desk

TOLD = (b"SQLite format 3", b"WAVEfmt ", b"brown wax", b"treacle", b"Microsuction", said(1)[:64])
"""Each so long that sealed bytes, which are as random, do not hold it by chance."""


@pytest.fixture
def data(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "data"
    folder.mkdir()
    vault = Vault(os.urandom(32))
    (folder / key_file.NAME).write_bytes(key_file.make(vault, "four quiet otters swim")[0])
    unlocking.hold(folder, vault)
    yield folder
    unlocking.forget()


def told(folder: Path) -> list[str]:
    held = {
        path: path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and "incoming" not in path.parts
    }
    assert len(held) > 1
    return [
        f"{word[:20]!r} in {path.name}" for path, content in held.items() for word in TOLD if word in content
    ]


def test_a_dictation_taken_up_after_a_crash(
    data: Path, reader: Reader, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(speech, "find", find)
    parts = scripted_parts(lambda: reader)
    first = Listening.start(data, who="Ann Example", parts=parts)
    first.feed(said(1, 2))
    first.settle()
    assert "hard brown wax" in first.so_far.transcript.text
    first.leave()
    assert told(data) == []
    again = Listening.take_up(data, first.id, parts=parts)
    assert again.received == len(said(1, 2))
    again.feed(said(3))
    again.settle()
    assert told(data) == []
    visits = again.finish()
    assert told(data) == []
    with Store(data) as store:
        stored = [store.visit(number) for number in visits]
        path = store.sound(stored[0].recording_id)
    assert [v.visit.ears[0].side.value for v in stored] == ["right", "left"]
    assert path is not None
    assert path.name.endswith(".wav.sealed")
    assert read.read(path).samples.tobytes() == said(1, 2) + said(3)
    assert list((data / "listening").iterdir()) == []


def test_pages_are_shown_and_words_are_played(data: Path, reader: Reader, rereader: Rereader) -> None:
    desk = Desk(data, reader, rereader)
    desk.work_as(desk.ANN)
    number = desk.dictate(desk.CLEAN)
    assert "sixteen millimetres" in desk.client.get(f"/visits/{number}").text
    with Store(data) as store:  # the desk's test keeps no copy
        lay = data / "incoming" / "morning.wav"
        words = store.transcript(store.visit(number).transcript)
        store.keep(Recording.of(lay, "sound"), words, reader.read(words), keep_sound=True)
    lay.unlink()
    played = desk.client.get(f"/visits/{number}/sound", params={"from": "2", "to": "4"})
    assert (played.status_code, played.content[:4]) == (200, b"RIFF")
    assert len(played.content) > 64_000
    assert desk.client.get("/").status_code == 200
    assert told(data) == []
    desk.client.close()


def hear(job: Job) -> Transcript:
    """Really decoded; the words by its length."""
    seconds = read.read(job.looked.path).seconds
    return Transcript.from_text(
        f"Right ear. Hard brown wax. Microsuction. The drum is intact. {seconds:.0f} minutes", job.looked.path
    ).model_copy(update={"model": job.model, "duration": seconds})


def test_an_import_by_worker_processes_and_again_from_the_sealed_copies(data: Path, tmp_path: Path) -> None:
    source = tmp_path / "treacle"
    source.mkdir()
    for number in range(2):
        with wave.open(str(source / f"treacle {number}.wav"), "wb") as out:
            out.setparams((1, 2, 16_000, 0, "NONE", ""))
            out.writeframes(said(number + 1))
    assert import_all(Wanted([source], data=data, hear=hear, workers=1)) == 0
    assert told(data) == []
    for path in source.iterdir():
        path.unlink()
    with Store(data) as store:
        assert len(store.visits().rows) == 2
        copies = [store.sound(row.id) for row in store.recordings()]
    assert all(copy and copy.name.endswith(".wav.sealed") for copy in copies)
    assert import_all(Wanted([], data=data, hear=hear, again=True, model="tiny.en", workers=1)) == 0
    with Store(data) as store:
        assert len(store.recordings()) == 2
        assert [row.tries for row in store.recordings()] == [2, 2]
        assert store.verify().faults == ()
    assert told(data) == []
