"""The visit record: one definition of fields and values, two forms, nothing unknown accepted.

The closed lists are checked against the contract's own table where it lies beside the project.
"""

import json
import os
import re
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from shared import record
from shared.record import (
    Before,
    Ear,
    Extent,
    Notice,
    PlainVisit,
    Recall,
    SidedHistory,
    Value,
    Visit,
    closed_values,
)

SHARED = Path(os.environ.get("EARSIDE_SHARED", Path(__file__).parents[3] / "shared"))
CONTRACT = SHARED / "record-contract.md"

ROWS = {
    "symptoms": record.Symptom,
    "history": record.History,
    "softener.agent": record.Agent,
    "wax.where": record.Layer,
    "wax.consistency": record.Consistency,
    "wax.colour": record.Colour,
    "depth": record.Depth,
    "skin": record.Skin,
    "canal": record.Canal,
    "foreign_body": record.ForeignBody,
    "drum": record.Drum,
    "methods": record.Method,
    "instruments.name": record.InstrumentName,
    "tolerance": record.Tolerance,
    "complications": record.Complication,
    "advice": record.Advice,
    "referral.to": record.ReferralTo,
}
"""The first key of each row of the contract's table of values."""


def said(value: Any, **more: Any) -> Value[Any]:
    return Value(value=value, heard="so it was said", chars=(0, 14), **more)


def full_visit() -> Visit:
    """A visit with something in most places."""
    return Visit.model_validate(
        {
            "patient_reference": said("B52").model_dump(),
            "background": {
                "consent": said("given").model_dump(),
                "history": [{"item": said("perforation", certainty="possible").model_dump()}],
            },
            "ears": [
                {
                    "side": said("left").model_dump(),
                    "before": {
                        "occlusion_percent": said(40).model_dump(),
                        "wax": [
                            {"where": said("whole").model_dump(), "colour": [said("black").model_dump()]}
                        ],
                        "drum": [said("perforated", certainty="possible").model_dump()],
                    },
                    "removed_mm": [said(18, certainty="possible").model_dump()],
                }
            ],
            "plan": {"recall": {"number": said(6).model_dump(), "unit": said("months").model_dump()}},
            "extent": {"chars": (0, 14), "confidence": 0.7},
            "notices": [
                {"kind": "k", "weight": 3, "message": "look", "guidance": "common practice, no source"}
            ],
        }
    )


def test_plain_form_has_values_alone_and_a_mark_for_doubt() -> None:
    assert full_visit().plain() == {
        "patient_reference": "B52",
        "background": {"consent": "given", "history": [{"item": "perforation?"}]},
        "ears": [
            {
                "side": "left",
                "before": {
                    "occlusion_percent": 40,
                    "wax": [{"where": "whole", "colour": ["black"]}],
                    "drum": ["perforated?"],
                },
                "removed_mm": [18],
            }
        ],
        "plan": {"recall": {"number": 6, "unit": "months"}},
    }


def test_an_empty_visit_is_empty_in_plain_form() -> None:
    assert Visit().plain() == {}
    assert Visit(ears=[]).plain() == {}


def test_written_and_read_again_is_the_same() -> None:
    visit = full_visit()
    assert Visit.model_validate_json(visit.model_dump_json()) == visit
    plain = visit.plain()
    again = PlainVisit.model_validate(json.loads(json.dumps(plain)))
    assert again.model_dump(exclude_defaults=True, exclude_none=True) == plain


def test_values_are_walked_with_their_paths() -> None:
    found = {path: value.value for path, value in full_visit().values()}
    assert found == {
        "patient_reference": "B52",
        "background.consent": "given",
        "background.history[0].item": "perforation",
        "ears[0].side": "left",
        "ears[0].before.occlusion_percent": 40,
        "ears[0].before.wax[0].where": "whole",
        "ears[0].before.wax[0].colour[0]": "black",
        "ears[0].before.drum[0]": "perforated",
        "ears[0].removed_mm[0]": 18,
        "plan.recall.number": 6,
        "plan.recall.unit": "months",
    }


@pytest.mark.parametrize("origin", ["heard", "inferred"])
@pytest.mark.parametrize("missing", ["heard", "chars"])
def test_what_no_person_entered_needs_its_words(origin: str, missing: str) -> None:
    whole: dict[str, Any] = {"value": "left", "origin": origin, "heard": "left", "chars": (0, 4)}
    assert Value(**whole).value == "left"
    del whole[missing]
    with pytest.raises(ValidationError, match="needs the words it came from"):
        Value(**whole)
    assert Value(value="left", origin="entered").heard is None


@pytest.mark.parametrize(
    ("model", "given", "place"),
    [
        (Visit, {"patient": "7"}, ("patient",)),
        (Visit, {"ears": [{"before": {}}]}, ("ears", 0, "side")),
        (Ear, {"side": {"value": "middle", "heard": "x", "chars": [0, 1]}}, ("side", "value")),
        (Ear, {"side": {"value": "left", "heard": "x", "chars": [0, 1], "colour": 1}}, ("side", "colour")),
        (Before, {"drum": [{"value": "healthy?", "heard": "x", "chars": [0, 1]}]}, ("drum", 0, "value")),
        (Before, {"drum": [{"value": "fine", "heard": "x", "chars": [0, 1]}]}, ("drum", 0, "value")),
        (Recall, {"number": {"value": 6, "heard": "x", "chars": [0, 1]}}, ("unit",)),
        (Extent, {"chars": [0, 1], "confidence": 1.2}, ("confidence",)),
        (Notice, {"kind": "k", "weight": 1, "message": "m"}, ("guidance",)),
        (SidedHistory, {"item": {"value": "cold", "heard": "x", "chars": [0, 1]}}, ("item", "value")),
        (PlainVisit, {"ears": [{"side": "left?", "sides": 1}]}, ("ears", 0, "sides")),
        (PlainVisit, {"outcome": {"hearing": "great"}}, ("outcome", "hearing")),
        (PlainVisit, {"notices": []}, ("notices",)),
        (PlainVisit, {"extent": {}}, ("extent",)),
    ],
)
def test_what_is_not_in_the_contract_is_refused(model: Any, given: dict[str, Any], place: Any) -> None:
    with pytest.raises(ValidationError) as caught:
        model.model_validate(given)
    assert place in [fault["loc"][: len(place)] for fault in caught.value.errors()]


@pytest.mark.parametrize("confidence", [-0.1, 1.1])
def test_confidence_is_between_nought_and_one(confidence: float) -> None:
    with pytest.raises(ValidationError, match="confidence"):
        said("left", confidence=confidence)


def test_every_word_value_may_be_doubted_in_plain_form() -> None:
    for drum in closed_values(record.Drum):
        ear = {"side": "left", "before": {"drum": [drum, f"{drum}?"]}}
        assert PlainVisit.model_validate({"ears": [ear]}).model_dump(exclude_defaults=True) == {"ears": [ear]}


def test_a_number_is_never_marked_as_doubted() -> None:
    with pytest.raises(ValidationError):
        PlainVisit.model_validate({"ears": [{"side": "left", "removed_mm": ["18?"]}]})


def contract_values(cell: str) -> list[str]:
    """The values of a cell: words between commas, brackets left out."""
    plain = re.sub(r"\([^)]*\)", "", cell).split(";")[0]
    return [word.strip() for word in plain.split(",") if word.strip()]


@pytest.mark.skipif(not CONTRACT.is_file(), reason=f"the contract is not at {CONTRACT}")
def test_closed_lists_are_those_of_the_contract() -> None:
    table = {
        cells[1].strip().split(",")[0]: cells[2]
        for line in CONTRACT.read_text(encoding="utf-8").splitlines()
        if line.startswith("| ") and len(cells := line.split("|")) == 4
    }
    assert set(ROWS) <= set(table)
    for key, kind in ROWS.items():
        listed = contract_values(table[key])
        ours = [value for value in closed_values(kind) if value != "none" or "none" in listed]
        assert ours == listed, key


def test_closed_lists_hold_each_value_once() -> None:
    for kind in ROWS.values():
        values = closed_values(kind)
        assert len(set(values)) == len(values) > 1
        assert all(re.fullmatch(r"[a-z_]+", value) for value in values)
