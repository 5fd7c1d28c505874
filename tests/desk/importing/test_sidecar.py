"""Lists beside recordings: every mistake with its row and column; what is right reaches the visits."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from desk.importing import sidecar
from shared.errors import BadInput
from shared.record import Extent, Value, Visit


def listed(tmp_path: Path, text: str | bytes) -> tuple[dict[Path, sidecar.Listed], list[str]]:
    (tmp_path / "a.wav").touch()
    place = tmp_path / "recordings.csv"
    place.write_bytes(text.encode() if isinstance(text, str) else text)
    found, wrong = sidecar.read(place, ["Ann Example"])
    return found, [w.line(place).removeprefix(f"{place}, ") for w in wrong]


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("delimiter", [",", ";"])
def test_a_list_is_read(tmp_path: Path, mark: str, delimiter: str) -> None:
    rows = (
        "File,start,patient,clinician,date",
        "a.wav,0:00,4711,ann example,2021-03-15 09:30",
        "a.wav,12:40,4712,,",
    )
    text = mark + "\n".join(rows)
    found, wrong = listed(tmp_path, text.replace(",", delimiter))
    assert wrong == []
    (one,) = found.values()
    assert one.patients == [(0.0, "4711"), (760.0, "4712")]
    assert (one.clinician, one.date) == ("Ann Example", datetime(2021, 3, 15, 9, 30).astimezone())


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("b.wav,,,,", "row 2, column file: there is no file 'b.wav' beside the list"),
        ("a.wav,12,4711,,", "row 2, column start: '12' is not a time in a recording"),
        ("a.wav,1:00,,,", "row 2, column patient: is empty where a start is given"),
        ("a.wav,,,Ben Sample,", "row 2, column clinician: 'Ben Sample' is not known here"),
        ("a.wav,,,,15.3.2021", "row 2, column date: '15.3.2021' is not a date"),
        ("a.wav,,,,0001-01-01", "row 2, column date: '0001-01-01' cannot be"),
        ("a.wav,,,,9999-12-31", "row 2, column date: '9999-12-31' cannot be"),
        ("a.wav,,,,1066-10-14", "row 2, column date: '1066-10-14' cannot be"),
        ("a.wav,,1,,,,", "row 2, column date: there are 7 cells under 5 headings"),
        ("a.wav,,1,,\na.wav,,2,,", "row 3, column start: another row of this file has the same start"),
    ],
)
def test_mistakes_have_row_and_column(tmp_path: Path, row: str, expected: str) -> None:
    _, wrong = listed(tmp_path, f"file,start,patient,clinician,date\n{row}\n")
    assert len(wrong) == 1
    assert wrong[0].startswith(expected)


def test_what_is_no_table_at_all(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="row 2: is not UTF-8"):
        listed(tmp_path, b"file\na\xff.wav\n")
    with pytest.raises(BadInput, match="empty"):
        listed(tmp_path, "")
    assert listed(tmp_path, "file,colour\na.wav,red\n")[1][0].startswith("row 1, column colour: is not known")


def test_references_go_to_their_visits_and_what_was_said_stays() -> None:
    def visit(start: float, end: float, said: str | None = None) -> Visit:
        value = Value[str](value=said, heard=said, chars=(0, 4)) if said else None
        return Visit(patient_reference=value, extent=Extent(chars=(0, 9), seconds=(start, end), confidence=1))

    visits = [visit(2, 60), visit(62, 120, "4712")]
    lines = list(
        sidecar.name_patients(sidecar.Listed([(0.0, "4711"), (60.0, "9"), (300.0, "7"), (None, "8")]), visits)
    )
    assert [v.patient_reference.value for v in visits if v.patient_reference] == ["4711", "4712"]
    assert visits[0].patient_reference
    assert visits[0].patient_reference.origin == "entered"
    assert len(lines) == 3  # another was said; nothing there; two visits and no start
