"""Journals in a protected data folder: nothing plain on the disk, and as hard to lose as the plain ones."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import wave
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from desk.so_far import remember, remembered
from dictate import journals, read, tape
from dictate.events import Utterance
from dictate.journal import BYTES_A_SECOND, Journal
from shared.errors import BadRecording
from shared.protecting import files, key_file, unlocking
from shared.protecting.vault import Vault

PASSPHRASE = "four quiet otters swim"
SOUND = (np.sin(np.arange(3 * 16_000) / 7) * 9000).astype("<i2").tobytes()
VAULT = Vault(bytes(range(32)))


@pytest.fixture
def data(tmp_path: Path) -> Iterator[Path]:
    (tmp_path / key_file.NAME).write_bytes(key_file.make(VAULT, PASSPHRASE)[0])
    unlocking.hold(tmp_path, VAULT)
    yield tmp_path
    unlocking.forget()


def nothing_plain(folder: Path) -> None:
    for path in folder.rglob("*"):
        held = path.read_bytes() if path.is_file() else b""
        for told in (b"WAVEfmt ", b"Example", b"brown", SOUND[1000:1016]):
            assert told not in held, path


def test_a_journal_is_sealed_and_reads_as_the_wav_file_it_is(data: Path) -> None:
    folder = data / "listening"
    journal = Journal.begin(folder, who="Ann Example", room=0)
    for at in range(0, len(SOUND), 3200):
        journal.write(SOUND[at : at + 3200])
    journal.note("paused")
    assert journal.flush() == 0
    assert journal.read(100, 20_000).tobytes() == SOUND[200:40_000]
    found = journals.find(folder, journal.id)
    assert found is not None
    assert (found.who, found.seconds, found.in_use, found.closed) == ("Ann Example", 3.0, True, False)
    assert found.path.name == f"{journal.id}.wav.sealed"
    with pytest.raises(BadRecording, match="cut off"):  # not finished yet
        read.read(found.path)
    nothing_plain(data)
    journal.close()
    assert read.read(found.path).samples.tobytes() == SOUND
    with files.opened(found.path) as file, wave.open(file) as sound:
        assert sound.getparams()[:3] == (1, 2, 16_000)
    (again,) = journals.unfinished(folder)
    assert (again.closed, len(again.pauses)) == (True, 1)
    nothing_plain(data)
    journals.remove(folder, journal.id)
    assert list(folder.iterdir()) == []


def test_it_is_gone_on_with_wherever_it_was_cut(data: Path) -> None:
    folder = data / "listening"
    folder.mkdir()
    whole = tape.opened(folder, "a", VAULT)
    for at in range(0, 1000, 100):
        whole.put(SOUND[at : at + 100], at)
    whole.close()
    held = whole.path.read_bytes()
    for size in range(0, len(held), 13):
        whole.path.write_bytes(held[:size])
        again = tape.opened(folder, "a", VAULT)
        assert again.size % 100 == 0
        assert again.size >= (size - 250) // 132 * 100
        assert again.read(0, again.size) == SOUND[: again.size]
        again.put(b"more", again.size)
        again.finish()
        again.close()
        assert read.read(whole.path).samples.tobytes() == SOUND[: again.size] + b"more"


def test_what_the_disk_did_not_take_is_written_again_without_using_a_nonce_twice(data: Path) -> None:
    folder = data / "listening"
    folder.mkdir()
    written = tape.opened(folder, "a", VAULT)
    written.put(SOUND[:500], 0)
    written.put(SOUND[500:900], 500)
    before = written.path.read_bytes()
    written.put(SOUND[500:1001], 500)
    after = written.path.read_bytes()
    assert after[:600] == before[:600]
    assert before[-430:-414] not in after
    written.close()
    again = tape.opened(folder, "a", VAULT)  # half a sample is none
    assert again.size == 1000
    again.finish()
    again.close()
    assert read.read(again.path).samples.tobytes() == SOUND[:1000]


def test_a_changed_journal_is_refused(data: Path) -> None:
    folder = data / "listening"
    journal = Journal.begin(folder, room=0)
    for at in range(0, len(SOUND), 32_000):
        journal.write(SOUND[at : at + 32_000])
        journal.flush()
    journal.close()
    whole = journal.path.read_bytes()
    for at, what in ((len(whole) // 2, "was changed"), (-40, "was changed"), (-20, "was changed")):
        held = bytearray(whole)
        held[at] ^= 1
        journal.path.write_bytes(held)
        with pytest.raises(BadRecording, match=rf"wav\.sealed: {what}"):
            read.read(journal.path)
    journal.path.write_bytes(whole[:40] + b"\xff" * 4 + whole[44:] + bytes(1 << 20))
    with pytest.raises(BadRecording, match="damaged in the middle"):
        Journal.reopen(folder, journal.id)
    assert journal.path.stat().st_size == len(whole) + (1 << 20)


def test_what_a_power_cut_left_at_the_end_is_passed_over(data: Path) -> None:
    """Blocks that were not flushed come back as zeros, or as what stood there before."""
    folder = data / "listening"
    folder.mkdir()
    for rest in (bytes(5000), b"\x10\0\0\0" + bytes(500), os.urandom(3000)):
        written = tape.opened(folder, "a", VAULT)
        written.put(SOUND[:1000], 0)
        written.flush()
        written.close()
        with written.path.open("ab") as file:
            file.write(rest)
        again = tape.opened(folder, "a", VAULT)
        assert again.read(0, again.size) == SOUND[:1000]
        again.finish()
        again.close()
        assert read.read(again.path).samples.tobytes() == SOUND[:1000]


def test_words_so_far_are_sealed_too(data: Path) -> None:
    path = data / "listening" / "a.heard"
    path.parent.mkdir()
    said = [Utterance(0.0, 1.0, "brown wax", ()), Utterance(1.0, 2.0, "dark brown", ())]
    for one in said:
        remember(path, one)
    nothing_plain(data)
    assert remembered(path, 10.0) == said
    with path.open("ab") as file:
        file.write(b"cut off")
    assert remembered(path, 10.0) == said


WRITER = """
import sys, time
from pathlib import Path
from dictate.journal import Journal
from shared.protecting import unlocking
from shared.protecting.vault import Vault
data = Path(sys.argv[1])
unlocking.hold(data, Vault(bytes(range(32))))
journal = Journal.begin(data / "listening", room=0)
print(journal.id, flush=True)
for n in range(10_000):
    journal.write(n.to_bytes(2, "little") * 1600)
    print(n + 1, flush=True)
    time.sleep(0.01)
"""


def test_killed_it_has_lost_less_than_a_second(data: Path) -> None:
    """Each piece is a tenth of a second; ten come in the time of one, so that the test is short."""
    child = subprocess.Popen([sys.executable, "-c", WRITER, str(data)], stdout=subprocess.PIPE, text=True)
    assert child.stdout
    name = child.stdout.readline().strip()
    time.sleep(0.4)
    os.kill(child.pid, signal.SIGKILL)
    given = int(child.stdout.read().split()[-1])
    child.wait()
    found = journals.find(data / "listening", name)
    assert found is not None
    assert found.seconds >= given / 10 - 1.0
    assert found.seconds > 0
    nothing_plain(data)
    Journal.reopen(data / "listening", name).close()
    samples = read.read(found.path).samples
    assert (samples == np.repeat(np.arange(len(samples) // 1600), 1600)).all()
    assert len(samples) * 2 >= (given / 10 - 1.0) * BYTES_A_SECOND
