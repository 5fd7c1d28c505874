"""Before or after: as found until the removal in that ear is finished, then the final look.

A drum described after anything was removed is `after`, unless more removal follows and it is described again;
what is told late in the past tense is `before`; an ear where nothing is removed has no `after`.
"""

from collections.abc import Callable
from typing import Any

import pytest


@pytest.mark.parametrize(
    ("said", "drum"),
    [
        # what only sounds reassuring
        ("The drum is far from healthy.", []),
        ("I would not call that drum healthy.", []),
        ("Drum anything but normal, it's red.", ["inflamed"]),
        ("The drum, I'm happy to say, is not perforated but it is inflamed.", ["inflamed"]),
        ("Drum nearly normal, slightly dull.", ["dull"]),
        ("I was about to say the drum was healthy, but it's dull.", ["dull"]),
        ("The drum would be intact only for a pinhole at the front.", ["perforated"]),
        # what only sounds alarming
        ("I thought there was a hole in the drum but it's a flake of wax. Drum intact.", ["intact"]),
        ("The drum used to be perforated.", []),
        # near misses
        ("I'm happy with the drum, it's healthy.", ["healthy"]),
        ("I'd call that drum healthy.", ["healthy"]),
        ("I thought the drum was dull.", ["dull"]),
    ],
)
def test_what_a_drum_is_called(sides: Callable[[str], dict[str, Any]], said: str, drum: list[str]) -> None:
    ear = sides(f"Left ear. Hard wax. Sucker, all clear. {said}")["left"]
    assert ear.get("after", {}).get("drum", []) == drum


@pytest.mark.parametrize(
    ("said", "before", "after"),
    [
        ("The drum is dull. Sucker, all out.", ["dull"], []),
        ("Sucker, all out. The drum is dull.", [], ["dull"]),
        ("The drum is dull. Sucker, all out. The drum is intact.", ["dull"], ["intact"]),
        ("Sucker. One piece, eighteen mil. The drum is dull.", [], ["dull"]),
        ("Sucker. A piece out. Drum dull. Another piece out. Drum intact now.", ["dull"], ["intact"]),
        ("Sucker. A piece out. Drum dull. That will do.", [], ["dull"]),
        ("Sucker. A piece out. Drum dull. Another piece out. That will do.", [], ["dull"]),
        ("Sucker. A piece out. Drum dull, the handle sticks out. The drum is not red.", [], ["dull"]),
        (
            "Drum dull. I can't rule out a perforation of the drum.",
            ["dull", "perforated?"],
            [],
        ),
        ("No wax. The drum is dull.", ["dull"], []),
        ("The drum is dull, left alone, nothing removed.", ["dull"], []),
        ("Sucker, all gone. Having a last look, the drum is retracted.", [], ["retracted"]),
        ("Sucker, all clear. The drum had looked dull at the start.", ["dull"], []),
        ("Drum not seen. Wax hook, most of it out. Drum still not seen.", ["not_seen"], ["not_seen"]),
        ("With the wax gone thanks to the sucker, the drum is intact.", [], ["intact"]),
        ("Intact drum behind a little wax. Sucker, all out.", ["intact"], []),
        ("Sucker. She couldn't bear it, so I stopped. The drum is dull.", [], ["dull"]),
    ],
)
def test_drum(sides: Callable[[str], dict[str, Any]], said: str, before: list[str], after: list[str]) -> None:
    ear = sides(f"Left ear, otoscope. {said}")["left"]
    assert ear.get("before", {}).get("drum", []) == before
    assert ear.get("after", {}).get("drum", []) == after


@pytest.mark.parametrize(
    ("said", "field", "before", "after"),
    [
        ("The canal is red. Sucker, all out.", "canal", ["inflamed"], []),
        ("Sucker, all out. The canal is red.", "canal", [], ["inflamed"]),
        ("The canal is dry. Sucker, all out. The canal is healthy.", "canal", ["dry"], ["healthy"]),
        ("Sucker, all out. There was loose skin at the entrance.", "skin", ["loose"], []),
        ("Loose skin. Sucker, all out.", "skin", ["loose"], []),
        ("Sucker, all out. Some skin is stuck fast, I've left it.", "skin", [], ["attached"]),
        ("Sucker, all out. The canal is narrow, by the way.", "canal", ["narrow"], []),
        ("Sucker. One piece out. The canal is healthy.", "canal", [], ["healthy"]),
        ("No wax. The canal is healthy.", "canal", ["healthy"], []),
        ("The canal was tender when I first looked. Sucker, all out.", "canal", ["tender"], []),
    ],
)
def test_canal_and_skin(
    sides: Callable[[str], dict[str, Any]], said: str, field: str, before: list[str], after: list[str]
) -> None:
    ear = sides(f"Left ear, otoscope. {said}")["left"]
    assert ear.get("before", {}).get(field, []) == before
    assert ear.get("after", {}).get(field, []) == after


@pytest.mark.parametrize(
    ("said", "occlusion", "clearance"),
    [
        ("Full of wax. Sucker, all clear.", "complete", "complete"),
        ("Full of wax. Sucker, most of it out.", "complete", "partial"),
        ("Full of wax. Sucker, not all of it out.", "complete", "partial"),
        ("Full of wax. Wouldn't budge, none of it came out.", "complete", "none"),
        ("No wax.", "none", None),
        ("The ear is clear.", None, None),
        ("Half full of wax. Sucker. Every scrap out.", "partial", "complete"),
        ("Half full of wax. Sucker. Now there is no wax.", "partial", "complete"),
        ("Completely blocked with wax. Sucker. Clear.", "complete", "complete"),
        ("Full of wax. Sucker. A little left for next time.", "complete", "partial"),
    ],
)
def test_occlusion_and_clearance(
    sides: Callable[[str], dict[str, Any]], said: str, occlusion: str | None, clearance: str | None
) -> None:
    ear = sides(f"Left ear, otoscope. {said}")["left"]
    found = ear.get("before", {}).get("occlusion") or (
        "none" if occlusion is None and clearance is None else None
    )
    assert found == (occlusion or "none")
    assert ear.get("after", {}).get("clearance") == clearance


@pytest.mark.parametrize(
    ("said", "right", "left"),
    [
        (
            "Right ear, drum dull, sucker, all out. Left ear, drum dull, sucker, all out.",
            ("before", "dull"),
            ("before", "dull"),
        ),
        (
            "Right ear, sucker, all out, drum dull. Left ear, drum intact, sucker on.",
            ("after", "dull"),
            ("before", "intact"),
        ),
        (
            "Right ear, hard wax, sucker, all out. Left ear, no wax. Right drum dull, left drum intact.",
            ("after", "dull"),
            ("before", "intact"),
        ),
    ],
)
def test_each_ear_has_its_own_time(
    sides: Callable[[str], dict[str, Any]], said: str, right: tuple[str, str], left: tuple[str, str]
) -> None:
    ears = sides(said)
    for side, (when, value) in (("right", right), ("left", left)):
        other = "after" if when == "before" else "before"
        assert ears[side][when]["drum"] == [value]
        assert "drum" not in ears[side].get(other, {})
