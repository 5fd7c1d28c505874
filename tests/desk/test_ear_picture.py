"""The picture of an ear: what is drawn is what was recorded, and it says so in words."""

import xml.etree.ElementTree as ET
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from desk.ear_picture import HEIGHT, WIDTH, describe, ear_picture
from shared.record import (
    Canal,
    Clearance,
    Colour,
    Depth,
    Drum,
    Ear,
    ForeignBody,
    Layer,
    Occlusion,
    Side,
    Skin,
)

MOMENTS = ("before", "after")


def one_of(kind: object) -> st.SearchStrategy[dict[str, object]]:
    return st.sampled_from(get_args(kind)).map(lambda value: {"value": value, "origin": "entered"})


def some(kind: object) -> st.SearchStrategy[list[dict[str, object]]]:
    return st.lists(one_of(kind), max_size=3)


def ear(side: str = "right", **parts: object) -> Ear:
    def full(node: object) -> object:
        if isinstance(node, dict):
            return {key: full(value) for key, value in node.items()}
        if isinstance(node, list):
            return [full(item) for item in node]
        return {"value": node, "origin": "entered"}

    return Ear.model_validate({"side": full(side), **{key: full(value) for key, value in parts.items()}})


def drawn(one: Ear, moment: str) -> ET.Element:
    return ET.fromstring(ear_picture(one, moment))  # type: ignore[arg-type]


def words(picture: ET.Element) -> str:
    return " ".join(e.text or "" for e in picture.iter("{http://www.w3.org/2000/svg}tspan"))


EARS = st.builds(
    lambda side, before, after: Ear.model_validate({"side": side, "before": before, "after": after}),
    one_of(Side),
    st.fixed_dictionaries(
        {},
        optional={
            "occlusion": one_of(Occlusion),
            "occlusion_percent": st.integers(0, 100).map(lambda n: {"value": n, "origin": "entered"}),
            "wax": st.lists(
                st.fixed_dictionaries({"where": one_of(Layer)}, optional={"colour": some(Colour)}), max_size=3
            ),
            "depth": some(Depth),
            "skin": some(Skin),
            "canal": some(Canal),
            "foreign_body": one_of(ForeignBody),
            "drum": some(Drum),
        },
    ),
    st.fixed_dictionaries(
        {},
        optional={
            "clearance": one_of(Clearance),
            "drum": some(Drum),
            "canal": some(Canal),
            "skin": some(Skin),
        },
    ),
)


@given(EARS, st.sampled_from(MOMENTS))
def test_any_ear_can_be_drawn_within_the_frame(one: Ear, moment: str) -> None:
    picture = drawn(one, moment)
    left, top, width, height = map(int, str(picture.get("viewBox")).split())
    assert (left, top, width) == (0, 0, WIDTH)
    assert height >= HEIGHT
    for line in picture.iter("{http://www.w3.org/2000/svg}tspan"):
        assert float(str(line.get("y"))) < height
    assert picture.get("aria-label") == describe(one, moment)  # type: ignore[arg-type]
    for path in picture.iter("{http://www.w3.org/2000/svg}path"):
        assert "nan" not in str(path.get("d"))


def test_what_was_not_said_is_called_so() -> None:
    assert describe(ear(), "before") == "Right ear, before. Wax: not said. Drum: not said."
    assert (
        describe(ear("unstated"), "after") == "Ear, side not said, after. Cleared: not said. Drum: not said."
    )


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_words_are_in_the_picture(side: str) -> None:
    one = ear(
        side,
        before={
            "occlusion": "complete",
            "wax": [{"where": "whole", "consistency": ["hard"], "colour": ["dark_brown"]}],
            "depth": ["deep"],
            "drum": ["not_seen"],
            "canal": ["narrow"],
        },
    )
    said = words(drawn(one, "before"))
    for part in ("Canal: narrow", "hard dark brown", "blocked", "deep", "Drum: not seen"):
        assert part in said


def test_doubt_is_written_beside_the_finding() -> None:
    doubtful = Ear.model_validate(
        {
            "side": {"value": "left", "origin": "entered"},
            "after": {"drum": [{"value": "perforated", "origin": "entered", "certainty": "possible"}]},
        }
    )
    assert "perforated (possible)" in describe(doubtful, "after")


def test_the_left_ear_mirrors_the_right() -> None:
    """As one faces the patient: the right ear's opening is on the left of the picture."""
    right, left = (
        words_at(drawn(ear(side, before={"canal": ["dry"]}), "before")) for side in ("right", "left")
    )
    assert right["Canal:"] < WIDTH / 2 < left["Canal:"]
    assert left["Drum:"] < WIDTH / 2 < right["Drum:"]


def words_at(picture: ET.Element) -> dict[str, float]:
    return {
        str(e.text).split()[0]: float(str(e.get("x")))
        for e in picture.iter("{http://www.w3.org/2000/svg}tspan")
    }


def test_more_wax_is_drawn_higher() -> None:
    assert height(ear(before={"occlusion_percent": 30})) < height(ear(before={"occlusion_percent": 80}))
    assert height(ear(before={"occlusion": "partial"})) < height(ear(before={"occlusion": "complete"}))


def height(one: Ear) -> float:
    """How high the filled wax reaches, in picture units: it is the one shape closed and coloured at 22 %."""
    for path in drawn(one, "before").iter("{http://www.w3.org/2000/svg}path"):
        if path.get("fill-opacity") == "0.22":
            ys = [float(p.split()[1]) for p in str(path.get("d")).strip("MZ").split("L")]
            return max(ys) - min(ys)
    raise AssertionError("no wax was drawn")


def test_a_perforated_drum_has_a_gap() -> None:
    strokes = [
        sum(p.get("stroke-width") == "4" for p in drawn(ear(after={"drum": [found]}), "after").iter())
        for found in ("intact", "perforated")
    ]
    assert strokes == [1, 2]
