"""What people do to visits: nothing is lost, nothing is changed unseen, and the history tells it all."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from shared.errors import BadInput, Conflict, EarsideError, NotAllowed, StoreError
from shared.record import After, Decision, Ear, Extent, Notice, Value, Visit
from shared.store import Change, Edit, Recording, Store, StoredVisit
from shared.transcript import Transcript

TEXT = "Right ear. Wax, sixteen millimetres. Next patient. Left ear. Drum intact. "
SISTER, HELPER, AUDITOR = "Ann Example", "Jo Lindqvist", "Rui Tavares"


def visit(mm: int = 16, side: str = "right", *, must_decide: bool = False) -> Visit:
    words: dict[str, Any] = {"heard": "Wax", "chars": (11, 14)}
    notice = Notice(
        kind="side_unstated", weight=9, must_decide=must_decide, message="Which ear?", guidance="ours"
    )
    return Visit(
        patient_reference=Value(value="417", heard="417", chars=(0, 3)),
        ears=[
            Ear(
                side=Value(value=side, **words),
                removed_mm=[Value(value=mm, **words)],
                after=After(drum=[Value(value="intact", **words)]),
            )
        ],
        extent=Extent(chars=(0, len(TEXT)), confidence=1),
        notices=[notice],
    )


def recording(name: str = "a.wav") -> Recording:
    return Recording(sha256=name.encode().hex().ljust(64, "0"), name=name, bytes=3, kind="sound")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as opened:
        opened.set_person(SISTER, "clinician")
        opened.set_person(HELPER, "assistant")
        opened.set_person(AUDITOR, "auditor")
        yield opened


def kept(store: Store, *visits: Visit) -> StoredVisit:
    ids = store.keep(recording(), Transcript.from_text(TEXT), visits or (visit(),)).visits
    return store.visit(ids[0])


def corrected(mm: int) -> Change:
    return Change("correct", f"16 → {mm}", visit(mm), (Edit("removed_mm", "right", 16, mm, "Wax"),))


# --- signing and amending


def test_a_signature_locks_and_an_amendment_keeps_what_was_signed(store: Store) -> None:
    draft = kept(store)
    signed = store.sign(draft.id, SISTER, revision=draft.revision)
    assert (signed.status, signed.locked, signed.undo) == ("signed", True, None)
    for act in (
        lambda: store.change(draft.id, corrected(9), SISTER, revision=signed.revision),
        lambda: store.undo(draft.id, SISTER, revision=signed.revision),
        lambda: store.sign(draft.id, SISTER, revision=signed.revision),
    ):
        with pytest.raises(NotAllowed, match="signed and locked"):
            act()
    with pytest.raises(BadInput, match="needs a reason"):
        store.amend(draft.id, SISTER, "  ", revision=signed.revision)
    with pytest.raises(NotAllowed, match="only a clinician may amend"):
        store.amend(draft.id, HELPER, "typed the wrong length", revision=signed.revision)
    opened = store.amend(draft.id, SISTER, "typed the wrong length", revision=signed.revision)
    for act in (
        lambda: store.change(draft.id, corrected(9), HELPER, revision=opened.revision),
        lambda: store.undo(draft.id, HELPER, revision=opened.revision),
    ):
        with pytest.raises(NotAllowed, match="only a clinician may change what was signed"):
            act()
    changed = store.change(draft.id, corrected(9), SISTER, revision=opened.revision)
    assert (changed.status, changed.undo) == ("amending", "16 → 9")
    again = store.sign(draft.id, SISTER, revision=changed.revision)
    assert again.status == "amended"
    first, second = store.signatures(draft.id)
    assert (first.visit, first.amendment) == (draft.visit, None)
    assert (second.visit, second.amendment) == (changed.visit, "typed the wrong length")
    kinds = [e.kind for e in store.history(draft.id)]
    assert kinds == ["read", "sign", "amend", "correct", "sign"]
    assert store.as_of(draft.id, store.history(draft.id)[1].number) == draft.visit
    assert store.verify().faults == ()


def test_an_amendment_can_be_withdrawn(store: Store) -> None:
    draft = kept(store)
    signed = store.sign(draft.id, SISTER, revision=draft.revision)
    opened = store.amend(draft.id, SISTER, "by mistake", revision=signed.revision)
    back = store.undo(draft.id, SISTER, revision=opened.revision)
    assert (back.status, back.visit) == ("signed", draft.visit)
    with pytest.raises(NotAllowed, match="locked"):
        store.redo(draft.id, SISTER, revision=back.revision)


def test_what_must_be_decided_holds_up_signing_unless_a_reason_is_given(store: Store) -> None:
    draft = kept(store, visit(must_decide=True))
    with pytest.raises(NotAllowed, match=r"1 to decide before signing; first: Which ear\?"):
        store.sign(draft.id, SISTER, revision=draft.revision)
    signed = store.sign(draft.id, SISTER, revision=draft.revision, reason="patient had to leave")
    assert store.signatures(draft.id)[0].reason == "patient had to leave"
    assert signed.status == "signed"


def test_a_decided_notice_does_not_hold_up_signing(store: Store) -> None:
    draft = kept(store, visit(must_decide=True))
    decided = draft.visit.model_copy(deep=True)
    decided.notices[0].decision = Decision(by=SISTER, what="seen", reason="both are right")
    assert store.visits("undecided").rows[0].to_decide == 1
    changed = store.change(draft.id, Change("decide", "seen", decided), SISTER, revision=draft.revision)
    assert store.visits("undecided").rows == ()
    assert store.sign(draft.id, SISTER, revision=changed.revision).status == "signed"
    assert store.signatures(draft.id)[0].reason is None


def test_who_may_do_what(store: Store) -> None:
    draft = kept(store)
    with pytest.raises(NotAllowed, match="only a clinician may sign"):
        store.sign(draft.id, HELPER, revision=draft.revision)
    with pytest.raises(NotAllowed, match="may only read"):
        store.change(draft.id, corrected(9), AUDITOR, revision=draft.revision)
    with pytest.raises(BadInput, match="Known are: Ann Example"):
        store.change(draft.id, corrected(9), "Nobody", revision=draft.revision)
    store.set_person(SISTER, "clinician", active=False)
    with pytest.raises(NotAllowed, match="does not work here any more"):
        store.sign(draft.id, SISTER, revision=draft.revision)
    assert store.visit(draft.id) == draft


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE visits SET record = '{}' WHERE id = 1",
        "UPDATE visits SET status = 'draft' WHERE id = 1",
        "UPDATE visits SET status = 'replaced' WHERE id = 1",
        "UPDATE visits SET status = 'amending', clinician = 'Ann Example' WHERE id = 1",
        "UPDATE findings SET value = 3 WHERE visit_id = 1",
        "DELETE FROM findings WHERE visit_id = 1",
        "INSERT OR REPLACE INTO findings SELECT * FROM findings WHERE visit_id = 1",
        "DELETE FROM notices WHERE visit_id = 1",
        "UPDATE notices SET message = '' WHERE visit_id = 1",
        "DELETE FROM signatures",
        "UPDATE signatures SET who = 'Jo Lindqvist'",
        "INSERT OR REPLACE INTO signatures SELECT * FROM signatures",
        "UPDATE transcripts SET text = 'Left ear.' WHERE id = 1",
        "INSERT OR REPLACE INTO transcripts SELECT * FROM transcripts",
        "DELETE FROM visits WHERE id = 1",
        "INSERT OR REPLACE INTO visits SELECT * FROM visits WHERE id = 1",
        """INSERT OR REPLACE INTO visits SELECT 99, recording_id, transcript_id, ordinal, place, patient_reference,
        'draft', 1, when_at, when_from, clinician, ears, 0, 0, 0, 0, 0, 0, '{}', added, NULL FROM visits
        WHERE id = 1""",
    ],
)
def test_no_tool_changes_what_is_signed(store: Store, tmp_path: Path, sql: str) -> None:
    draft = kept(store)
    store.sign(draft.id, SISTER, revision=draft.revision)
    with sqlite3.connect(tmp_path / "earside.db") as db, pytest.raises(sqlite3.IntegrityError):
        db.execute(sql)
    assert store.verify().faults == ()
    assert store.visit(draft.id).visit == draft.visit


def test_a_later_reading_never_replaces_what_is_signed(store: Store) -> None:
    draft = kept(store)
    store.sign(draft.id, SISTER, revision=draft.revision)
    again = store.keep(recording(), Transcript.from_text(TEXT), [visit(99)], replace=True)
    assert (again.outcome, again.visits) == ("left", (draft.id,))


# --- the chain


@pytest.mark.parametrize(
    ("sql", "told"),
    [
        (
            "UPDATE entries SET who = 'Somebody Else' WHERE seq = 5",
            "entry 5: who, when or what sort was changed",
        ),
        (
            "UPDATE entries SET content = replace(content, '9', '8') WHERE seq = 5",
            "entry 5: its content was changed",
        ),
        ("DELETE FROM entries WHERE seq = 5", "entry 5: missing"),
        ("UPDATE entries SET seq = -seq WHERE seq IN (5, 6)", "entry"),
        (
            "UPDATE visits SET record = replace(record, '16', '61')",
            "visit 1: it is not what its history says",
        ),
        (
            "UPDATE entries SET content = NULL WHERE seq = 5",
            "entry 5: its content is gone without an entry that says so",
        ),
    ],
)
def test_what_was_changed_behind_its_back_is_named(store: Store, tmp_path: Path, sql: str, told: str) -> None:
    stored = kept(store)
    for mm in (9, 16):
        stored = store.change(stored.id, corrected(mm), SISTER, revision=stored.revision)
    head = store.verify().head
    assert store.verify().faults == ()
    with sqlite3.connect(tmp_path / "earside.db") as db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {name}")
        db.execute(sql)
    found = store.verify()
    assert any(told in fault for fault in found.faults), found.faults
    assert found.head == head or "seq" in sql


def test_the_hash_is_that_of_the_published_standard(store: Store) -> None:
    """Recomputed from the stored columns with the hash of FIPS 180-4 as coreutils' sha256sum has it."""
    kept(store)
    (row,) = store._rows("SELECT * FROM entries WHERE seq = 1")
    parts = ("at", "content_hash", "kind", "previous", "seq", "visit_id", "who")
    told = ",".join(f'"{p}":' + ("null" if row[p] is None else repr(row[p]).replace("'", '"')) for p in parts)
    for text, stated in ((f"{{{told}}}", row["hash"]), (row["content"], row["content_hash"])):
        sums = subprocess.run(["sha256sum"], input=text.encode(), capture_output=True, check=True).stdout
        assert sums.decode().split()[0] == stated


# --- split and merge


def test_a_split_is_undone_on_both_sides_at_once(store: Store) -> None:
    whole = kept(store)
    first, second = store.split(whole.id, corrected(9), visit(7, "left"), SISTER, revision=whole.revision)
    assert [(v.status, v.ordinal) for v in (first, second)] == [("draft", 1), ("draft", 2)]
    assert store.next_visit(first.id) == second.id
    back = store.undo(second.id, SISTER, revision=second.revision)
    assert back.status == "replaced"
    assert store.visit(whole.id).visit == whole.visit
    again = store.redo(whole.id, SISTER, revision=store.visit(whole.id).revision)
    assert (again.visit, store.visit(second.id).visit) == (first.visit, second.visit)
    changed = store.change(second.id, corrected(8), SISTER, revision=store.visit(second.id).revision)
    with pytest.raises(NotAllowed, match=f"visit {second.id}.*has been changed since"):
        store.undo(whole.id, SISTER, revision=again.revision)
    assert changed.undo == "16 → 8"
    assert store.verify().faults == ()


def test_a_merge_takes_the_next_visit_in_and_lets_it_out_again(store: Store) -> None:
    ids = store.keep(recording(), Transcript.from_text(TEXT), [visit(), visit(7, "left")]).visits
    both = store.merge(ids[0], ids[1], corrected(23), SISTER, revision=1, next_revision=1)
    assert [row.id for row in store.visits().rows] == [ids[0]]
    with pytest.raises(NotAllowed, match="gave way to another"):
        store.change(ids[1], corrected(1), SISTER, revision=store.visit(ids[1]).revision)
    store.undo(ids[0], SISTER, revision=both.revision)
    assert [store.visit(i).visit for i in ids] == [visit(), visit(7, "left")]
    assert [row.id for row in store.visits().rows] == list(ids)


# --- lists


def test_pages_join_up_and_hold_every_visit_once(store: Store) -> None:
    start = datetime(2026, 3, 2, 9, tzinfo=UTC)
    for n in range(7):
        at = (start + timedelta(hours=n // 2)).isoformat()
        made = Recording(f"{n:064}", f"{n}.wav", 1, "sound", started=at, started_from="dictation")
        store.keep(made, Transcript.from_text(f"{TEXT} {n}"), [visit(n + 1), visit(n + 20)])
    for asked in (
        {},
        {"words": "millimetres"},
        {"field": "removed_mm"},
        {"which": "waiting"},
        {"patient": "41"},
    ):
        seen, after = [], None
        while True:
            page = store.visits(**asked, after=after, limit=3)
            seen += [row.id for row in page.rows]
            after = page.next
            if after is None:
                break
        assert sorted(seen) == list(range(1, 15)), asked
        assert len(page.rows) == 2
    day = {"since": start + timedelta(hours=1), "until": start + timedelta(hours=2)}
    assert {row.recording for row in store.visits(**day).rows} == {"2.wav", "3.wav"}
    assert {row.recording for row in store.visits(**day, words="wax").rows} == {"2.wav", "3.wav"}
    assert [row.recording for row in store.visits(field="removed_mm", value=21, ear="right").rows] == [
        "1.wav"
    ]
    assert store.visits(field="removed_mm", value=21, ear="left").rows == ()
    assert [r.recording for r in store.visits(words="wax", field="removed_mm", value=21).rows] == ["1.wav"]
    with pytest.raises(BadInput, match="no place in a list"):
        store.visits(after="nonsense")


def test_a_finding_in_both_ears_is_one_visit(store: Store) -> None:
    two = visit()
    two.ears.append(visit(16, "left").ears[0])
    kept(store, two)
    assert len(store.visits(field="after.drum", value="intact").rows) == 1


def test_counts_follow_what_is_done(store: Store) -> None:
    draft = kept(store, visit(must_decide=True))
    store.fail(Recording("f" * 64, "broken.mp3", 9, "sound", path=Path("/x/broken.mp3")), "not a recording")
    counts = store.counts()
    assert (counts.draft, counts.undecided, counts.signed, counts.failed) == (1, 1, 0, 1)
    store.sign(draft.id, SISTER, revision=1, reason="known")
    counts = store.counts()
    assert (counts.draft, counts.undecided, counts.signed) == (0, 0, 1)


# --- recordings


def test_a_recording_waits_fails_and_is_read(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "Clinic 7.WAV"
    path.write_bytes(b"sound enough")
    made = Recording.of(path, "sound")
    number = store.wait(made)
    assert store.wait(made) == number
    assert [(r.status, r.tries) for r in store.recordings("waiting")] == [("waiting", 0)]
    assert store.fail(made, "the disk was full") == number
    assert store.fail(made, "cut off") == number
    (row,) = store.recordings("failed")
    assert (row.reason, row.tries, row.name) == ("cut off", 2, "Clinic 7.WAV")
    done = store.keep(made, Transcript.from_text(TEXT), [visit()], keep_sound=True)
    assert done.recording == number
    row = store.recording(number)
    assert (row.status, row.reason, row.tries, row.sound) == ("read", None, 3, True)
    assert store.fail(made, "tried again for nothing") == number
    assert store.recording(number).status == "read"
    with pytest.raises(BadInput):
        store.recording(99)


def test_a_copy_of_the_sound_is_kept_whole_and_for_this_user_only(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "a.WAV"
    path.write_bytes(b"x" * 3_000_000)
    made = Recording.of(path, "sound")
    number = store.keep(made, Transcript.from_text(TEXT), [], keep_sound=True).recording
    path.unlink()
    copy = store.sound(number)
    assert copy is not None
    assert copy.read_bytes() == b"x" * 3_000_000
    assert (copy.name, copy.parent.name) == (f"{made.sha256}.wav", "recordings")
    assert (copy.stat().st_mode & 0o777, copy.parent.stat().st_mode & 0o777) == (0o600, 0o700)
    assert [p.name for p in copy.parent.iterdir()] == [copy.name]


def test_without_a_copy_the_file_is_played_where_it_lies(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"sound")
    number = store.keep(Recording.of(path, "sound"), Transcript.from_text(TEXT), []).recording
    assert store.sound(number) == path
    path.write_bytes(b"another sound")
    assert store.sound(number) is None
    assert store.sound(99) is None


def test_a_file_that_changes_while_it_is_copied_is_refused(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"sound")
    made = Recording.of(path, "sound")
    path.write_bytes(b"other")
    with pytest.raises(StoreError, match="changed while it was read"):
        store.keep(made, Transcript.from_text(TEXT), [visit()], keep_sound=True)
    assert (store.visits().rows, store.recordings()) == ((), [])
    assert list((tmp_path / "recordings").iterdir()) == []


def test_the_start_of_a_visit_and_where_it_is_known_from(store: Store, tmp_path: Path) -> None:
    at = datetime(2026, 5, 4, 10, 30, tzinfo=UTC)
    said = Recording(
        "1" * 64, "a.wav", 1, "sound", started="2026-05-04T10:30:00.000Z", started_from="metadata"
    )
    later = visit()
    later.extent = Extent(chars=(0, 9), seconds=(90.0, 120.0), confidence=1)
    ids = store.keep(said, Transcript.from_text(TEXT), [visit(), later]).visits
    assert [(store.visit(i).when, store.visit(i).when_from) for i in ids] == [
        ("2026-05-04T10:30:00.000Z", "metadata"),
        ("2026-05-04T10:31:30.000Z", "metadata"),
    ]
    path = tmp_path / "old.wav"
    path.write_bytes(b"1")
    os.utime(path, (at.timestamp(), at.timestamp()))
    transcript = Transcript.from_text(TEXT).model_copy(update={"duration": 60.0})
    (other,) = store.keep(Recording.of(path, "sound"), transcript, [visit()]).visits
    assert (store.visit(other).when, store.visit(other).when_from) == (
        "2026-05-04T10:29:00.000Z",
        "file_time",
    )


# --- any order of anything


NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)
"""To make a failing run short takes minutes on a store."""


class AnyOrder(RuleBasedStateMachine):
    """Random operations by random people on the visits of two recordings."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.store = Store(Path(self.folder.name))
        self.store._db.execute("PRAGMA synchronous = OFF")
        self.states: dict[int, list[Any]] = {}

    def teardown(self) -> None:
        self.store.close()
        self.folder.cleanup()

    @initialize()
    def begin(self) -> None:
        self.store.set_person(SISTER, "clinician")
        self.store.set_person(HELPER, "assistant")
        for n in range(2):
            ids = self.store.keep(
                recording(f"{n}.wav"), Transcript.from_text(f"{TEXT}{n}"), [visit(), visit(7, "left")]
            ).visits
            for i in ids:
                self.states[i] = []

    def pick(self, data: st.DataObject) -> StoredVisit:
        return self.store.visit(data.draw(st.sampled_from(sorted(self.states))))

    def attempt(self, act: Any) -> Any:
        before = self.store.verify().entries
        try:
            return act()
        except EarsideError:
            assert self.store.verify().entries == before  # a refusal leaves nothing
            return None

    @rule(data=st.data(), mm=st.integers(1, 40), side=st.sampled_from(["right", "left", "unstated"]))
    def change(self, data: st.DataObject, mm: int, side: str) -> None:
        v = self.pick(data)
        made = Change("correct", f"to {mm}", visit(mm, side), (Edit("removed_mm", side, None, mm, "Wax"),))
        if self.attempt(lambda: self.store.change(v.id, made, SISTER, revision=v.revision)):
            self.states[v.id].append(v)

    @rule(data=st.data())
    def stale(self, data: st.DataObject) -> None:
        v = self.pick(data)
        with pytest.raises((Conflict, NotAllowed)):
            self.store.change(v.id, corrected(5), SISTER, revision=v.revision - 1)

    @rule(data=st.data())
    def undo_and_redo(self, data: st.DataObject) -> None:
        v = self.pick(data)
        alone = v.undo is not None and not self._is_bound(v)
        who = SISTER if v.status == "amending" else HELPER
        back = self.attempt(lambda: self.store.undo(v.id, who, revision=v.revision))
        assert back is not None or not alone
        if back is None or back.locked or back.status == "replaced":
            return
        assert back.redo == v.undo
        again = self.store.redo(v.id, who, revision=back.revision)
        assert (again.visit, again.status, again.transcript) == (v.visit, v.status, v.transcript)
        assert again.undo == v.undo

    def _is_bound(self, v: StoredVisit) -> bool:
        return bool(self.store._turnable(self.store._past(v.id), "undo")[-1].together)

    @rule(data=st.data())
    def undo_all(self, data: st.DataObject) -> None:
        v = self.pick(data)
        entries = self.store._past(v.id)
        while v.undo and not v.locked:
            back = self.attempt(lambda v=v: self.store.undo(v.id, SISTER, revision=v.revision))
            if back is None:
                return
            v = back
        barrier = [p.number for p in entries if p.kind in ("read", "new", "sign", "replaced")][-1]
        if v.status in ("draft", "signed"):
            assert v.visit == self.store.as_of(v.id, barrier)

    @rule(data=st.data())
    def sign(self, data: st.DataObject) -> None:
        v = self.pick(data)
        self.attempt(
            lambda: self.store.sign(v.id, data.draw(st.sampled_from([SISTER, HELPER])), revision=v.revision)
        )

    @rule(data=st.data())
    def amend(self, data: st.DataObject) -> None:
        v = self.pick(data)
        self.attempt(lambda: self.store.amend(v.id, SISTER, "second thoughts", revision=v.revision))

    @precondition(lambda self: len(self.states) < 9)
    @rule(data=st.data(), mm=st.integers(1, 40))
    def split(self, data: st.DataObject, mm: int) -> None:
        v = self.pick(data)
        halves = self.attempt(
            lambda: self.store.split(v.id, corrected(mm), visit(mm, "left"), SISTER, revision=v.revision)
        )
        if halves:
            self.states[halves[1].id] = []

    @rule(data=st.data(), mm=st.integers(1, 40))
    def merge(self, data: st.DataObject, mm: int) -> None:
        v = self.pick(data)
        other = self.store.next_visit(v.id)
        if other is not None:
            self.attempt(
                lambda: self.store.merge(
                    v.id,
                    other,
                    corrected(mm),
                    SISTER,
                    revision=v.revision,
                    next_revision=self.store.visit(other).revision,
                )
            )

    @rule(n=st.integers(0, 1), mm=st.integers(1, 40))
    def read_anew(self, n: int, mm: int) -> None:
        done = self.store.keep(
            recording(f"{n}.wav"), Transcript.from_text(f"{TEXT}{n}"), [visit(mm), visit(mm, "left")]
        )
        for i in done.visits:
            self.states.setdefault(i, [])

    @rule(data=st.data(), put=st.booleans())
    def words(self, data: st.DataObject, put: bool) -> None:
        v = self.pick(data)
        own = Transcript.from_text(f"{TEXT}put right") if put else None
        made = Change("words", "put right", visit(3), transcript=own, when="2026-01-01T00:00:00.000Z")
        self.attempt(lambda: self.store.change(v.id, made, HELPER, revision=v.revision))

    @invariant()
    def all_holds(self) -> None:
        assert self.store.verify().faults == ()
        standing = {row.id: row for row in self.store.visits(limit=100).rows}
        for i in self.states:
            stored = self.store.visit(i)
            assert (i in standing) == (stored.status != "replaced")
            signed = self.store.signatures(i)
            assert stored.locked <= bool(signed)
            if stored.locked:
                assert signed[-1].visit == stored.visit
            found = self.store._rows("SELECT path, value FROM findings WHERE visit_id = ?", i)
            values = [(p, v.value) for p, v in stored.visit.values()] if i in standing else []
            assert sorted((f["path"], f["value"]) for f in found) == sorted(values)
        assert self.store._rows("PRAGMA foreign_key_check") == []


AnyOrder.TestCase.settings = settings(
    max_examples=12,
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=NO_SHRINKING,
)
TestAnyOrder = AnyOrder.TestCase


# --- crashes, and two at once

WORKER = """
import pathlib, random, sys
sys.path.insert(0, sys.argv[2])
from test_store_changes import *
chance = random.Random(int(sys.argv[3]))
with Store(pathlib.Path(sys.argv[1])) as store:
    print("open", flush=True)
    for n in range(int(sys.argv[4])):
        rows = store.visits(limit=20).rows
        v = store.visit(chance.choice(rows).id)
        act = chance.choice(["change"] * 4 + ["undo", "redo", "split", "merge", "sign", "amend", "read"])
        try:
            if act == "change":
                store.change(v.id, corrected(chance.randrange(1, 40)), SISTER, revision=v.revision)
            elif act == "split" and len(rows) < 12:
                store.split(v.id, corrected(5), visit(6, "left"), SISTER, revision=v.revision)
            elif act == "merge" and (other := store.next_visit(v.id)):
                theirs = store.visit(other).revision
                store.merge(v.id, other, corrected(4), SISTER, revision=v.revision, next_revision=theirs)
            elif act == "amend":
                store.amend(v.id, SISTER, "again", revision=v.revision)
            elif act == "read":
                store.keep(recording(f"{n % 9}"), Transcript.from_text(f"{TEXT} {n}"), [visit(n % 30 + 1)])
            elif act in ("undo", "redo", "sign"):
                getattr(store, act)(v.id, SISTER, revision=v.revision)
        except EarsideError as fault:
            if not isinstance(fault, (BadInput, Conflict)):
                raise
    print("done", flush=True)
"""


def worker(folder: Path, seed: int, count: int) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-c", WORKER, str(folder), str(Path(__file__).parent), str(seed), str(count)]
    return subprocess.Popen(command, stdout=subprocess.PIPE)


def test_killed_at_any_moment_the_history_leads_to_what_stands(store: Store, tmp_path: Path) -> None:
    """20 kills at random moments; SQLite's own integrity check, and the replayed history, judge."""
    kept(store, visit(), visit(7, "left"))
    moments = random.Random(11)
    entries = 0
    for round_ in range(20):
        with worker(tmp_path, round_, 100_000) as running:
            assert running.stdout is not None
            running.stdout.readline()
            time.sleep(moments.uniform(0, 0.3))
            running.send_signal(signal.SIGKILL)
        with sqlite3.connect(tmp_path / "earside.db") as db:
            assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert db.execute("PRAGMA foreign_key_check").fetchall() == []
        with Store(tmp_path) as again:
            found = again.verify()
        assert found.faults == ()
        assert found.entries >= entries
        entries = found.entries
    assert entries > 40


def test_two_programs_at_once_refuse_rather_than_overwrite(store: Store, tmp_path: Path) -> None:
    kept(store, visit(), visit(7, "left"))
    running = [worker(tmp_path, seed, 60) for seed in (1, 2)]
    assert [w.communicate()[0].split()[-1] for w in running] == [b"done", b"done"]
    assert [w.returncode for w in running] == [0, 0]
    found = store.verify()
    assert found.faults == ()
    assert found.entries > 60
