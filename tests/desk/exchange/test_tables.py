"""Tables as CSV, JSON Lines and Excel: every value is there, says how the record stands, and does no harm.

The workbooks are read back with openpyxl, which is not what wrote them.
"""

from __future__ import annotations

import csv
import io
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from records import HISTORIES, TEXTS, VISITS, kept

from desk.exchange import dictionary, standing, tables
from desk.exchange.selection import Chosen
from shared.record import Visit

STATES = st.sampled_from(sorted(HISTORIES))
MANY = settings(max_examples=60, deadline=None)
FIRST = "=+-@\t\r＝＋－＠"
"""How a formula begins: OWASP, CSV injection (from memory)."""


def chosen(visit: Visit, state: str = "draft") -> Chosen:
    stored = kept(visit, state)
    return Chosen(stored, tuple(HISTORIES[state]), standing.of(stored, HISTORIES[state]))


def as_csv(table: str, visit: Chosen) -> list[dict[str, str]]:
    file = io.StringIO(newline="")
    writer = tables.Csv(file, tables.columns(table))
    for cells in tables.rows(table, [visit]):
        writer.row(cells)
    return list(csv.DictReader(io.StringIO(file.getvalue(), newline="")))


@MANY
@given(VISITS, STATES)
def test_every_value_has_its_row_and_every_row_says_how_the_record_stands(visit: Visit, state: str) -> None:
    made = chosen(visit, state)
    rows = list(tables.rows("findings", [made]))
    assert [(r["path"], r["value"], r["certainty"], r["heard"]) for r in rows] == [
        (path, v.value, v.certainty, v.heard) for path, v in visit.values()
    ]
    for row in (*rows, tables.visit_row(made)):
        assert row["state"].startswith("signed" if state in ("signed", "amended") else "DRAFT")
        assert row["made"].startswith("made from dictation, ")
        assert ("checked by Ann Example" in row["made"]) == (state in ("signed", "amended"))
        assert datetime.fromisoformat(row["when"]).tzinfo is not None
        assert datetime.fromisoformat(row["state_since"]).tzinfo is not None


@MANY
@given(VISITS)
def test_a_visit_row_has_all_its_values_in_columns_of_the_dictionary(visit: Visit) -> None:
    row = tables.visit_row(chosen(visit))
    known = {r.name for r in dictionary.dictionary() if r.table == "visits"}
    assert set(row) <= known
    assert known == set(tables.columns("visits"))
    text = "; ".join(str(cell) for cell in row.values())
    for _, value in visit.values():
        assert f"{value.value}{'?' * (value.certainty == 'possible')}" in text


@MANY
@given(VISITS)
def test_csv_runs_no_formula_and_moves_no_cursor(visit: Visit) -> None:
    for table in ("visits", "findings"):
        for row in as_csv(table, chosen(visit)):
            for name, cell in row.items():
                assert all(c.isprintable() for c in cell)
                if cell[:1] and cell[0] in FIRST:
                    assert cell.removeprefix("-").isdigit(), name  # a number below nothing


def test_json_lines_are_ascii_and_exact() -> None:
    for text in TEXTS:
        visit = Visit.model_validate({"patient_reference": {"value": text, "origin": "entered"}})
        file = io.StringIO()
        tables.JsonLines(file).row(next(tables.rows("findings", [chosen(visit)])))
        line = file.getvalue()
        assert line.isascii()
        assert line.count("\n") == 1
        assert json.loads(line).get("value", "") == text


def test_a_workbook_holds_text_numbers_and_the_dictionary_and_no_formula(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl", reason="openpyxl is not installed")
    place = tmp_path / "table.xlsx"
    book = tables.Workbook(place, "findings", tables.columns("findings"))
    values: list[Any] = [
        "=1+1",
        "@SUM(A1)",
        "žluť",
        "مرحبا",
        "http://example.test",
        "x" * 40_000,
        "a\x1b[31mb",
    ]
    for value in values:
        visit = Visit.model_validate({"patient_reference": {"value": value, "origin": "entered"}})
        for cells in tables.rows("findings", [chosen(visit)]):
            book.row(cells)
    book.close()
    read = openpyxl.load_workbook(place)
    assert read.sheetnames == ["findings", "dictionary"]
    at = tables.columns("findings").index("value")
    cells = [row[at] for row in read["findings"].iter_rows(min_row=2)]
    assert [c.value for c in cells[:5]] == values[:5]
    assert {c.data_type for c in cells} == {"s"}
    assert all(c.hyperlink is None for c in cells)
    assert len(cells[5].value) == 32_767  # as long as a cell of Excel may be
    assert cells[6].value == "a [31mb"
    assert read["dictionary"].max_row == 1 + len(list(dictionary.dictionary()))


def test_a_full_sheet_is_followed_by_another(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    openpyxl = pytest.importorskip("openpyxl", reason="openpyxl is not installed")
    monkeypatch.setattr(tables, "_ROWS", 100)
    book = tables.Workbook(tmp_path / "t.xlsx", "findings", ["path"])
    for number in range(250):
        book.row({"path": number})
    monkeypatch.setattr(tables, "_ROWS", 1_048_576)
    book.close()
    read = openpyxl.load_workbook(tmp_path / "t.xlsx")
    assert read.sheetnames == ["findings", "findings 2", "findings 3", "dictionary"]
    numbers = [row[0].value for name in read.sheetnames[:3] for row in read[name].iter_rows(min_row=2)]
    assert numbers == list(range(250))


def test_the_dictionary_is_whole() -> None:
    rows = list(dictionary.dictionary())
    assert all(row.meaning and row.values for row in rows)
    assert len({(row.table, row.name) for row in rows}) == len(rows)
    by_name = {row.name: row for row in rows if row.table == "findings, field"}
    assert by_name["removed_mm"].unit == "mm"
    assert by_name["background.softener.days"].unit == "days"
    assert "not_seen" in by_name["after.drum"].values
    assert "several" not in next(r for r in rows if r.name == "right.after.clearance").values


def test_what_belongs_together_stays_together() -> None:
    def said(value: str) -> dict[str, str]:
        return {"value": value, "origin": "entered"}

    wax = [
        {"where": said("surface"), "colour": [said("yellow")]},
        {"where": said("inner"), "colour": [said("black")]},
    ]
    tools = [{"name": said("suction_tube"), "size": said("18G")}, {"name": said("wax_hook")}]
    ear = {"side": said("left"), "before": {"wax": wax}, "procedure": {"instruments": tools}}
    row = tables.visit_row(chosen(Visit.model_validate({"ears": [ear]})))
    assert row["left.before.wax.colour"] == "surface: yellow; inner: black"
    assert row["left.procedure.instruments.size"] == "suction_tube: 18G"
