"""A small store with something in every table of the history, and everything a store answers."""

from __future__ import annotations

import wave
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

from shared.protecting import unlocking
from shared.record import Ear, Extent, Notice, Plan, Recall, Value, Visit
from shared.store import Change, Edit, Recording, Store, opening
from shared.store.copying import database
from shared.transcript import Transcript

ANN, BEN = "Ann Example", "Ben Sample"
TEXT = "Right ear. Sixteen millimetres. See again in six months. Next patient. Left ear. A little bleeding."


def visit(mm: int, side: str = "right") -> Visit:
    """A visit with an ear, a length, a recall and a notice."""
    length = Value[int](value=mm, heard="Sixteen millimetres", chars=(11, 30))
    number, unit = (
        Value[int](value=6, heard="six", chars=(45, 48)),
        Value[Any](value="months", heard="months", chars=(49, 55)),
    )
    return Visit(
        ears=[Ear(side=Value(value=side, heard="Right ear", chars=(0, 9)), removed_mm=[length])],
        plan=Plan(recall=Recall(number=number, unit=unit)),
        extent=Extent(chars=(0, 56), confidence=1),
        notices=[Notice(kind="x", weight=1, must_decide=False, message="Look.", guidance="ours")],
    )


def sound(folder: Path, name: str, number: int) -> Recording:
    """A recording like no other, ready to be kept."""
    place = folder / "incoming" / name
    place.parent.mkdir(parents=True, exist_ok=True)
    with wave.open(str(place), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        file.writeframes(bytes([number % 256, number // 256 % 256]) * 4_000)
    return Recording.of(place, "sound")


def fill(folder: Path, recordings: int = 3) -> None:
    """Recordings with two visits each: changed, undone, signed, amended, split, recalled, with their sound."""
    with Store(folder) as store:
        store.set_person(ANN, "clinician")
        store.set_person(BEN, "assistant")
        store.set_person("Cy Sample", "auditor")
        store.set_person("Cy Sample", "auditor", active=False)
        for n in range(recordings):
            transcript = Transcript.from_text(f"{TEXT} {n}")
            store.keep(
                sound(folder.parent, f"{n}.wav", n),
                transcript,
                [visit(16 + n), visit(9, "left")],
                keep_sound=True,
            )
        change(store, 1, 18)
        store.undo(1, BEN, revision=store.visit(1).revision)
        change(store, 1, 20)
        store.sign(1, ANN, revision=store.visit(1).revision)
        store.mark_recall(1, "postponed", ANN, until=date(2027, 1, 4))
        store.amend(1, ANN, "a wrong length", revision=store.visit(1).revision)
        change(store, 1, 21)
        store.sign(1, ANN, revision=store.visit(1).revision)
        own = Change("words", "put right", visit(5), transcript=Transcript.from_text(TEXT + " Put right."))
        store.change(2, own, BEN, revision=store.visit(2).revision)
        store.split(
            3, Change("split", "split", visit(3)), visit(4, "left"), ANN, revision=store.visit(3).revision
        )


def change(store: Store, number: int, mm: int, who: str = ANN) -> None:
    """Put a length right."""
    made = Change(
        "correct", f"to {mm}", visit(mm), (Edit("removed_mm", "right", 16, mm, "Sixteen millimetres"),)
    )
    store.change(number, made, who, revision=store.visit(number).revision)


def rows(folder: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table as it stands in the file, whatever made it."""
    vault = unlocking.vault(folder)
    with closing(opening.connect(database(folder), vault)) as db:
        names = [n for (n,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {n: sorted(db.execute(f"SELECT * FROM {n}").fetchall(), key=repr) for n in names}


def answers(folder: Path) -> list[Any]:
    """What the store answers: every visit, its history and signatures, transcripts, lists, recalls, people."""
    with Store(folder) as store:
        ids = [n for (n,) in store._db.execute("SELECT id FROM visits ORDER BY id").fetchall()]
        return [
            [
                (
                    store.visit(n),
                    store.history(n),
                    store.signatures(n),
                    store.transcript(store.visit(n).transcript),
                )
                for n in ids
            ],
            store.visits(limit=100),
            store.recalls(),
            store.people(),
            store.search("bleeding"),
            [(place.name, place.read_bytes()) for r in store.recordings() if (place := store.sound(r.id))],
            store.verify(),
        ]
