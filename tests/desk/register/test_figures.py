"""The register's figures, counted by hand beside those of the store; its tables, pictures and commands."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from click.testing import Result
from register_store import ANN, ear, visit

from desk.register import figures, pictures, telling
from desk.register.figures import Line, Register
from shared.errors import BadInput
from shared.store import Change, Edit, Store

TODAY = date(2026, 7, 15)


def made(store: Store, since: str = "2026-01-01", until: str = "2026-06-30", **more: Any) -> Register:
    return figures.register(store, date.fromisoformat(since), date.fromisoformat(until), today=TODAY, **more)


def lines(register: Register, heading: str) -> dict[str, tuple[int, int]]:
    (table,) = [table for table in register.tables if table.heading == heading]
    return {line.words: (line.share.n, line.share.of) for line in table.lines}


@pytest.fixture
def filled(store: Store, add: Any) -> Store:
    """Four signed visits of five ears in two months, one draft, and one outside the period."""
    add(visit(ear(end=100, mm=(16, 4)), ear("left", cleared="partial", end=220)), "2026-01-10")
    add(visit(ear(happened=("bleeding", "pain"), end=340, mm=(16,)), to="ent"), "2026-01-20")
    add(visit(ear("unstated", happened=("none",))), "2026-02-01")
    add(visit(ear(cleared="complete", doubtful=True), reference=None), "2026-06-30")
    add(visit(ear(happened=("faint",)), ear("left"), ear()), "2026-03-03", signed=False)
    add(visit(ear(cleared="none")), "2026-07-01")
    return store


def test_ears_and_visits_are_counted(filled: Store) -> None:
    register = made(filled)
    assert register.counts == {
        "visits": 4, "undated": 0, "drafts": 0, "left_out": 1, "ears": 5, "worked": 5, "side_unstated": 1,
    }  # fmt: skip
    assert lines(register, "Ears cleared") == {"not at all": (0, 4), "partly": (1, 4), "completely": (3, 4)}
    assert register.tables[0].note == "Not said of 0 ears, said with doubt of 1."
    assert lines(register, "Complications") == {"any of them": (1, 5), "bleeding": (1, 5), "pain": (1, 5)}
    assert lines(register, "Methods") == {"microsuction": (5, 5)}
    assert lines(register, "Referrals") == {"ENT": (1, 4)}
    assert lines(register, "Wax, how it was") == {"hard": (5, 5)}
    assert lines(register, "Completeness, of a visit")["who the patient is (NOS)"] == (3, 4)
    assert lines(register, "Completeness, of an ear")["drum after (AAO17, the look at the end)"] == (0, 5)
    assert [(m.month, m.visits, m.ears, m.clearing_said, m.cleared, m.complications) for m in register.months] == [
        ("2026-01", 2, 3, 3, 2, 1), ("2026-02", 1, 1, 1, 1, 0), ("2026-06", 1, 1, 0, 0, 0),
    ]  # fmt: skip


def test_what_others_write_meanwhile_is_not_counted(filled: Store, add: Any) -> None:
    bounds = [datetime(2026, month, 1).astimezone() for month in (1, 7)]
    with filled.audit(*bounds, drafts=True) as counting:
        before = counting.ears(), counting.values("procedure.methods")
        with Store(filled.folder) as other:
            stored = other.visit(5)
            other.revise(5, visit(*[ear()] * 9), ANN, revision=stored.revision)
        assert (counting.ears(), counting.values("procedure.methods")) == before
    with filled.audit(*bounds, drafts=True) as counting:
        assert counting.ears()["ears"] == before[0]["ears"] + 6


def test_drafts_count_only_when_asked_for(filled: Store) -> None:
    register = made(filled, drafts=True)
    assert (register.counts["visits"], register.counts["drafts"], register.counts["left_out"]) == (5, 1, 0)
    assert lines(register, "Complications")["faint"] == (1, 8)
    assert any("not yet checked" in sentence for sentence in telling.counted(register))
    assert any(
        "1 draft or open amendment of this period left out" in s for s in telling.counted(made(filled))
    )


def test_times_and_lengths(filled: Store) -> None:
    register = made(filled)
    assert register.all_seconds == (100, 220, 340)
    assert "Median 3:40 minutes over 3 ears" in telling.times(register.seconds)
    assert register.all_lengths == ((4, 1), (16, 2))
    assert "Median 16 mm over 3 pieces" in telling.lengths(register.lengths)
    assert "a small group" in telling.lengths(register.lengths)
    assert [telling.minutes(seconds) for seconds in (0, 59.4, 59.7, 125)] == ["0:00", "0:59", "1:00", "2:05"]


def test_how_often_a_draft_was_corrected_and_where(store: Store, add: Any) -> None:
    numbers = [add(visit(ear()), "2026-01-10", signed=False) for _ in range(3)]
    edits = (
        Edit("after.drum", "right", None, "dull", None),
        Edit("before.wax.colour", "right", "brown", "black", "w"),
    )
    for number in numbers[:2]:
        stored = store.visit(number)
        change = Change("correct", "put right", visit(ear("left")), edits)
        store.change(number, change, ANN, revision=stored.revision)
    store.undo(numbers[1], ANN, revision=store.visit(numbers[1]).revision)
    for number in numbers:
        store.sign(number, ANN, revision=store.visit(number).revision)
    assert lines(made(store), "Drafts that a person corrected") == {
        "in any field": (1, 3), "Drum after": (1, 3), "Wax colour": (1, 3),
    }  # fmt: skip


def test_recalls_kept(store: Store, add: Any) -> None:
    for reference, again in (("1", "2026-02-01"), ("2", "2026-04-15"), ("3", None)):
        add(visit(ear(), reference=reference, back=(3, "months")), "2025-11-01")
        if again:
            add(visit(ear(), reference=reference), again)
    add(visit(ear(), reference=None, back=(3, "months")), "2025-11-01")
    declined = add(visit(ear(), reference="5", back=(3, "months")), "2025-11-01")
    store.mark_recall(declined, "declined", ANN)
    done = add(visit(ear(), reference="6", back=(3, "months")), "2025-11-01")
    store.mark_recall(done, "done", ANN)  # marked today, long after its day
    assert lines(made(store), "Recall kept") == {
        "seen again in time": (1, 4), "seen again later": (2, 4), "not seen again so far": (1, 4),
    }  # fmt: skip


def test_an_empty_period_and_one_that_ends_before_it_begins(store: Store) -> None:
    register = made(store)
    assert register.counts["visits"] == 0
    assert (register.charts(), pictures.pictures(register)) == ([], {})
    assert all(line.share.share is None for table in register.tables for line in table.lines)
    with pytest.raises(BadInput, match="before it begins"):
        made(store, "2026-02-01", "2026-01-01")


def test_every_share_stands_with_its_interval_and_small_groups_are_called_small(filled: Store) -> None:
    found = [line for table in made(filled).tables for line in table.lines]
    assert all(
        isinstance(line, Line) and " to " in telling.interval(line.share) for line in found if line.share.of
    )
    assert all(("small group" in telling.interval(x.share)) == (x.share.of < 5) for x in found if x.share.of)


def test_pictures_are_svg_without_a_date_and_told_in_words(filled: Store) -> None:
    register = made(filled)
    drawn = {name: draw() for name, draw in pictures.pictures(register).items()}
    assert set(drawn) == {"cleared", "complications", "time", "times", "lengths"}
    for name, svg in drawn.items():
        assert ElementTree.fromstring(svg).tag == "{http://www.w3.org/2000/svg}svg"
        assert b"<script" not in svg
        assert b"dc:date" not in svg
        assert len(telling.picture(name, register)) > 40
    assert pictures.pictures(register)["time"]() == drawn["time"]  # the same numbers, the same file


def test_the_numbers_as_csv(filled: Store) -> None:
    rows = list(csv.DictReader(io.StringIO(telling.table_text(made(filled)))))
    (cleared,) = [r for r in rows if (r["table"], r["line"]) == ("Ears cleared", "completely")]
    assert (cleared["n"], cleared["in_all"], cleared["share"]) == ("3", "4", "0.7500")
    assert (cleared["low_95"], cleared["high_95"]) == ("0.3006", "0.9544")  # Wilson, by statsmodels 0.15
    assert "signed visits only" in cleared["note"]
    assert "small group" in cleared["note"]


Earside = Callable[..., Result]


def test_the_commands(filled: Store, earside: Earside, tmp_path: Path) -> None:
    at = ("--data", str(filled.folder))
    out = earside("register", "--from", "2026-01-01", "--to", "2026-06-30", *at)
    assert out.exit_code == 0, out.output
    assert "completely 3 4 75.0 % 30.1 to 95.4 %, small group" in " ".join(out.stdout.split())
    assert "1 draft or open amendment of this period left out" in out.stdout
    none = earside("register", "--to", "2020-01-01", "--pictures", "none", *at)
    assert "No picture drawn" in none.stdout
    drawn = earside(
        "register", "--from", "2026-01-01", "--pictures", str(tmp_path / "p"), "--csv", "r.csv", *at
    )
    assert drawn.exit_code == 0, drawn.output
    assert sorted(p.name for p in (tmp_path / "p").iterdir())[0] == "cleared.svg"
    wrong = earside("register", "--from", "2026-02-01", "--to", "2026-01-01", *at)
    assert (wrong.exit_code, "before it begins" in wrong.stderr) == (2, True)


def test_the_recall_command_lists_marks_and_writes(
    store: Store, add: Any, earside: Earside, tmp_path: Path
) -> None:
    number = add(visit(ear(skin="attached"), back=(6, "months")), "2025-01-31")
    at = ("--data", str(store.folder))
    listed = earside("recall", *at)
    assert listed.exit_code == 0, listed.output
    assert "Overdue: 1" in listed.stdout
    assert "2025-07-31" in listed.stdout
    assert "information, not advice" in listed.stdout
    marked = earside("recall", str(number), "--postpone", "2030-01-02", "--by", "ann example", *at)
    assert marked.stdout == f"Visit {number}: recall postponed to 2030-01-02, marked by Ann Example.\n"
    assert "2030-01-02 (postponed by Ann Example)" in earside("recall", *at).stdout
    written = earside("recall", "--ics", "list.ics", "--csv", "list.csv", *at)
    assert "list.ics: 1 recalls" in written.stdout
    assert (tmp_path / "list.ics").read_bytes().startswith(b"BEGIN:VCALENDAR")
    assert (tmp_path / "list.ics").stat().st_mode & 0o777 == 0o600
    for arguments, words in (
        ((str(number), "--done"), "needs the name"),
        ((str(number), "--by", ANN), "Say what became of it"),
        (("--done", "--by", ANN), "Say which visit"),
        (("--csv", "list.csv"), "is there already"),
    ):
        refused = earside("recall", *arguments, *at)
        assert (refused.exit_code, words in refused.stderr) == (2, True), refused.stderr
    assert datetime.fromisoformat(store.recalls()[0].at or "").year >= 2025
