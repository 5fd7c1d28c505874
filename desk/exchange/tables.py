"""Visits and single findings as rows, and rows as CSV, JSON Lines or an Excel workbook."""

from __future__ import annotations

import csv
import dataclasses
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Protocol

from desk import fields as shown
from desk.exchange.dictionary import ABOUT, FINDING, SIDES, VISIT, Field, Row, dictionary, fields
from desk.exchange.selection import Chosen
from desk.lines import clean, plain, safe
from shared.record import Value

Cells = dict[str, Any]

_INDEX = re.compile(r"\[\d+\]$")
_EAR = re.compile(r"ears\[(\d+)\]")
_LONGEST = 32_767
"""Characters in a cell of Excel (Excel specifications and limits)."""
_ROWS = 1_048_576
"""Rows in a sheet of Excel, likewise."""


def columns(table: str) -> list[str]:
    """The columns of "visits", "findings" or "dictionary", in their order."""
    if table == "dictionary":
        return [field.name for field in dataclasses.fields(Row)]
    if table == "findings":
        return [*ABOUT, *FINDING]
    names = [field.name for field in fields() if not field.in_ear]
    names += [f"{side}.{field.name}" for side in SIDES for field in fields() if field.in_ear]
    return list(dict.fromkeys([*ABOUT, *VISIT, *names]))


def rows(table: str, visits: Iterable[Chosen]) -> Iterator[Cells]:
    """The rows of a table; the dictionary has the same ones for any visits."""
    if table == "dictionary":
        yield from map(dataclasses.asdict, dictionary())
        return
    for visit in visits:
        yield from (finding_rows(visit) if table == "findings" else (visit_row(visit),))


def visit_row(visit: Chosen) -> Cells:
    """One row for a visit; a column with several values has them parted by semicolons."""
    stored, found = visit.stored, _about(visit)
    found |= {
        "when_from": stored.when_from,
        "recording": stored.recording,
        "patient_in_recording": stored.ordinal,
        "clinician": stored.clinician,
        "notices_open": sum(notice.decision is None for notice in stored.visit.notices),
    }
    by_name = {field.name: field for field in fields()}
    values = dict(stored.visit.values())
    gathered: dict[str, list[Any]] = {}
    for path, value in values.items():
        field = by_name[shown.bare(path)]
        ear = _EAR.match(path)
        side = f"{stored.visit.ears[int(ear[1])].side.value}." if ear else ""
        gathered.setdefault(side + field.name, []).append(_cell(path, value, field, values))
    for name, cells in gathered.items():
        if name not in ABOUT:
            found[name] = cells[0] if len(cells) == 1 else "; ".join(map(str, cells))
    return found


def finding_rows(visit: Chosen) -> Iterator[Cells]:
    """One row for each value of a visit."""
    about = _about(visit)
    labels = {field.name: field for field in fields()}
    for path, value in visit.stored.visit.values():
        ear, field = _EAR.match(path), shown.bare(path)
        seconds = value.seconds or (None, None)
        yield about | {
            "ear": visit.stored.visit.ears[int(ear[1])].side.value if ear else None,
            "field": field,
            "label": labels[field].meaning,
            "value": value.value,
            "words": plain(value, field.removesuffix(".item").removesuffix(".name")),
            "unit": labels[field].unit,
            "certainty": value.certainty,
            "origin": value.origin,
            "confirmed_by": value.confirmed_by,
            "heard": value.heard,
            "second_from": seconds[0],
            "second_to": seconds[1],
            "confidence": value.confidence,
            "path": path,
        }


def _about(visit: Chosen) -> Cells:
    stored, stands = visit.stored, visit.standing
    reference = stored.visit.patient_reference
    return {
        "visit": stored.id,
        "when": stored.when,
        "state": stands.state,
        "state_since": stands.at,
        "checked_by": stands.checked_by,
        "made": stands.made,
        "patient_reference": _doubt(reference) if reference else None,
    }


def _cell(path: str, value: Value[Any], field: Field, values: Mapping[str, Value[Any]]) -> Any:
    """A value, after what it belongs to: "inner: brown", "suction_tube: 18G"."""
    if not field.key:
        return _doubt(value)
    owner = _INDEX.sub("", path).rpartition(".")[0]
    key = values[f"{owner}.{field.key.rpartition('.')[2]}"]
    return _doubt(value) if key.value == "whole" else f"{key.value}: {_doubt(value)}"


def _doubt(value: Value[Any]) -> Any:
    return f"{value.value}?" if value.certainty == "possible" else value.value


class Sink(Protocol):
    """Where text goes."""

    def write(self, text: str, /) -> object:
        """Write some text."""


class Writer(Protocol):
    """Where rows go, one by one."""

    def row(self, cells: Cells) -> None:
        """Write a row."""

    def close(self) -> None:
        """End the table."""


class Csv:
    """Comma-separated values (RFC 4180)."""

    def __init__(self, file: Sink, names: list[str]) -> None:
        self._writer = csv.DictWriter(file, names, restval="", lineterminator="\r\n")
        self._writer.writeheader()

    def row(self, cells: Cells) -> None:
        """Write a row."""
        self._writer.writerow({name: safe(cell) for name, cell in cells.items()})

    def close(self) -> None:
        """Nothing is left to write."""


class JsonLines:
    """One JSON object a line, in ASCII, so that nothing in it can move a cursor; empty cells are left out."""

    def __init__(self, file: Sink) -> None:
        self._file = file

    def row(self, cells: Cells) -> None:
        """Write a row."""
        self._file.write(json.dumps({k: v for k, v in cells.items() if v not in (None, "")}) + "\n")

    def close(self) -> None:
        """Nothing is left to write."""


class Workbook:
    """An Excel workbook: the table, on as many sheets as it takes, and the data dictionary."""

    def __init__(self, place: Path, table: str, names: list[str]) -> None:
        import xlsxwriter  # noqa: PLC0415  (slow to import)

        options = {
            "constant_memory": True,
            "tmpdir": str(place.parent),  # patients' data stays in the folder that was chosen
            "strings_to_formulas": False,
            "strings_to_urls": False,
        }
        self._book = xlsxwriter.Workbook(str(place), options)
        self._bold = self._book.add_format({"bold": True})
        self._table, self._names, self._sheets = table, names, 0
        self._new_sheet(table, names)

    def row(self, cells: Cells) -> None:
        """Write a row."""
        if self._at == _ROWS:
            self._new_sheet(self._table, self._names)
        for column, name in enumerate(self._names):
            cell = cells.get(name)
            if isinstance(cell, str):
                text = clean(cell)
                self._sheet.write_string(
                    self._at, column, text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"
                )
            elif cell is not None:
                self._sheet.write_number(self._at, column, cell)
        self._at += 1

    def close(self) -> None:
        """Add the dictionary, and write the file."""
        if self._table != "dictionary":
            self._names = columns("dictionary")
            self._new_sheet("dictionary", self._names)
            for row in dictionary():
                self.row(dataclasses.asdict(row))
        self._book.close()

    def _new_sheet(self, table: str, names: list[str]) -> None:
        self._sheets += 1
        self._sheet = self._book.add_worksheet(
            table if self._sheets == 1 or table == "dictionary" else f"{table} {self._sheets}"
        )
        self._sheet.freeze_panes(1, 1)
        for column, name in enumerate(names):
            self._sheet.write_string(0, column, name, self._bold)
        self._at = 1
