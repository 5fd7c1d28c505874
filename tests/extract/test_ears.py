"""Which ear: named, called the other one, both, carried on, or unstated; never guessed."""

from collections.abc import Callable
from typing import Any

import pytest


def kinds(ear: dict[str, Any]) -> str:
    """All kinds and colours of an ear's wax."""
    entries = ear.get("before", {}).get("wax", [])
    return " ".join(v for e in entries for key in ("consistency", "colour") for v in e.get(key, []))


@pytest.mark.parametrize(
    ("said", "ears"),
    [
        # one ear, named
        ("Right ear. Hard wax.", {"right": "hard"}),
        ("The left one is full of hard wax.", {"left": "hard"}),
        ("Hard wax in the right ear.", {"right": "hard"}),
        ("Left canal, hard wax.", {"left": "hard"}),
        ("Hard wax in the right external auditory canal.", {"right": "hard"}),
        ("Right-hand side. Hard wax.", {"right": "hard"}),
        # unstated
        ("Hard wax, brown.", {"unstated": "hard brown"}),
        ("This ear has hard wax.", {"unstated": "hard"}),
        ("Hard wax. The other ear, soft wax.", {"unstated": "hard", "unstated2": "soft"}),
        ("First ear, hard wax. Second ear, soft wax.", {"unstated": "hard", "unstated2": "soft"}),
        # words that look like a side and are none
        ("Right, hard wax here.", {"unstated": "hard"}),
        ("Right then, hard wax, and that's all right.", {"unstated": "hard"}),
        ("You're right, it's hard wax.", {"unstated": "hard"}),
        ("Hard wax right in front of me.", {"unstated": "hard"}),
        ("Hard wax, and a little left behind.", {"unstated": "hard"}),
        ("Hard wax. There's some left.", {"unstated": "hard"}),
        ("Hard wax. The door on the left, please.", {"unstated": "hard"}),
        ("Hard wax, right at the back.", {"unstated": "hard"}),
        ("That's the right thing to do. Hard wax.", {"unstated": "hard"}),
        ("He's left. Hard wax.", {"unstated": "hard"}),
        ("Hard wax, and the sucker's on the right tray.", {"unstated": "hard"}),
        ("Hard wax. The spare tubes are in the right-hand drawer.", {"unstated": "hard"}),
        ("Turn right a little for me. Hard wax.", {"unstated": "hard"}),
        ("Turn your head to the left. Hard wax.", {"unstated": "hard"}),
        ("Could you lean to the right a bit. Hard wax.", {"unstated": "hard"}),
        ("He lies on his left side. Hard wax.", {"unstated": "hard"}),
        ("Her right hand is up again. Hard wax.", {"unstated": "hard"}),
        ("Left ear, hard wax. Right, left a bit of it behind.", {"left": "hard"}),
        ("Left ear, hard wax, sorry for the wait. Right ear, soft wax.", {"left": "hard", "right": "soft"}),
        ("Left ear, hard wax. She can wait. Right ear, soft wax.", {"left": "hard", "right": "soft"}),
        ("He collapsed into the chair. Right ear, hard wax.", {"right": "hard"}),
        ("Watch the door. Left one, hard wax.", {"left": "hard"}),
        # two ears
        ("Right ear, hard wax. Left ear, soft wax.", {"right": "hard", "left": "soft"}),
        ("Right ear, hard wax. The other ear, soft wax.", {"right": "hard", "left": "soft"}),
        ("Left ear, hard wax. Other side, soft wax.", {"left": "hard", "right": "soft"}),
        ("Left ear, hard wax. On the opposite side, soft wax.", {"left": "hard", "right": "soft"}),
        ("Hard wax in the right ear, soft wax in the left.", {"right": "hard", "left": "soft"}),
        ("The right is hard wax, the left soft wax.", {"right": "hard", "left": "soft"}),
        ("Both ears, hard wax.", {"right": "hard", "left": "hard"}),
        ("Bilateral hard wax.", {"right": "hard", "left": "hard"}),
        ("Hard wax in either ear.", {"right": "hard", "left": "hard"}),
        ("Right ear, hard wax. Same on the left.", {"right": "hard", "left": "hard"}),
        ("Right ear, hard wax. Ditto left.", {"right": "hard", "left": "hard"}),
        ("Left ear, sticky wax. Likewise the right.", {"left": "sticky", "right": "sticky"}),
        ("Left ear, sticky wax. Identical on the right.", {"left": "sticky", "right": "sticky"}),
        (
            "Right ear, hard brown wax. The other side, same again.",
            {"right": "hard brown", "left": "hard brown"},
        ),
        ("Right ear, hard wax. Zoellner, all out. Other one, soft.", {"right": "hard", "left": "soft"}),
        (
            "Left ear, hard wax. Right ear. Same like the left, but brown.",
            {"left": "hard", "right": "hard brown"},
        ),
        (
            "Left ear, hard wax. Right ear, drier than the left, and soft.",
            {"left": "hard", "right": "dry soft"},
        ),
        ("Right ear, hard brown wax. Left ear, same again.", {"right": "hard brown", "left": "hard brown"}),
        (
            "Right ear, hard brown wax. Left ear, same as the other side.",
            {"right": "hard brown", "left": "hard brown"},
        ),
        # carried on, and come back to
        ("Right ear. Narrow canal. Wax hard.", {"right": "hard"}),
        (
            "Right ear, hard wax. Left ear, soft wax. The wax in the right ear was brown too.",
            {"right": "hard brown", "left": "soft"},
        ),
        (
            "Right ear, hard wax. Left ear, soft wax. Back to the right ear, the wax is brown.",
            {"right": "hard brown", "left": "soft"},
        ),
        # named late, for the ear in hand
        ("Hard wax. For the record, that was the right ear.", {"right": "hard"}),
        ("Hard wax. This is the left ear, by the way.", {"left": "hard"}),
        # named in the story only
        ("Her left ear has been blocked. Let's look. Hard wax.", {"left": "hard"}),
        ("Left and right ears blocked, she says. Let's look. Hard wax.", {"unstated": "hard"}),
    ],
)
def test_ears(sides: Callable[[str], dict[str, Any]], said: str, ears: dict[str, str]) -> None:
    assert {side: kinds(ear) for side, ear in sides(said).items()} == ears


@pytest.mark.parametrize(
    ("said", "right", "left"),
    [
        ("Right ear, sucker. Left ear, wax hook. Both drums intact.", ["intact"], ["intact"]),
        ("Right ear, sucker. Left ear, wax hook. Right drum dull, left drum intact.", ["dull"], ["intact"]),
        ("Right ear, sucker. Left ear, wax hook. The left drum is dull.", [], ["dull"]),
        ("Right ear, sucker. Drum dull. Left ear, wax hook. Drum intact.", ["dull"], ["intact"]),
        ("Right ear, sucker. Left ear, wax hook. Drums intact on both sides.", ["intact"], ["intact"]),
        ("Right ear, sucker. Left ear, wax hook. The drum on the right was dull.", ["dull"], []),
        ("Right ear, sucker. Left ear, wax hook. Going back to the right, that drum was dull.", ["dull"], []),
        ("Left ear, sucker, drum dull and intact over to the right ear, wax hook.", [], ["dull", "intact"]),
        (
            "Right ear, sucker. Left ear, wax hook. Drum intact on the right and on the left.",
            ["intact"],
            ["intact"],
        ),
        ("Right ear, sucker. Left ear, wax hook. In the first the drum is dull.", ["dull"], []),
    ],
)
def test_drums_of_two_ears(
    sides: Callable[[str], dict[str, Any]], said: str, right: list[str], left: list[str]
) -> None:
    ears = sides(f"Wax in both ears, hard. {said}")

    def drum(side: str) -> list[str]:
        return [d for when in ("before", "after") for d in ears[side].get(when, {}).get("drum", [])]

    assert (drum("right"), drum("left")) == (right, left)


@pytest.mark.parametrize(
    ("said", "symptoms"),
    [
        ("The right ear itches.", [("itch", "right")]),
        ("Her right ear itches and the left one hurts.", [("itch", "right"), ("pain", "left")]),
        ("Both ears feel blocked.", [("blocked", "both")]),
        ("Itching in the left ear.", [("itch", "left")]),
        ("The left ear is blocked and it itches.", [("blocked", "left"), ("itch", "left")]),
        ("She is dizzy.", [("dizziness", None)]),
        ("It itches.", [("itch", None)]),
        ("The left ear is blocked. She is dizzy too.", [("blocked", "left"), ("dizziness", None)]),
        ("She sleeps on her right side and feels blocked.", [("blocked", None)]),
        ("She's blocked on the right.", [("blocked", "right")]),
        ("He's been blocked on the left for weeks.", [("blocked", "left")]),
        ("She can't lie on the left, it hurts.", [("pain", None)]),
        ("He turns his head to the right, he's dizzy.", [("dizziness", None)]),
    ],
)
def test_sides_of_symptoms(
    visit: Callable[[str], Any], said: str, symptoms: list[tuple[str, str | None]]
) -> None:
    back = visit(f"Consent given. {said} Otoscope. Left ear, hard wax. Right ear, soft wax.")["background"]
    assert [(s["item"], s.get("side")) for s in back["symptoms"]] == symptoms


def test_order_is_that_in_which_they_were_first_spoken_of(sides: Callable[[str], dict[str, Any]]) -> None:
    assert list(sides("Left ear, no wax. Right ear, hard wax. Left drum dull.")) == ["left", "right"]


def test_tools_taken_up_before_an_ear_is_named_are_of_the_first_named(
    sides: Callable[[str], dict[str, Any]],
) -> None:
    ears = sides("She's blocked on the right. Microscope. Left ear, hard wax. Right ear, soft wax.")
    assert list(ears) == ["left", "right"]
    assert [tool["name"] for tool in ears["left"]["procedure"]["instruments"]] == ["microscope"]
    assert "procedure" not in ears["right"]


@pytest.mark.parametrize(
    ("said", "first", "second"),
    [
        ("No bleeding from the first ear, a little from the second.", [], ["bleeding"]),
        ("A little bleeding in the first one, not in the second.", ["bleeding"], []),
        ("There was bleeding in the second ear.", [], ["bleeding"]),
    ],
)
def test_ears_counted(
    sides: Callable[[str], dict[str, Any]], said: str, first: list[str], second: list[str]
) -> None:
    ears = sides(f"First ear, hard wax. Zoellner, all out. Second ear, soft wax. Curette, all out. {said}")
    assert [ears[name].get("complications", []) for name in ("unstated", "unstated2")] == [first, second]


@pytest.mark.parametrize("tries", ["two goes", "two syringes", "both attempts gentle", "two passes"])
def test_a_second_try_is_not_the_second_ear(sides: Callable[[str], dict[str, Any]], tries: str) -> None:
    ears = sides(f"Left ear. Firm wax. Irrigated, {tries}. A little bleeding on the second. Cleared.")
    assert list(ears) == ["left"]
    assert ears["left"]["complications"] == ["bleeding"]


def test_one_plug_of_each_ear(sides: Callable[[str], dict[str, Any]]) -> None:
    ears = sides("Right ear, hard wax. Left ear, hard wax. Crocodiles. Both plugs were fifteen mil each.")
    assert [ear["removed_mm"] for ear in ears.values()] == [[15], [15]]
    (only,) = sides("Left ear, two plugs. Crocodiles. Both plugs were fifteen mil each.").values()
    assert only["removed_mm"] == [15, 15]
