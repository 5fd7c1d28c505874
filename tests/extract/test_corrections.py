"""Self-corrections: the last word stands.

CORRECTION: an error was made, the right version follows; DISREGARD: take it as not sent (ICAO Annex 10 vol.
II, 5.2.1.5.8). The last right words may be repeated after CORRECTION before the right version
(SERA.14075(c)); a bare "correct" or "confirm" corrects nothing.
"""

from collections.abc import Callable
from typing import Any

import pytest

BEFORE = "Left ear. Hard wax. Zoellner sucker. "


@pytest.mark.parametrize(
    ("said", "removed"),
    [
        ("One piece, eighteen mil, no, sixteen.", [16]),
        ("One piece, eighteen, no, sixteen mil.", [16]),
        ("One piece, eighteen mil, sorry, sixteen mil.", [16]),
        ("One piece of eighteen mil. Sorry, sixteen.", [16]),
        ("One piece, eighteen… make that sixteen mil.", [16]),
        ("One piece, eighteen mil, I mean sixteen.", [16]),
        ("One piece, two centimetres, no, one and a half.", [15]),
        ("One piece out, eighteen mil, or rather sixteen mil.", [16]),
        ("One piece out, eighteen mil. Scratch that, sixteen mil.", [16]),
        ("One piece out, eighteen mil, wait, sixteen mil.", [16]),
        # Annex 10: CORRECTION, with and without an anchor; DISREGARD
        ("One piece, eighteen millimetres, correction, sixteen millimetres.", [16]),
        ("One piece, length eighteen millimetres, correction, length sixteen millimetres.", [16]),
        ("One piece out, eighteen mil. Correction, one piece out, sixteen mil.", [16]),
        ("One piece out, eighteen mil. Disregard that.", None),
        ("One piece, eighteen mil, make that one six, sixteen.", [16]),
        ("One piece, eighteen mil. Sorry, two pieces, sixteen mil and four mil.", [16, 4]),
        # which piece, and why
        ("Four mil, seven mil, no, sorry, the second one was nine mil.", [4, 9]),
        ("Two pieces, nine mil and four mil. No, that last one's five mil.", [9, 5]),
        ("Twelve mil. No, wait, I was holding it by the wrong end, it's fifteen mil.", [15]),
        ("Ten mil. Hold on, I was looking at the inches side, it's twelve mil.", [12]),
        # near misses
        ("Ten mil. Wait, here comes the rest, six mil.", [10, 6]),
        ("Ten mil. Hold on, there's more behind it, and that's eight mil.", [10, 8]),
        ("One piece of eighteen mil, and no, nothing else.", [18]),
        ("One piece of eighteen mil, another of sixteen.", [18, 16]),
        ("One piece of eighteen mil, that is correct.", [18]),
        ("One piece of eighteen mil. Confirm, eighteen mil.", [18]),
        ("One piece of eighteen mil. No pain.", [18]),
        ("One piece of eighteen mil. Sorry about the noise.", [18]),
    ],
)
def test_lengths(sides: Callable[[str], dict[str, Any]], said: str, removed: list[int] | None) -> None:
    assert sides(BEFORE + said)["left"].get("removed_mm") == removed


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ("Left ear, sorry, right ear. Hard wax.", ["right"]),
        ("Left, sorry, right ear. Hard wax.", ["right"]),
        ("Right ear, no, left ear, hard wax.", ["left"]),
        ("Left ear, correction, right ear. Hard wax.", ["right"]),
        ("This is the left ear. Correction, the right ear. Hard wax.", ["right"]),
        ("The left ear, I beg your pardon, the right ear, is full of hard wax.", ["right"]),
        ("Left ear, hard wax. Right ear, soft wax.", ["left", "right"]),
        ("Left ear, no wax. Right ear, soft wax.", ["left", "right"]),
        ("Left ear, no, no wax there. Right ear, soft wax.", ["left", "right"]),
        ("Left ear hard wax, sorry for the wait. Right ear, soft wax.", ["left", "right"]),
    ],
)
def test_sides(sides: Callable[[str], dict[str, Any]], said: str, found: list[str]) -> None:
    assert list(sides(said)) == found


@pytest.mark.parametrize(
    ("said", "part", "field", "value"),
    [
        ("The wax is brown, no, black.", "before", "wax", [{"where": "whole", "colour": ["black"]}]),
        ("It is soft, sorry, hard wax.", "before", "wax", [{"where": "whole", "consistency": ["hard"]}]),
        ("Eighty percent, no, ninety percent of the canal.", "before", "occlusion_percent", 90),
        ("Wax fills eighty, correction, ninety percent.", "before", "occlusion_percent", 90),
        ("Partially blocked, correction, completely blocked with wax.", "before", "occlusion", "complete"),
        ("Wax in the outer part, no, deep.", "before", "depth", ["deep"]),
        ("The canal is dry, I mean narrow.", "before", "canal", ["narrow"]),
        ("Drum perforated, correction, retracted.", "before", "drum", ["retracted"]),
        ("Drum dull. Disregard that. Wax hard.", "before", "drum", None),
        ("Canal narrow, drum dull. Disregard dull. Wax hard.", "before", "drum", None),
        ("Canal narrow, drum dull. Disregard dull. Wax hard.", "before", "canal", ["narrow"]),
        ("Canal narrow. Wax is hard, disregard.", "before", "wax", None),
        (
            "Wax, eighteen gauge, no, twenty gauge sucker.",
            "procedure",
            "instruments",
            [{"name": "suction_tube", "size": "20G"}],
        ),
        ("Wax. Crocodile forceps, correction, wax hook.", "procedure", "instruments", [{"name": "wax_hook"}]),
        ("Wax. Crocodiles, sorry, I mean the hook.", "procedure", "instruments", [{"name": "wax_hook"}]),
        ("Hard wax, sucker. All out. No, some left.", "after", "clearance", "partial"),
        # near misses: a denial is no correction, and another class is none either
        ("The wax is brown, no blood.", "before", "wax", [{"where": "whole", "colour": ["brown"]}]),
        (
            "The wax is brown and hard, no black bits.",
            "before",
            "wax",
            [{"where": "whole", "consistency": ["hard"], "colour": ["brown"]}],
        ),
        (
            "Wax. Crocodile forceps, then the hook.",
            "procedure",
            "instruments",
            [{"name": "crocodile_forceps"}, {"name": "wax_hook"}],
        ),
        (
            "The position is correct, the wax is hard.",
            "before",
            "wax",
            [{"where": "whole", "consistency": ["hard"]}],
        ),
    ],
)
def test_findings(
    sides: Callable[[str], dict[str, Any]], said: str, part: str, field: str, value: Any
) -> None:
    ear = sides(f"Right ear. {said}")["right"]
    got = ear.get(part, {}).get(field)
    if field == "instruments" and got:
        got = [tool for tool in got if tool["name"] != "suction_tube" or "size" in tool]
    assert got == value


@pytest.mark.parametrize(
    ("said", "section", "field", "value"),
    [
        ("See her in six months. No, make that four.", "plan", "recall", {"number": 4, "unit": "months"}),
        ("Back in six, sorry, three weeks.", "plan", "recall", {"number": 3, "unit": "weeks"}),
        ("Recall six months, correction, recall one year.", "plan", "recall", {"number": 1, "unit": "years"}),
        ("Back in six months, no sooner.", "plan", "recall", {"number": 6, "unit": "months"}),
        ("Refer to the GP, correction, to ENT.", "plan", "referral", {"to": "ent"}),
        ("Refer to ENT, routine, no, urgent.", "plan", "referral", {"to": "ent", "urgency": "urgent"}),
        ("Refer to ENT, urgent, no waiting.", "plan", "referral", {"to": "ent", "urgency": "urgent"}),
        ("She hears better. Sorry, no better.", "outcome", "hearing", "unchanged"),
    ],
)
def test_plan(visit: Callable[[str], Any], said: str, section: str, field: str, value: Any) -> None:
    assert visit(f"{BEFORE}All out. Drum intact. {said}").get(section, {}).get(field) == value


@pytest.mark.parametrize(
    ("said", "field", "value"),
    [
        ("It hurts. No, she says it doesn't.", "symptoms_denied", ["pain"]),
        ("The right ear itches, sorry, the left ear itches.", "symptoms", [{"item": "itch", "side": "left"}]),
        ("He's diabetic. No, he's not.", "history_denied", ["diabetes"]),
        ("She was dizzy. No, she wasn't.", "symptoms_denied", ["dizziness"]),
        ("It hurts. No, I don't think we need stop.", "symptoms", [{"item": "pain"}]),
        ("It hurts. No, she isn't deaf.", "symptoms", [{"item": "pain"}]),
        ("He is diabetic, correction, he isn't diabetic.", "history_denied", ["diabetes"]),
        ("He had grommets. Sorry, that was his brother.", "history", []),
        ("She used almond oil, no, olive oil for five days.", "softener", {"agent": "olive_oil", "days": 5}),
        ("She used olive oil for five, no, seven days.", "softener", {"agent": "olive_oil", "days": 7}),
        ("It itches, no pain.", "symptoms_denied", ["pain"]),
    ],
)
def test_background(visit: Callable[[str], Any], said: str, field: str, value: Any) -> None:
    assert visit(f"Consent given. {said} {BEFORE}").get("background", {}).get(field, []) == value
