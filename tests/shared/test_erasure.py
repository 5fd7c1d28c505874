"""Recordings kept as the practice decided, and erasing what is held of a patient: with a tombstone, for good."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes

from shared.errors import BadInput, NotAllowed
from shared.protecting import files as protected_files
from shared.protecting import key_file, unlocking
from shared.record import Ear, Extent, Value, Visit
from shared.store import Change, Recording, Store, opening, protecting, sounds
from shared.store.retention import Retention
from shared.transcript import Transcript, Word

ANN, BEN, CAT = "Ann Example", "Ben Sample", "Cat Sample"
FIRST = "Patient B52. Right ear. Sixteen millimetres of marzipan."
SECOND = "Next patient. 4711. Left ear. Turnip stuck."
WHY = "asked in writing"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "data") as opened:
        for name, role in ((ANN, "clinician"), (BEN, "assistant"), (CAT, "auditor")):
            opened.set_person(name, role)  # type: ignore[arg-type]
        yield opened


@pytest.fixture(params=["plain", "protected"])
def either(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """A store, and another that is encrypted."""
    if request.param == "protected":
        Store(tmp_path / "data").close()
        protecting.protect(
            tmp_path / "data", "four quiet otters swim", show=lambda key: None, progress=lambda size: None
        )
    with Store(tmp_path / "data") as opened:
        for name, role in ((ANN, "clinician"), (BEN, "assistant"), (CAT, "auditor")):
            opened.set_person(name, role)  # type: ignore[arg-type]
        yield opened
    unlocking.forget()


def visit(text: str, whole: str, reference: str, ear: str, by: int = 0) -> Visit:
    def said(value: Any, words: str) -> Value[Any]:
        start = whole.index(words)
        return Value(value=value, heard=words, chars=(start, start + len(words)))

    start = whole.index(text)
    extent = Extent(
        chars=(start, start + len(text)), seconds=(start / 10, (start + len(text)) / 10), confidence=1
    )
    length = [said(16 + by, "Sixteen millimetres")] if "Sixteen" in text else []
    side = said(ear, f"{ear.title()} ear")
    return Visit(
        patient_reference=said(reference, reference), ears=[Ear(side=side, removed_mm=length)], extent=extent
    )


def keep(store: Store, *, both: bool = True, name: str = "a.wav") -> tuple[int, ...]:
    """A recording of one patient, or of two; with a copy of its sound."""
    text = f"{FIRST} {SECOND}" if both else FIRST
    place = store.folder.parent / f"Mrs Marzipan {name}"
    place.write_bytes(b"RIFF" + name.encode() * 99 + text.encode())
    words = tuple(
        Word(chars=(n, n + 1), seconds=(n / 10, n / 10 + 0.1), probability=1) for n in range(0, len(text), 2)
    )
    transcript = Transcript(text=text, words=words, source=str(place), duration=len(text) / 10)
    visits = [visit(FIRST, text, "B52", "right")] + ([visit(SECOND, text, "4711", "left")] if both else [])
    kept = store.keep(Recording.of(place, "sound"), transcript, visits, keep_sound=True)
    place.unlink()
    return kept.visits


def sign(store: Store, *numbers: int) -> None:
    for number in numbers:
        store.sign(number, ANN, revision=store.visit(number).revision)


def files(store: Store) -> list[Path]:
    return [p for p in sounds.folder(store.folder).iterdir() if p.is_file()]


def everything(store: Store) -> bytes:
    """All bytes of all files in the data folder, as whoever has the key could read them."""
    return b"\0".join(_readable(store, p) for p in sorted(store.folder.rglob("*")) if p.is_file())


def _readable(store: Store, path: Path) -> bytes:
    vault = unlocking.vault(store.folder)
    if vault is None or path.name in (key_file.NAME, protecting.LOCK) or path.name.endswith("-shm"):
        return path.read_bytes()
    if not path.name.startswith(opening.PROTECTED_NAME):
        with protected_files.opened(path) as file:
            return file.read()
    # SQLCipher 4: each page of 4096 bytes is encrypted by AES-256-CBC but for its last 80, of which the first 16 are
    # the nonce; the file begins with 16 bytes of salt. A log has 32 bytes before, and 24 before each page (SQLite,
    # "Database File Format", 4.1).
    held, out = path.read_bytes(), b""
    start, between = (32, 24) if path.name.endswith("-wal") else (0, 0)
    for at in range(start + between, len(held), 4096 + between):
        page = held[at : at + 4096]
        salt = 16 if not between and at == 0 else 0
        decryptor = Cipher(algorithms.AES(vault.database), modes.CBC(page[-80:-64])).decryptor()
        plain = decryptor.update(page[salt:-80]) + decryptor.finalize()
        out += plain
    return out


# --- how long recordings are kept


def test_recordings_are_kept_unless_the_practice_decides_otherwise(store: Store) -> None:
    sign(store, *keep(store))
    assert store.keep_days() is None
    assert store.delete_due_sounds(now=datetime.now(UTC) + timedelta(days=9999)) == 0
    assert len(files(store)) == 1


def test_so_many_days_after_the_last_signature(either: Store) -> None:
    first, second = keep(either)
    recording = either.visit(first).recording_id
    either.set_keep_days(30, by=ANN)
    now = datetime.now(UTC)
    sign(either, first)
    assert either.due_sounds(now=now + timedelta(days=9999)) == []  # one is not signed yet
    sign(either, second)
    assert either.due_sounds(now=now + timedelta(days=29)) == []
    opened = either.amend(second, ANN, "a slip", revision=either.visit(second).revision)
    assert either.due_sounds(now=now + timedelta(days=9999)) == []  # nor while it is amended
    either.sign(second, ANN, revision=opened.revision)
    assert either.delete_due_sounds(now=now + timedelta(days=31)) == 1
    assert files(either) == []
    assert either.sound(recording) is None
    for number in (first, second):
        assert either.history(number)[-1].what == "its recording was deleted 30 days after signing"
        assert either.visit(number).locked
    assert either.delete_due_sounds(now=now + timedelta(days=31)) == 0
    assert either.verify().faults == ()


def test_at_signing(either: Store) -> None:
    first, second = keep(either)
    either.set_keep_days(0)
    sign(either, first)
    assert len(files(either)) == 1
    sign(either, second)
    assert files(either) == []
    assert [e.kind for e in either.history(second)] == ["read", "sign", "sound"]


def test_drafts_keep_their_sound_whatever_is_decided(store: Store) -> None:
    keep(store)
    store.set_keep_days(0)
    assert store.delete_due_sounds(now=datetime.now(UTC) + timedelta(days=9999)) == 0
    assert len(files(store)) == 1


def test_an_amendment_can_be_withdrawn_after_the_sound_is_gone(store: Store) -> None:
    (first,) = keep(store, both=False)
    store.set_keep_days(0)
    sign(store, first)
    opened = store.amend(first, ANN, "a slip", revision=store.visit(first).revision)
    assert store.undo(first, ANN, revision=opened.revision).status == "signed"
    assert store.verify().faults == ()


def test_a_deleted_sound_is_not_brought_back_by_reading_the_file_again(store: Store) -> None:
    (first,) = keep(store, both=False)
    store.set_keep_days(0)
    sign(store, first)
    assert keep(store, both=False) == (first,)
    assert files(store) == []


@pytest.mark.parametrize("dies", ["unlink", "flush"])
def test_what_a_crash_left_over_is_deleted_later(
    store: Store, monkeypatch: pytest.MonkeyPatch, dies: str
) -> None:
    (first,) = keep(store, both=False)
    store.set_keep_days(0)
    with monkeypatch.context() as patch:

        def killed(*_: Any, **__: Any) -> None:
            raise KeyboardInterrupt

        patch.setattr(*((Path, "unlink") if dies == "unlink" else ("shared.store.schema.flush",)), killed)
        with pytest.raises(KeyboardInterrupt):
            sign(store, first)
    with Store(store.folder) as again:
        assert again.visit(first).status == "signed"
        assert again.sound(again.visit(first).recording_id) is None
        again.sweep()
        assert files(again) == []
        assert again._rows("SELECT * FROM erasing") == []


def test_a_sound_that_cannot_be_removed_does_not_undo_a_signature(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    (first,) = keep(store, both=False)
    store.set_keep_days(0)

    def refused(self: Retention) -> None:
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patch:
        patch.setattr(Retention, "sweep", refused)
        sign(store, first)
    assert store.visit(first).status == "signed"
    store.sweep()
    assert files(store) == []


def test_the_rules_are_in_the_history_and_found_if_changed(store: Store, tmp_path: Path) -> None:
    store.set_keep_days(30, by=ANN)
    store.set_lock_minutes(5, by=ANN)
    store.set_standing_notice("Recording notice, version 2", by=ANN)
    for bad in (-1, 36_501):
        with pytest.raises(BadInput):
            store.set_keep_days(bad)
    assert (store.keep_days(), store.lock_minutes()) == (30, 5)
    assert store.verify().faults == ()
    with sqlite3.connect(store.path) as db:
        db.execute("UPDATE rules SET value = '0' WHERE name = 'keep_days'")
    db.close()
    assert store.verify().faults == ("the practice's rule 'keep_days' is not what the history says",)


# --- agreement to being recorded


def test_agreement_is_kept_with_the_visit_and_outside_its_record(store: Store) -> None:
    first, second = keep(store)
    record = store.visit(first).visit
    assert store.agreement(first) is None
    store.set_agreement(first, "agreed", BEN, chars=(0, 12))
    found = store.agreement(first)
    assert found
    assert (found.what, found.heard, found.chars, found.who) == ("agreed", "Patient B52.", (0, 12), BEN)
    with pytest.raises(BadInput, match="stands already"):
        store.set_agreement(first, "agreed", BEN, chars=(0, 12))
    with pytest.raises(BadInput, match="no standing notice"):
        store.set_agreement(second, "notice", ANN)
    store.set_standing_notice("Notice at the door, version 2")
    store.set_agreement(second, "notice", ANN)
    sign(store, first, second)
    store.set_agreement(second, "declined", ANN)  # also after signing: it is about the recording
    assert store.visit(first).visit == record
    assert store.visit(second).undo is None
    assert [e.what for e in store.history(second) if e.kind == "agreement"] == [
        "recorded under the standing notice “Notice at the door, version 2”",
        "the patient does not want to be recorded",
    ]
    with pytest.raises(NotAllowed):
        store.set_agreement(first, "open", CAT)
    assert store.verify().faults == ()


def test_undo_passes_an_agreement_by(store: Store) -> None:
    (first,) = keep(store, both=False)
    changed = store.change(
        first, Change("correct", "16 → 17", visit(FIRST, FIRST, "B52", "right", by=1)), ANN, revision=1
    )
    store.set_agreement(first, "agreed", ANN)
    assert store.undo(first, ANN, revision=changed.revision).visit == visit(FIRST, FIRST, "B52", "right")


# --- erasing


@pytest.mark.parametrize("signed", [False, True])
def test_everything_of_a_patient_is_erased_for_good(either: Store, signed: bool) -> None:
    (first,) = keep(either, both=False)
    either.set_agreement(first, "agreed", ANN, chars=(0, 12))
    if signed:
        sign(either, first)
        opened = either.amend(first, ANN, "a slip", revision=either.visit(first).revision)
        sign(either, first)
        assert opened
    assert b"marzipan" in everything(either)
    before = either.verify()
    done = either.erase_patient("b 52", ANN, WHY)
    assert (done.visits, done.recordings) == ([first], [1])
    held = everything(either)
    for word in (b"marzipan", b"Marzipan", b"B52", b"Sixteen"):
        assert word not in held, word
    after = either.verify()
    assert after.faults == ()
    (stone,) = after.tombstones
    assert stone.startswith(f"visit {first}: erased on ")
    assert stone.endswith(f"by {ANN}: {WHY}")
    assert after.entries > before.entries
    for ask in (either.visit, either.signatures, lambda n: either.as_of(n, 1))[: 3 if signed else 1]:
        with pytest.raises(BadInput, match="was erased on"):
            ask(first)
    assert either.visits().rows == ()
    assert either.search("marzipan") == []
    assert (either.counts().draft, either.counts().signed) == (0, 0)
    assert [e.erased for e in either.history(first)][-1] is False
    with pytest.raises(BadInput, match="nothing is held"):
        either.held("B52")


def test_another_patient_in_the_recording_keeps_their_record(either: Store) -> None:
    first, second = keep(either)
    with pytest.raises(NotAllowed, match=f"visit {second}"):
        either.erase_patient("B52", ANN, WHY)  # unsigned, it could not be checked by ear any more
    sign(either, first, second)
    record, signature = either.visit(second), either.signatures(second)
    done = either.erase_patient("B52", ANN, WHY)
    assert done.visits == [first]
    held = everything(either)
    assert b"marzipan" not in held
    assert b"Turnip" in held
    assert either.visit(second).visit == record.visit
    assert either.signatures(second) == signature
    words = either.transcript(record.transcript)
    assert words.text[slice(*record.visit.extent.chars)] == SECOND
    assert words.text.strip() == SECOND
    assert all(w.chars[0] >= record.visit.extent.chars[0] for w in words.words)
    assert [h.visits for h in either.search("turnip")] == [(second,)]
    assert either.sound(record.recording_id) is None
    assert either.history(second)[-1].what == "its recording was erased with another patient's"
    assert either.verify().faults == ()


def test_the_sound_alone(either: Store) -> None:
    first, second = keep(either)
    sign(either, first)
    with pytest.raises(NotAllowed, match=f"nobody has signed .visit {second}"):
        either.erase_recordings("B52", ANN, WHY)
    assert len(files(either)) == 1
    sign(either, second)
    done = either.erase_recordings("B52", ANN, WHY)
    assert (done.visits, done.recordings, files(either)) == ([], [1], [])
    assert done.left == [
        f"{either.folder.parent / 'Mrs Marzipan a.wav'}: the file that was taken in, if it is still there"
    ]
    assert either.visit(first).visit.plain()["patient_reference"] == "B52"
    assert either.erase_recordings("B52", ANN, WHY).recordings == []
    assert either.verify().faults == ()


def test_what_gave_way_and_words_put_right_go_too(either: Store) -> None:
    (first,) = keep(either, both=False)
    own = Transcript.from_text(FIRST.replace("marzipan", "marzipan cake"))
    either.change(
        first, Change("words", "put right", either.visit(first).visit, transcript=own), ANN, revision=1
    )
    text = FIRST + " Once more marzipan."
    either.keep(
        Recording(either._rows("SELECT sha256 FROM recordings")[0]["sha256"], "b.wav", 9, "sound"),
        Transcript.from_text(text),
        [visit(FIRST, text, "B52", "right")],
        replace=True,
    )
    either.erase_patient("B52", ANN, WHY)
    assert b"marzipan" not in everything(either)
    assert either.verify().faults == ()
    assert len(either.verify().tombstones) == 2


def test_an_erased_recording_is_not_taken_in_again(either: Store) -> None:
    keep(either, both=False)
    either.erase_patient("B52", ANN, WHY)
    with pytest.raises(BadInput, match="was erased"):
        keep(either, both=False)
    assert files(either) == []
    assert b"marzipan" not in everything(either).replace(b"Mrs", b"")


@pytest.mark.parametrize(("who", "why"), [(BEN, WHY), (CAT, WHY), ("Nobody", WHY), (ANN, "  ")])
def test_only_a_clinician_with_a_reason_erases(store: Store, who: str, why: str) -> None:
    (first,) = keep(store, both=False)
    sign(store, first)
    for erase in (store.erase_patient, store.erase_recordings):
        with pytest.raises(BadInput):
            erase("B52", who, why)
    assert store.visit(first).locked
    assert len(files(store)) == 1


@pytest.mark.parametrize("at", range(1, 12))
def test_killed_while_erasing_it_is_all_there_or_all_gone(
    either: Store, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    """Interrupted at the so-manieth statement."""
    first, second = keep(either)
    sign(either, first, second)
    count, plain = 0, either._execute

    def counted(sql: str, *values: Any) -> None:
        nonlocal count
        count += 1
        if count == at + 1:
            raise KeyboardInterrupt
        plain(sql, *values)

    monkeypatch.setattr(either, "_execute", counted)
    with pytest.raises(KeyboardInterrupt):
        either.erase_patient("B52", ANN, WHY)
    with Store(either.folder) as again:
        assert again.verify().faults == ()
        assert again.verify().tombstones == ()
        assert again.visit(first).locked
        assert again.sound(again.visit(first).recording_id)
        again.erase_patient("B52", ANN, WHY)
        assert b"marzipan" not in everything(again)


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE visits SET status = 'replaced', erased = '2026', record = '{}' WHERE id = 2",
        "UPDATE entries SET content = NULL WHERE visit_id = 2",
        "UPDATE visits SET record = '{\"outcome\": 1}' WHERE id = 1",
        "UPDATE visits SET status = 'draft', erased = NULL WHERE id = 1",
        "UPDATE signatures SET reason = 'x' WHERE visit_id = 1",
        "UPDATE signatures SET reason = NULL, who = 'Ben Sample' WHERE visit_id = 1",
        "DELETE FROM agreements WHERE visit_id = 2",
        "UPDATE transcripts SET text = 'Left.'",
        "DELETE FROM transcripts",
    ],
)
def test_a_tombstone_opens_nothing_else_to_any_tool(store: Store, sql: str) -> None:
    first, second = keep(store)
    store.set_agreement(second, "agreed", ANN)
    sign(store, first, second)
    store.erase_patient("B52", ANN, WHY)
    with sqlite3.connect(store.path) as db, pytest.raises(sqlite3.IntegrityError):
        db.execute(sql)
    db.close()
    assert store.verify().faults == ()


def test_what_is_put_back_into_an_erased_visit_is_found(store: Store) -> None:
    (first,) = keep(store, both=False)
    store.erase_patient("B52", ANN, WHY)
    with sqlite3.connect(store.path) as db:
        db.execute("DROP TRIGGER visits_update")
        db.execute("UPDATE visits SET record = '{\"outcome\": 1}'")
    db.close()
    assert store.verify().faults == (f"visit {first}: it was erased, and yet something is held of it",)
