"""A morning's work on a store, for whoever looks on: python working.py FOLDER. After each step it writes to FOLDER/told
how many entries the history has, which recordings and what else must be there from then on."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

from stock import ANN, BEN, TEXT, change, sound, visit

from desk.safekeeping import archive, restoring
from shared.protecting import unlocking
from shared.store import Store, protecting
from shared.transcript import Transcript

PASSPHRASE = "four quiet otters swim"


def main(folder: Path) -> None:
    """Work, protect, back up, restore."""
    data = folder / "data"
    told = os.open(folder / "told", os.O_CREAT | os.O_WRONLY, 0o600)

    def tell(**also: object) -> None:
        with Store(data) as store:
            head = store.verify()
            sounds = sorted(r.id for r in store.recordings() if store.sound(r.id))
        said = {"entries": head.entries, "head": head.head, "sounds": sounds, **also}
        os.write(told, json.dumps(said).encode() + b"\n")

    def keep(n: int) -> None:
        with Store(data) as store:
            text = Transcript.from_text(f"Patient {4710 + n}. {TEXT} {n}")
            made = visit(16 + n).model_copy(update={"patient_reference": _reference(n)})
            store.keep(sound(folder.parent, f"{n}.wav", n), text, [made], keep_sound=True)
        tell()

    with Store(data) as store:
        store.set_person(ANN, "clinician")
        store.set_person(BEN, "assistant")
    tell()
    for n in range(3):
        keep(n)
    with Store(data) as store:
        change(store, 3, 18)
    tell()
    with Store(data) as store:
        store.sign(1, ANN, revision=store.visit(1).revision)
        store.sign(2, ANN, revision=store.visit(2).revision)
    tell()
    archive.make(data, folder / "backup.zip")
    tell(backup="backup.zip")
    with Store(data) as store:
        store.erase_recordings("4710", ANN, "a trial")
    tell(backup="backup.zip")
    with Store(data) as store:
        store.erase_patient("4711", ANN, "a trial")
    tell(backup="backup.zip")
    restoring.restore(folder / "backup.zip", folder / "restored")
    tell(backup="backup.zip", restored="restored")
    assert protecting.protect(data, PASSPHRASE, show=lambda key: None, progress=lambda size: None) == []
    assert unlocking.vault(data)
    tell(backup="backup.zip", restored="restored", protected=True)
    keep(3)
    with Store(data) as store:
        change(store, 3, 9)
        store.sign(3, ANN, revision=store.visit(3).revision)
    tell(backup="backup.zip", restored="restored", protected=True)


def _reference(n: int) -> object:
    from shared.record import Value  # noqa: PLC0415

    return Value[str](value=f"{4710 + n}", origin="entered")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
