"""Who is to be seen again: by the calendar, by what was said and by what people put down."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import icalendar
import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st
from register_store import ANN, ear, visit

from desk.register import due, recall_files
from shared.errors import BadInput, NotAllowed
from shared.store import Store

TODAY = date(2026, 7, 15)


@pytest.mark.parametrize(
    ("start", "number", "unit", "day"),
    [
        ("2025-01-31", 1, "months", "2025-02-28"),
        ("2024-01-31", 1, "months", "2024-02-29"),
        ("2024-02-29", 1, "years", "2025-02-28"),
        ("2025-08-31", 6, "months", "2026-02-28"),
        ("2025-12-15", 2, "weeks", "2025-12-29"),
        ("2025-12-31", 1, "days", "2026-01-01"),
        ("2025-11-30", 13, "months", "2026-12-30"),
    ],
)
def test_intervals_follow_the_calendar(start: str, number: int, unit: str, day: str) -> None:
    assert due.later(date.fromisoformat(start), number, unit) == date.fromisoformat(day)


@given(
    st.dates(date(1990, 1, 1), date(2100, 1, 1)),
    st.integers(0, 120),
    st.sampled_from(["days", "weeks", "months", "years"]),
)
def test_intervals_are_those_of_dateutil(start: date, number: int, unit: str) -> None:
    assert due.later(start, number, unit) == start + relativedelta(**{unit: number})  # type: ignore[arg-type]


def test_an_interval_beyond_the_calendar_has_no_day() -> None:
    assert due.later(date(2026, 1, 1), 9000, "years") is None
    assert due.later(date(2026, 1, 1), 10**12, "days") is None


def states(store: Store) -> dict[int, str]:
    return {one.said.visit: one.state for one in due.recalls(store, TODAY)}


def test_overdue_due_coming_and_no_day(store: Store, add: Any) -> None:
    overdue = add(visit(ear(), reference="1", back=(6, "months")), "2026-01-14")
    today = add(visit(ear(), reference="2", back=(6, "months")), "2026-01-15")
    coming = add(visit(ear(), reference="3", back=(1, "years")), "2026-06-01")
    undated = add(visit(ear(), reference="4", back=(1, "years")), None)
    add(visit(ear(), reference="5"), "2026-01-01")
    assert states(store) == {overdue: "overdue", today: "due", coming: "coming", undated: "undated"}
    assert [one.said.visit for one in due.recalls(store, TODAY)] == [overdue, today, coming, undated]


def test_a_recall_is_met_by_a_later_visit_of_the_same_reference(store: Store, add: Any) -> None:
    met = add(visit(ear(), reference="a7", back=(12, "months")), "2025-01-10")
    add(visit(ear(), reference="A 7"), "2025-12-01")
    too_soon = add(visit(ear(), reference="8", back=(12, "months")), "2025-01-10")
    add(visit(ear(), reference="8"), "2025-01-24")
    nobody = add(visit(ear(), reference=None, back=(12, "months")), "2025-01-10")
    replaced = add(visit(ear(), reference="9", back=(12, "months")), "2025-01-10")
    new = add(visit(ear(), reference="9", back=(2, "years")), "2025-02-10")
    assert states(store) == {
        met: "seen",
        too_soon: "overdue",
        nobody: "overdue",
        replaced: "replaced",
        new: "coming",
    }
    assert next(o.again for o in due.recalls(store, TODAY) if o.said.visit == met) == date(2025, 12, 1)


def test_what_people_put_down_is_kept_with_who_and_when(store: Store, add: Any) -> None:
    number = add(visit(ear(), back=(6, "months")), "2026-01-01")
    before = store.visit(number)
    for what, until, state in (
        ("postponed", date(2026, 9, 1), "coming"),
        ("declined", None, "declined"),
        ("done", None, "done"),
        ("open", None, "overdue"),
    ):
        store.mark_recall(number, what, ANN.lower(), until=until)  # type: ignore[arg-type]
        assert states(store) == {number: state}
    told = [(entry.what, entry.who) for entry in store.history(number) if entry.kind == "recall"]
    assert told == [
        ("recall postponed to 2026-09-01", ANN),
        ("recall declined", ANN),
        ("recall done", ANN),
        ("recall open again", ANN),
    ]
    assert store.verify().faults == ()
    assert store.visit(number) == before  # the signed record is untouched


def test_a_recall_postponed_after_the_next_one_was_said_stays(store: Store, add: Any) -> None:
    first = add(visit(ear(), reference="9", back=(12, "months")), "2025-07-10")
    second = add(visit(ear(), reference="9", back=(2, "years")), "2025-09-10")
    assert states(store) == {first: "replaced", second: "coming"}
    store.mark_recall(first, "postponed", ANN, until=date(2026, 8, 1))
    assert states(store) == {first: "due", second: "coming"}


def test_marking_a_recall_is_no_step_that_undo_takes_back(store: Store, add: Any) -> None:
    number = add(visit(ear(), back=(6, "months")), "2026-01-01", signed=False)
    changed = store.revise(number, visit(ear("left"), back=(6, "months")), ANN, revision=1)
    store.mark_recall(number, "done", ANN)
    back = store.undo(number, ANN, revision=changed.revision)
    assert back.visit.ears[0].side.value == "right"
    assert states(store) == {number: "done"}
    assert store.verify().faults == ()


def test_marks_that_cannot_be(store: Store, add: Any) -> None:
    number, without = add(visit(ear(), back=(6, "months")), "2026-01-01"), add(visit(ear()), "2026-01-02")
    store.set_person("Ben Sample", "auditor")
    with pytest.raises(BadInput, match="needs the day"):
        store.mark_recall(number, "postponed", ANN)
    with pytest.raises(BadInput, match="only a postponed"):
        store.mark_recall(number, "done", ANN, until=TODAY)
    with pytest.raises(BadInput, match="no time to come back"):
        store.mark_recall(without, "done", ANN)
    with pytest.raises(BadInput, match="no such visit"):
        store.mark_recall(99, "done", ANN)
    with pytest.raises(BadInput, match="cannot be 'lost'"):
        store.mark_recall(number, "lost", ANN)  # type: ignore[arg-type]
    with pytest.raises(NotAllowed, match="may only read"):
        store.mark_recall(number, "done", "Ben Sample")
    assert [e.kind for e in store.history(number)] == ["read", "sign"]


def test_how_far_skin_moves_is_told_only_where_slow_skin_was_recorded(store: Store, add: Any) -> None:
    add(visit(ear(skin="attached"), reference="1", back=(1, "years")), "2026-05-06")  # 70 days ago
    add(visit(ear(skin="flaking"), reference="2", back=(1, "years")), "2026-05-06")
    slow, other = due.recalls(store, TODAY)
    assert slow.moved_mm == pytest.approx(70 * 0.14475)  # Saniasiaya 2022: 144.75 micrometres a day
    assert other.moved_mm is None
    store.mark_recall(slow.said.visit, "done", ANN)
    assert [one.moved_mm for one in due.recalls(store, TODAY)] == [None, None]


def test_the_calendar_is_one_by_rfc_5545(store: Store, add: Any) -> None:
    add(visit(ear(), reference="Ä,b;c\\" + "é" * 60, back=(6, "months")), "2025-08-31")
    add(visit(ear(), reference="2", back=(2, "weeks")), None)
    found = due.recalls(store, TODAY)
    made = recall_files.calendar_text(found, datetime(2026, 7, 15, 14, 5, tzinfo=UTC))
    lines = made.split(b"\r\n")
    assert b"\n" not in b"".join(lines)  # 3.1: lines end with CRLF
    assert max(map(len, lines)) <= 75  # 3.1: octets, without the line's end
    assert made.decode("utf-8")
    unfolded = made.replace(b"\r\n ", b"").decode().split("\r\n")
    assert "SUMMARY:Ear recall: Ä\\,b\\;c\\\\" + "é" * 60 in unfolded  # 3.3.11
    assert {"VERSION:2.0", "DTSTART;VALUE=DATE:20260228", "DTSTAMP:20260715T140500Z"} <= set(unfolded)
    assert sum(line.startswith(("UID:", "PRODID:")) for line in unfolded) == 2  # 3.6: required; one event
    (event,) = icalendar.Calendar.from_ical(made).walk("VEVENT")  # the undated one is not in it
    assert event["summary"] == "Ear recall: Ä,b;c\\" + "é" * 60
    assert event.decoded("dtend") - event.decoded("dtstart") == timedelta(days=1)
    assert "checked by Ann Example" in event["description"]


def test_the_table_tells_drafts_from_checked_records(store: Store, add: Any) -> None:
    add(visit(ear(), reference="=1+1", back=(1, "months")), "2026-07-01", signed=False)
    add(visit(ear(), reference="2", back=(1, "years")), "2026-07-01")
    rows = list(csv.DictReader(io.StringIO(recall_files.table_text(due.recalls(store, TODAY)))))
    assert [(r["day"], r["state"], r["patient_reference"], r["interval"]) for r in rows] == [
        ("2026-08-01", "due", "'=1+1", "1 month"),
        ("2027-07-01", "coming", "2", "1 year"),
    ]
    assert rows[0]["record"] == "draft, made from dictation, not yet checked"
    assert rows[1]["record"] == "signed, made from dictation, checked by Ann Example"


def test_a_store_of_the_second_tables_gets_the_third(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from shared.store import schema  # noqa: PLC0415

    with monkeypatch.context() as patch:
        patch.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:2])
        with Store(tmp_path) as old:
            old.set_person(ANN, "clinician")
            head = old._rows("SELECT hash FROM entries ORDER BY seq DESC LIMIT 1")[0]["hash"]
    with Store(tmp_path) as new:
        assert new.verify().head == head
        assert new.verify().faults == ()
        assert new.recalls() == []
    assert [p.name for p in tmp_path.glob("*before*")] == ["earside-before-3.db"]
