"""An unprotected data folder with everything in it that can hold patients' talk, and what must not be found of it."""

from __future__ import annotations

import json
import wave
from pathlib import Path

import numpy as np

from desk.importing.ledger import Ledger
from desk.importing.look import Looked
from desk.so_far import remember
from dictate.events import Utterance
from dictate.journal import Journal
from shared.record import Ear, Extent, Value, Visit
from shared.store import Recording, Store
from shared.transcript import Transcript

PASSPHRASE = "four quiet otters swim"
TEXT = "Patient zanzibar seven. Right ear, treacle coloured wax, sixteen millimetres."
SOUND = (np.sin(np.arange(32_000) / 5) * 9000).astype("<i2").tobytes()
TOLD = (
    b"zanzibar",
    b"treacle",
    b"Marmalade",
    b"WAVEfmt ",
    b"OggS\0\x02",
    b"fLaC\0\0\0\x22",
    b"SQLite format 3",
    SOUND[500:532],
)
"""Words of the patient, of a file's name, the beginnings of files of sound and of a database, sound itself: each so
long that sealed bytes, which are as random, do not hold it by chance."""


def fill(data: Path, source: Path, visits: int = 3) -> None:
    source.mkdir(exist_ok=True)
    with Store(data) as store:
        store.set_person("Ann Example", "clinician")
        for number in range(visits):
            path = source / f"Marmalade {number}.wav"
            with wave.open(str(path), "wb") as out:
                out.setparams((1, 2, 16_000, 0, "NONE", ""))
                out.writeframes(number.to_bytes(2, "little") + SOUND)
            said = Transcript.from_text(f"{TEXT} {number}", str(path))
            side = Value(value="right", heard="Right ear", chars=(24, 33))
            visit = Visit(ears=[Ear(side=side)], extent=Extent(chars=(0, len(TEXT)), confidence=1))
            store.keep(Recording.of(path, "sound"), said, [visit], keep_sound=True)
        store.sign(1, "Ann Example", revision=store.visit(1).revision)
    left_over(data)
    with Ledger(data) as ledger:
        ledger.add(Looked("/clinic/Marmalade 9.wav", "0" * 64, 3, 5, 2.0, None, None), 10**18)
    (data / "importing" / f"{'a' * 64}.json").write_text(json.dumps({"text": TEXT}))
    (data / "earside-before-2.db").write_bytes(b"SQLite format 3\0" + TEXT.encode())
    (data / ".earside-a1b2").write_text(TEXT)
    (data / "recordings" / ".0011.part").write_bytes(b"RIFF" + SOUND)


def left_over(data: Path) -> str:
    """A dictation of which no record was made; its journal's name."""
    journal = Journal.begin(data / "listening", who="Ann Example", room=0)
    journal.write(SOUND)
    journal.note("paused")
    journal.close()
    remember(journal.path.with_name(f"{journal.id}.heard"), Utterance(0.0, 1.0, TEXT, ()))
    return journal.id


def told(data: Path) -> list[str]:
    """What of TOLD is found in which file, by its bytes."""
    held = {path: path.read_bytes() for path in data.rglob("*") if path.is_file()}
    assert held
    return [f"{word!r} in {path.name}" for path, content in held.items() for word in TOLD if word in content]
