"""The record as written: whole visits, how values merge, and the evidence behind inferred and denied ones."""

from collections.abc import Callable
from typing import Any

import pytest

from extract.reader import Reader
from shared.record import Value, Visit
from shared.transcript import Transcript

WHOLE = [
    (
        "Patient two two seven. He agrees to go ahead. Left ear feels blocked, no pain, no discharge."
        " He is on apixaban. Almond oil for four nights. Left ear. Seventy percent, hard brown wax at"
        " the front, soft behind. Can't see the drum. Eighteen gauge Zoellner under the microscope, "
        "then the crocodiles. One piece, fourteen mil. All clear. Drum intact. A spot of bleeding. He"
        " tolerated it well and hears better. Keep it dry. Back in nine months.",
        {
            "patient_reference": "227",
            "background": {
                "consent": "given",
                "symptoms": [{"item": "blocked", "side": "left"}],
                "symptoms_denied": ["pain", "discharge"],
                "history": [{"item": "anticoagulants"}],
                "softener": {"agent": "almond_oil", "days": 4},
            },
            "ears": [
                {
                    "side": "left",
                    "before": {
                        "occlusion": "partial",
                        "occlusion_percent": 70,
                        "wax": [
                            {"where": "surface", "consistency": ["hard"], "colour": ["brown"]},
                            {"where": "inner", "consistency": ["soft"]},
                        ],
                        "drum": ["not_seen"],
                    },
                    "procedure": {
                        "methods": ["microsuction", "manual"],
                        "instruments": [
                            {"name": "suction_tube", "size": "18G"},
                            {"name": "microscope"},
                            {"name": "crocodile_forceps"},
                        ],
                        "tolerance": "well",
                    },
                    "removed_mm": [14],
                    "after": {"clearance": "complete", "drum": ["intact"]},
                    "complications": ["bleeding"],
                }
            ],
            "outcome": {"hearing": "improved"},
            "plan": {"advice": ["keep_dry"], "recall": {"number": 9, "unit": "months"}},
        },
    ),
    (
        "Both ears itch, she says, and she has never had wax removed before. Consent obtained. "
        "Otoscope. Right ear, no wax, drum healthy. Left ear, sticky honey-coloured wax deep in the "
        "canal. Curette. Most of it out, a little left by the drum. Uncomfortable but she managed. No"
        " bleeding. Routine letter to the GP.",
        {
            "background": {
                "consent": "given",
                "symptoms": [{"item": "itch", "side": "both"}],
                "history": [{"item": "first_removal"}],
            },
            "ears": [
                {
                    "side": "right",
                    "before": {"occlusion": "none", "drum": ["healthy"]},
                    "procedure": {"instruments": [{"name": "otoscope"}]},
                },
                {
                    "side": "left",
                    "before": {
                        "wax": [{"where": "whole", "consistency": ["sticky"], "colour": ["honey"]}],
                        "depth": ["deep"],
                    },
                    "procedure": {
                        "methods": ["manual"],
                        "instruments": [{"name": "curette"}],
                        "tolerance": "with_discomfort",
                    },
                    "after": {"clearance": "partial"},
                    "complications_denied": ["bleeding"],
                },
            ],
            "plan": {"referral": {"to": "gp", "urgency": "routine"}},
        },
    ),
    ("Consent declined.", {"background": {"consent": "declined"}}),
    ("Good morning. Lovely weather. Mind the step.", {}),
    ("", {}),
]


@pytest.mark.parametrize(("said", "plain"), WHOLE)
def test_whole_visits(visit: Callable[[str], Any], said: str, plain: dict[str, Any]) -> None:
    assert visit(said) == plain


@pytest.mark.parametrize(
    ("said", "part", "value"),
    [
        ("Hundred percent blocked.", "occlusion", "complete"),
        ("Zero percent, no wax.", "occlusion", "none"),
        ("Ten percent.", "occlusion", "partial"),
        ("Half the canal is full.", "occlusion_percent", 50),
        ("Possibly hard wax. It is hard.", "wax", [{"where": "whole", "consistency": ["hard"]}]),
        ("Brown wax. Brown wax, as I said.", "wax", [{"where": "whole", "colour": ["brown"]}]),
        (
            "Hard wax, brown, and dry.",
            "wax",
            [{"where": "whole", "consistency": ["hard", "dry"], "colour": ["brown"]}],
        ),
        ("Canal dry and narrow. Canal dry.", "canal", ["dry", "narrow"]),
        ("Something foreign in there, it's a bead.", "foreign_body", "bead"),
    ],
)
def test_how_values_merge(sides: Callable[[str], dict[str, Any]], said: str, part: str, value: Any) -> None:
    assert sides(f"Right ear, otoscope. {said}")["right"]["before"].get(part) == value


def values(reader: Reader, said: str) -> dict[str, Value[Any]]:
    visits: list[Visit] = reader.read(Transcript.from_text(said))
    assert len(visits) == 1
    return dict(visits[0].values())


@pytest.mark.parametrize(
    ("said", "path", "found"),
    [
        ("Left ear. Hard wax. Zoellner.", "ears[0].side", ("left", "heard", "Left ear")),
        ("Left ear. Hard wax. Zoellner.", "ears[0].before.wax[0].consistency[0]", ("hard", "heard", "Hard")),
        (
            "Left ear. Hard wax. Zoellner.",
            "ears[0].procedure.methods[0]",
            ("microsuction", "inferred", "Zoellner"),
        ),
        (
            "Left ear. Hard wax. Suction.",
            "ears[0].procedure.methods[0]",
            ("microsuction", "heard", "Suction"),
        ),
        ("Left ear, soft wax. Other ear, hard wax.", "ears[1].side", ("right", "inferred", "Other ear")),
        ("Left ear, eighty percent.", "ears[0].before.occlusion_percent", (80, "heard", "eighty percent")),
        ("Left ear, eighty percent.", "ears[0].before.occlusion", ("partial", "inferred", "eighty percent")),
        (
            "Left ear, hard wax, hook. Two centimetres.",
            "ears[0].removed_mm[0]",
            (20, "heard", "Two centimetres"),
        ),
        ("Hard wax.", "ears[0].side", ("unstated", "inferred", "Hard")),
    ],
)
def test_where_a_value_comes_from(reader: Reader, said: str, path: str, found: tuple[Any, str, str]) -> None:
    behind = values(reader, said)[path]
    assert (behind.value, behind.origin, behind.heard) == found


@pytest.mark.parametrize(
    ("said", "consent"),
    [
        ("Consent given. Left ear, hard wax, hook, all out.", "given"),
        ("Left ear, no wax. He declined the procedure.", "declined"),
        ("Consent given. Left ear, hard wax, hook, all out. I offered audiology but he declined.", "given"),
        ("Left ear, hard wax, hook, all out. I offered audiology but he declined.", None),
    ],
)
def test_what_was_declined(visit: Callable[[str], Any], said: str, consent: str | None) -> None:
    assert visit(said).get("background", {}).get("consent") == consent


def test_gauge_and_french_are_sizes_of_suction_tubes_only(sides: Callable[[str], dict[str, Any]]) -> None:
    ear = sides("Left ear. Hard wax. Alligators, then a 7 French suction tip. All out.")["left"]
    assert ear["procedure"]["instruments"] == [
        {"name": "crocodile_forceps"},
        {"name": "suction_tube", "size": "7Fr"},
    ]


@pytest.mark.parametrize(
    ("said", "path", "word"),
    [
        ("No pain. Left ear, hard wax.", "background.symptoms_denied[0]", "No"),
        ("He isn't diabetic. Left ear, hard wax.", "background.history_denied[0]", "n't"),
        ("Left ear, hard wax, hook. There was no bleeding.", "ears[0].complications_denied[0]", "no"),
        ("Left ear, hard wax, hook. Without any pain.", "ears[0].complications_denied[0]", "Without"),
    ],
)
def test_a_denial_is_quoted_with_its_denying_word(reader: Reader, said: str, path: str, word: str) -> None:
    assert word in (values(reader, said)[path].heard or "")


@pytest.mark.parametrize(
    ("said", "path", "surer"),
    [
        ("Left ear. Possibly hard wax.", "ears[0].before.wax[0].consistency[0]", "Left ear. Hard wax."),
        (
            "Left ear. Hard wax. Crocodile for steps.",
            "ears[0].procedure.instruments[0].name",
            "Left ear. Hard wax. Crocodile forceps.",
        ),
    ],
)
def test_what_is_doubted_or_repaired_is_less_sure(reader: Reader, said: str, path: str, surer: str) -> None:
    assert values(reader, said)[path].confidence < values(reader, surer)[path].confidence
