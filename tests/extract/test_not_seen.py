"""A drum that cannot be seen, in many manners; other things unseen say nothing of the drum."""

from collections.abc import Callable
from typing import Any

import pytest


@pytest.mark.parametrize(
    ("said", "drum"),
    [
        ("The drum is not seen.", ["not_seen"]),
        ("No drum in sight.", ["not_seen"]),
        ("The drum's nowhere in sight.", ["not_seen"]),
        ("No eardrum visible.", ["not_seen"]),
        ("No perforation in sight, drum intact.", ["intact"]),
        ("I can't see the drum.", ["not_seen"]),
        ("Can't see the eardrum for wax.", ["not_seen"]),
        ("Unable to see the drum.", ["not_seen"]),
        ("TM not visualised.", ["not_seen"]),
        ("TM not visible.", ["not_seen"]),
        ("The eardrum could not be visualized.", ["not_seen"]),
        ("No sign of the drum.", ["not_seen"]),
        ("No view of the tympanic membrane.", ["not_seen"]),
        ("The drum is hidden.", ["not_seen"]),
        ("The drum is obscured by wax.", ["not_seen"]),
        ("The drum I cannot see at all.", ["not_seen"]),
        ("There's no seeing the drum yet.", ["not_seen"]),
        ("Drum out of sight behind it.", ["not_seen"]),
        ("I couldn't get a view of the drum.", ["not_seen"]),
        # near misses: seen, or something else unseen
        ("I can see the drum.", []),
        ("I can see the drum, and it is dull.", ["dull"]),
        ("I can't see a perforation in the drum.", []),
        ("I can't see a hole in it, the drum is dull.", ["dull"]),
        ("I can't see any redness of the drum.", []),
        ("I can't see the drum for hard wax.", ["not_seen"]),
        ("I can see a perforation in the drum.", ["perforated"]),
        ("No seeing past the wax to the drum.", ["not_seen"]),
        ("There's seeing to be done on the drum.", []),
        ("I can't see any wax.", []),
        ("I can't see the clock from here.", []),
        ("No sign of infection, and the drum is dull.", ["dull"]),
        ("Not visible from the door, this screen.", []),
        ("You can't miss the drum, it is red.", ["inflamed"]),
        ("The bead is out of sight.", []),
    ],
)
def test_drum_before(sides: Callable[[str], dict[str, Any]], said: str, drum: list[str]) -> None:
    ear = sides(f"Left ear, otoscope, canal narrow. {said}")["left"]
    assert ear["before"].get("drum", []) == drum
    assert "after" not in ear


@pytest.mark.parametrize(
    ("said", "before", "after"),
    [
        ("The drum can't be seen. Sucker, all out. The drum is dull.", ["not_seen"], ["dull"]),
        ("Sucker, all out. I still can't see the drum.", [], ["not_seen"]),
        ("The drum can't be seen. Sucker, most of it out. Drum still not seen.", ["not_seen"], ["not_seen"]),
        (
            "I couldn't see the drum to begin with. Sucker, all gone. It's intact, the drum.",
            ["not_seen"],
            ["intact"],
        ),
        ("Sucker. All clear, and now I can see the drum.", [], []),
    ],
)
def test_before_and_after(
    sides: Callable[[str], dict[str, Any]], said: str, before: list[str], after: list[str]
) -> None:
    ear = sides(f"Left ear, hard wax. {said}")["left"]
    assert ear["before"].get("drum", []) == before
    assert ear.get("after", {}).get("drum", []) == after


def test_doubt_does_not_stick_to_a_drum_unseen(sides: Callable[[str], dict[str, Any]]) -> None:
    ear = sides("Right ear. Probably old wax, hard. I can't see the drum.")["right"]
    assert ear["before"]["drum"] == ["not_seen"]
