"""The commands that hand records on, over a store with signed and unsigned visits."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from records import kept
from starlette.testclient import TestClient

from desk.cli import cli
from desk.exchange import over_time
from desk.exchange.selection import Selection, chosen, folded
from desk.web.app import application
from shared.record import Visit
from shared.store import Recording, Store
from shared.transcript import Transcript

WORDS = "so it was said"


def said(value: Any, **more: Any) -> dict[str, Any]:
    return {"value": value, "heard": WORDS, "chars": (0, 14), **more}


def ear(side: str, drum: str, **more: Any) -> dict[str, Any]:
    return {"side": said(side), "after": {"drum": [said(drum, **more)]}, "removed_mm": [said(16)]}


RECORDS: list[dict[str, Any]] = [
    {"patient_reference": said("B 52"), "ears": [ear("right", "perforated", certainty="possible")]},
    {"patient_reference": said("b52"), "ears": [ear("right", "dull"), ear("left", "intact")]},
    {"patient_reference": said("B521"), "ears": [ear("left", "intact")]},
    {"ears": [ear("unstated", "intact")]},
]


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A store with four visits on four days; the first is signed."""
    folder = tmp_path / "data"
    with Store(folder) as store:
        store.set_person("Ann Example", "clinician")
        for number, record in enumerate(RECORDS):
            visit = Visit.model_validate({**record, "extent": {"chars": (0, 14), "confidence": 1}})
            about = Recording(
                sha256=f"{number:064}", name=f"day{number}.txt", bytes=14, kind="text",
                started=f"2026-03-0{number + 1}T09:00:00.000Z", started_from="metadata",
            )  # fmt: skip
            (made,) = store.keep(
                about, Transcript(text=WORDS, source=about.name, model="base"), [visit]
            ).visits
            assert made == number + 1
        store.sign(1, "Ann Example", revision=store.visit(1).revision)
    return folder


@pytest.fixture
def earside(data: Path) -> Any:
    def call(*arguments: str) -> Result:
        return CliRunner().invoke(cli, [*arguments, "--data", str(data)], prog_name="earside")

    return call


def test_references_are_alike_but_for_spaces_and_case() -> None:
    assert folded("B 52") == folded("b52 ") == folded(" B\t52")
    assert folded("B52") != folded("B521")


def test_the_selection_holds(data: Path) -> None:
    def numbers(**asked: Any) -> list[int]:
        with Store(data) as store:
            return [visit.stored.id for visit in chosen(store, Selection(**asked))]

    assert numbers() == [4, 3, 2, 1]
    assert numbers(patient="b 52") == [2, 1]
    assert numbers(signed_only=True) == [1]
    assert numbers(visits=(3, 1)) == [3, 1]


def test_days_are_whole_days(earside: Any) -> None:
    made = earside("export", "visits", "--json", "--since", "2026-03-02", "--until", "2026-03-03")
    assert [json.loads(line)["visit"] for line in made.stdout.splitlines()] == [3, 2]


@pytest.mark.parametrize("ending", ["csv", "jsonl", "xlsx"])
def test_a_table_is_written_whole_and_over_nothing(earside: Any, tmp_path: Path, ending: str) -> None:
    place = tmp_path / "out" / f"visits.{ending}"
    assert earside("export", "visits", "--to", str(place)).exit_code == 0
    before = place.read_bytes()
    if ending == "csv":
        rows = list(csv.DictReader(before.decode("utf-8-sig").splitlines()))
        assert [row["visit"] for row in rows] == ["4", "3", "2", "1"]
        assert [row["checked_by"] for row in rows] == ["", "", "", "Ann Example"]
    again = earside("export", "visits", "--to", str(place))
    assert (again.exit_code, "is there already" in again.stderr) == (2, True)
    assert place.read_bytes() == before
    assert [p.name for p in place.parent.iterdir()] == [place.name]


def test_a_failure_half_way_leaves_no_file(earside: Any, tmp_path: Path) -> None:
    place = tmp_path / "out" / "visits.csv"
    made = earside("export", "visits", "1", "99", "--to", str(place))
    assert (made.exit_code, "visit 99" in made.stderr) == (2, True)
    assert list(place.parent.iterdir()) == []


def test_fhir_documents_are_read_back(earside: Any, data: Path, tmp_path: Path) -> None:
    assert earside("export", "fhir", "--to", str(tmp_path / "out")).exit_code == 0
    for number, record in enumerate(RECORDS, 1):
        file = tmp_path / "out" / f"visit-{number}.json"
        assert json.loads(file.read_text(encoding="utf-8"))["type"] == "document"
        read = CliRunner().invoke(cli, ["bundle", "--full", str(file)])
        with Store(data) as store:
            assert Visit.model_validate_json(read.stdout) == store.visit(number).visit
        plain = CliRunner().invoke(cli, ["bundle", str(file)])
        assert json.loads(plain.stdout) == Visit.model_validate(record).plain()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("export", "visits", "--to", "table.pdf"), "this ending is not known"),
        (("export", "visits", "--since", "2026-02-02", "--until", "2026-02-01"), "it ends before it begins"),
        (("export", "fhir", "99"), "there is no such visit"),
    ],
)
def test_mistakes_are_named(earside: Any, arguments: tuple[str, ...], says: str) -> None:
    made = earside(*arguments)
    assert made.exit_code == 2
    assert says in made.stderr
    assert "Traceback" not in made.output


def test_one_patient_over_time(data: Path, earside: Any) -> None:
    with Store(data) as store:
        found = over_time.of(store, "B52")
    assert [seen.stored.id for seen in found.visits] == [1, 2]
    assert [(e.side, len(e.visits)) for e in found.ears] == [("right", 2), ("left", 1)]
    drums = next(a for a in found.ears[0].aspects if a.heading == "Drum after")
    assert drums.cells == (("perforated (possible)",), ("dull",))
    assert found.without == 1
    shown = earside("patient", "b 52")
    assert "perforated (possible)" in shown.stdout
    assert "1 visit has no reference" in shown.stderr
    assert "No visit has the reference" in earside("patient", "C1").stderr


def test_the_page_shows_a_patient_and_escapes(data: Path) -> None:
    host = "127.0.0.1:8701"
    with TestClient(application(data, key="k", hosts=(host,)), base_url=f"http://{host}") as client:
        client.get("/", params={"key": "k"})
        page = client.get("/patient", params={"ref": "b 52"}).text
        assert "perforated (possible)" in page
        assert '<a href="/visits/2">' in page
        assert "DRAFT, not signed" in page
        assert "made from dictation, checked by Ann Example" in page
        other = client.get("/patient", params={"ref": "<script>x</script>"}).text
        assert "<script>x" not in other
        assert "No visit has this reference" in other
        assert client.get("/patient").status_code == 200


def test_kept_is_like_the_store(data: Path) -> None:
    with Store(data) as store:
        assert vars(store.visit(1)).keys() == vars(kept(Visit())).keys()
