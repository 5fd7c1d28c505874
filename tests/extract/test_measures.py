"""Measures: lengths in millimetres, percentages, instrument sizes, intervals, references.

Outside checks: the inch is 25.4 mm exactly (international yard and pound agreement, 1959); inches,
centimetres and millimetres are converted as pint's unit registry converts them.
"""

from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pint
import pytest

from extract.measures import MM_PER, Measure, measures


def found(said: str) -> list[Measure]:
    return [m for m in measures(said.split(), ()) if m.kind != "bare"]


def test_the_inch_is_that_of_the_international_agreement() -> None:
    assert MM_PER["inch"] == Fraction(254, 10)


@pytest.mark.parametrize("unit", ["mm", "cm", "inch"])
def test_lengths_agree_with_pint(unit: str) -> None:
    units: Any = pint.UnitRegistry(non_int_type=Fraction)
    for sixteenths in range(1, 64):
        value = Fraction(sixteenths, 16)
        (length,) = found(f"{float(value)} {unit}")
        assert length.value == units.Quantity(value, unit).to("mm").magnitude


@pytest.mark.parametrize(
    ("said", "mm"),
    [
        ("eighteen millimetres", 18),
        ("eighteen mil", 18),
        ("18 mm", 18),
        ("two centimetres", 20),
        ("one point four centimetres", 14),
        ("point eight of a centimetre", 8),
        ("half a centimetre", 5),
        ("a centimetre and a half", 15),
        ("two and a half centimetres", 25),
        ("an inch", 25),
        ("one inch", 25),
        ("half an inch", 13),
        ("three quarters of an inch", 19),
        ("three-quarter inch".replace("-", " "), 19),
        ("an inch and a half", 38),
        ("an inch and a quarter", 32),
        ("seven eighths of an inch", 22),
        ("5/8 inch", 16),
        ("twenty odd mil", 20),
        ("1.8 cm", 18),
        ("two cm", 20),
    ],
)
def test_lengths_in_whole_millimetres(said: str, mm: int) -> None:
    (length,) = found(said)
    assert (length.kind, length.whole) == ("length", mm)


@pytest.mark.parametrize(
    ("said", "kind", "value"),
    [
        ("eighty percent", "percent", 80),
        ("eighty per cent", "percent", 80),
        ("half the canal", "percent", 50),
        ("three quarters full", "percent", 75),
        ("a quarter of the way full", "percent", 25),
        ("a third of the canal", "percent", Fraction(100, 3)),
        ("eighteen gauge", "size", "18G"),
        ("six french", "size", "6Fr"),
        ("20 g", "size", "20G"),
        ("six months", "interval", (6, "months")),
        ("6/12", "interval", (6, "months")),
        ("3/52 please", "interval", (3, "weeks")),
        ("a fortnight", "interval", (2, "weeks")),
        ("two fortnights", "interval", (4, "weeks")),
        ("a couple of weeks", "interval", (2, "weeks")),
        ("a year", "interval", (1, "years")),
        ("half a year", "interval", (6, "months")),
        ("ten days", "interval", (10, "days")),
        ("five nights", "interval", (5, "days")),
        ("annually", "interval", (1, "years")),
        ("six years old", "", None),
        ("eighteen people", "", None),
        ("half past three", "", None),
        ("a good one", "", None),
        ("the mil", "", None),
    ],
)
def test_other_measures(said: str, kind: str, value: Any) -> None:
    one = found(said)
    if not kind:
        assert one == []
        return
    (measure,) = one
    assert measure.kind == kind
    assert value in (measure.value, measure.text, (measure.value, measure.unit))


BEFORE = "Left ear. Hard wax, Zoellner sucker. "


@pytest.mark.parametrize(
    ("said", "part", "value"),
    [
        ("Canal eighty percent full.", ("before", "occlusion_percent"), 80),
        ("About half the canal is filled with wax.", ("before", "occlusion_percent"), 50),
        ("Out comes one piece, eighteen mil.", ("removed_mm",), [18]),
        ("Out comes one piece, just over two centimetres.", ("removed_mm",), [20]),
        ("One piece out, nearly three quarters of an inch.", ("removed_mm",), [19]),
        ("One piece out, an inch long.", ("removed_mm",), [25]),
        ("The piece that came out is one and a half centimetres.", ("removed_mm",), [15]),
        ("It sits eight mil from the drum.", ("removed_mm",), None),
        ("The canal is seven mil wide.", ("removed_mm",), None),
        ("She is eighty years old.", ("before", "occlusion_percent"), None),
    ],
)
def test_measures_in_the_record(
    sides: Callable[[str], dict[str, Any]], said: str, part: tuple[str, ...], value: Any
) -> None:
    ear: Any = sides(BEFORE + said)["left"]
    for key in part:
        ear = ear.get(key, {}) if key != part[-1] else ear.get(key)
    assert ear == value
