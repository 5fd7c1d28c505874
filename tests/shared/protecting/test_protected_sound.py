"""Recordings in a protected store: sealed on the disk, and heard, played and looked at as if they were not."""

from __future__ import annotations

import hashlib
import io
import os
import wave
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from desk.importing import look
from desk.importing.ledger import Ledger
from desk.importing.look import Looked
from dictate import read
from dictate.clip import clip
from dictate.heard_before import HeardFile
from dictate.recognise import HeardWord, Phrase
from shared.errors import BadRecording, StoreError
from shared.protecting import files, key_file, sealed, unlocking
from shared.protecting.vault import Vault
from shared.store import Recording, Store, sounds
from shared.transcript import Transcript

SAMPLES = (np.sin(np.arange(40_000) / 9) * 9000).astype("<i2")


@pytest.fixture
def data(tmp_path: Path) -> Iterator[Path]:
    """A data folder that is protected, with its key held."""
    folder = tmp_path / "data"
    folder.mkdir()
    vault = Vault(os.urandom(32))
    (folder / key_file.NAME).write_bytes(key_file.make(vault, "four quiet otters swim")[0])
    unlocking.hold(folder, vault)
    yield folder
    unlocking.forget()


@pytest.fixture
def tone(tmp_path: Path) -> Path:
    path = tmp_path / "morning.wav"
    with wave.open(str(path), "wb") as out:
        out.setparams((1, 2, 16_000, 0, "NONE", ""))
        out.writeframes(SAMPLES.tobytes())
    return path


def kept(data: Path, tone: Path) -> Path:
    with Store(data) as store:
        text = Transcript(text="Right ear.", source=str(tone), duration=2.5)
        done = store.keep(Recording.of(tone, "sound"), text, [], keep_sound=True)
        path = store.sound(done.recording)
    assert path is not None
    return path


def test_a_recording_is_kept_sealed_under_the_hash_of_what_is_in_it(data: Path, tone: Path) -> None:
    path = kept(data, tone)
    digest = hashlib.sha256(tone.read_bytes()).hexdigest()
    assert path.name == f"{digest}.wav.sealed"
    assert [p.name for p in path.parent.iterdir()] == [path.name]
    assert b"WAVEfmt " not in path.read_bytes()
    assert SAMPLES[:50].tobytes() not in path.read_bytes()
    with files.opened(path) as file:
        assert hashlib.file_digest(file, "sha256").hexdigest() == digest
    assert files.size(path) == tone.stat().st_size
    again = Recording.of(path, "sound")
    assert (again.sha256, again.bytes, again.name) == (digest, tone.stat().st_size, f"{digest}.wav")
    written = path.stat().st_mtime_ns
    assert kept(data, tone) == path
    assert path.stat().st_mtime_ns == written
    assert sounds.keep(data, path, digest) == f"{digest}.wav"  # read again from here


def test_it_is_read_played_and_looked_at_like_the_plain_one(data: Path, tone: Path) -> None:
    path = kept(data, tone)
    assert np.array_equal(read.read(path).samples, read.read(tone).samples)
    assert clip(path, 0.5, 1.25) == clip(tone, 0.5, 1.25)
    with wave.open(io.BytesIO(clip(path, 0.5, 1.25))) as played:
        assert played.getnframes() == 12_000
    seen, plain = look.look(str(path)), look.look(str(tone))
    assert isinstance(seen, Looked)
    assert isinstance(plain, Looked)
    assert (seen.sha256, seen.seconds) == (plain.sha256, plain.seconds)


def test_a_changed_one_is_refused_by_name_and_not_taken_for_sound(data: Path, tone: Path) -> None:
    path = kept(data, tone)
    held = bytearray(path.read_bytes())
    held[len(held) // 2] ^= 1
    path.write_bytes(held)
    for use in (lambda: read.read(path), lambda: clip(path, 1.0, 2.0), lambda: Recording.of(path, "sound")):
        with pytest.raises(BadRecording, match=r"\.wav\.sealed: was changed or damaged.*from a backup"):
            use()
    path.write_bytes(held[:-50])
    with pytest.raises(BadRecording, match="is cut off"):
        read.read(path)


def test_without_the_key_it_is_refused(data: Path, tone: Path, tmp_path: Path) -> None:
    path = kept(data, tone)
    elsewhere = tmp_path / "elsewhere" / path.name
    elsewhere.parent.mkdir()
    path.rename(elsewhere)
    with pytest.raises(StoreError, match="the key of its store is not here"):
        read.read(elsewhere)


def test_long_sound_that_was_sealed_goes_to_no_disk_unsealed(
    data: Path, tone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dictate.spool.IN_MEMORY_BYTES", 1000)
    assert read.read(tone).on_disk is not None
    held = read.read(kept(data, tone))
    assert held.on_disk is None
    assert np.array_equal(held.samples, read.read(tone).samples)


def test_what_an_import_leaves_lying_is_sealed_line_by_line(data: Path) -> None:
    seen = Looked("Mrs Example.wav", "0" * 64, 3, 5, 2.0, None, None)
    with Ledger(data) as ledger:
        ledger.add(seen, 10**18)
    with Ledger(data) as ledger:
        assert ledger._known == {seen.path: seen}
    place = data / "importing" / "a.heard"
    said = [[Phrase((HeardWord("brown wax", 0.0, 1.0, 0.9),))]]
    with HeardFile(place) as heard:
        heard.keep("key", said)
    with HeardFile(place) as heard:
        assert heard.heard("key") == said
    for path in (data / "importing").iterdir():
        assert b"Example" not in path.read_bytes()
        assert b"brown wax" not in path.read_bytes()


def test_a_database_of_another_key_says_so(data: Path, tmp_path: Path) -> None:
    with Store(data) as store:
        store.set_person("Ann Example", "clinician")
    unlocking.hold(data, Vault(os.urandom(32)))
    with pytest.raises(StoreError, match=r"does not open with the key of this store.*same backup"):
        Store(data)


def test_chunks_are_found_without_the_rest(data: Path, tone: Path) -> None:
    path = kept(data, tone)
    with path.open("rb") as file:
        chunks = sealed.Chunks(Vault(bytes(32)), file, path)
        assert chunks.size == tone.stat().st_size
        with pytest.raises(BadRecording, match="another store"):
            chunks.read(0, 10)
