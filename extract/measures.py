"""Measures in the row of words: lengths, percentages, instrument sizes, intervals, references.

Lengths come out as whole millimetres: 2 cm is 20, an inch is 25.4 (international yard and pound agreement of
1959, exact) and is rounded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from extract.numbers import Number, digits_at, number_at, numbers

MM_PER = {"mm": Fraction(1), "cm": Fraction(10), "inch": Fraction(254, 10)}

_LENGTH_UNITS = {
    **dict.fromkeys(
        ("mm", "mms", "mil", "mils", "mill", "mills", "millimetre", "millimetres", "milli"), "mm"
    ),
    **dict.fromkeys(("cm", "cms", "centimetre", "centimetres", "centi"), "cm"),
    **dict.fromkeys(("inch", "inches"), "inch"),
}
_SIZE_UNITS = {"gauge": "G", "g": "G", "french": "Fr", "fr": "Fr", "f": "Fr", "ga": "G"}
_PERIODS = {
    "day": ("days", 1),
    "days": ("days", 1),
    "night": ("days", 1),
    "nights": ("days", 1),
    "week": ("weeks", 1),
    "weeks": ("weeks", 1),
    "fortnight": ("weeks", 2),
    "fortnights": ("weeks", 2),
    "month": ("months", 1),
    "months": ("months", 1),
    "year": ("years", 1),
    "years": ("years", 1),
    "monthly": ("months", 1),
    "weekly": ("weeks", 1),
    "yearly": ("years", 1),
}
_WHOLE_WORDS = {"annual": (1, "years"), "annually": (1, "years"), "yearly": (1, "years")}
_FILLED = frozenset({"canal", "ear", "lumen", "eac", "meatus", "space", "width"})
_FILL_WORDS = frozenset(
    {"full", "blocked", "occluded", "filled", "obstructed", "impacted", "plugged", "packed"}
)

Kind = Literal["length", "percent", "size", "interval", "reference", "bare"]


@dataclass(slots=True)
class Measure:
    """One measure in the row, words [start, end).

    kind "length": value in millimetres (unrounded), unit as said. "percent": value 0-100. "size": text such
    as "18G". "interval": value and unit ("days"...). "reference": text. "bare": a number with no unit.
    """

    start: int
    end: int
    kind: Kind
    value: Fraction = Fraction(0)
    unit: str = ""
    text: str = ""

    @property
    def whole(self) -> int:
        """The value rounded half up to a whole number."""
        return int(self.value + Fraction(1, 2))


def measures(row: Sequence[str], references: Sequence[int]) -> list[Measure]:
    """Every measure in the row. references: places where a patient reference may begin."""
    taken: list[Measure] = []
    for place in references:
        text, end = digits_at(row, place)
        if len(text) > 1 and not (end < len(row) and _unit_follows(row, end)):
            taken.append(Measure(place, end, "reference", text=text))
    spans = [(m.start, m.end) for m in taken]
    out = list(taken)
    found = [n for n in numbers(row) if not any(s <= n.start < e for s, e in spans)]
    used = 0
    for number in found:
        if number.start < used:
            continue
        measure = _measure(row, number)
        used = measure.end
        out.append(measure)
    out += _without_number(row, {i for m in out if m.kind != "bare" for i in range(m.start, m.end)})
    if any(m.kind == "bare" for m in out):
        covered = {i for m in out if m.kind != "bare" for i in range(m.start, m.end)}
        out = [m for m in out if m.kind != "bare" or m.start not in covered]
    whole = [(m.start, m.end) for m in out]
    out = [m for m in out if not any(s < m.start and m.end <= e for s, e in whole)]
    return sorted(out, key=lambda m: m.start)


def _unit_follows(row: Sequence[str], i: int) -> bool:
    return (
        row[i] in _LENGTH_UNITS or row[i] in _SIZE_UNITS or row[i] in _PERIODS or row[i] in ("percent", "per")
    )


def _measure(row: Sequence[str], number: Number) -> Measure:
    at, end, value = number.start, number.end, number.value
    following = row[end] if end < len(row) else ""
    after = row[end + 1] if end + 1 < len(row) else ""
    skip = 0
    if following == "of" and after in ("a", "an", "the"):
        skip, following = 2, row[end + 2] if end + 2 < len(row) else ""
    elif following in ("a", "an", "the", "odd", "whole", "full", "good", "solid", "or"):
        skip, following = 1, after
    unit = _LENGTH_UNITS.get(following)
    plain = skip == 0 or value < 1 or row[end] in ("odd", "good", "whole", "full", "solid")
    if unit and plain:
        stop = end + skip + 1
        extra = _and_part(row, stop)
        if extra:
            value, stop = value + extra[0], extra[1]
        return Measure(at, stop, "length", value * MM_PER[unit], unit)
    if not skip:
        if following == "percent":
            return Measure(at, end + 1, "percent", value)
        if following == "per" and after in ("cent", "sent"):
            return Measure(at, end + 2, "percent", value)
        if following in _SIZE_UNITS and number.whole and (following not in ("g", "f") or number.whole < 40):
            return Measure(at, end + 1, "size", value, text=f"{number.whole}{_SIZE_UNITS[following]}")
        if following in _PERIODS and (number.whole or following in ("year", "years")):
            if after in ("old", "-old") or (after == "of" and row[end + 2 : end + 3] == ["age"]):
                return Measure(at, end + 2, "bare", value)
            unit, times = _PERIODS[following]
            return Measure(at, end + 1, "interval", value * times, unit)
    elif value < 1 and following in ("year",):
        return Measure(at, end + skip + 1, "interval", value * 12, "months")
    if value < 1:
        if end < len(row) and row[end] in _FILL_WORDS:
            return Measure(at, end + 1, "percent", value * 100)
        if following in _FILLED or following in _FILL_WORDS:
            return Measure(at, end + skip + 1, "percent", value * 100)
        if value.denominator in (8, 16, 32):
            return Measure(at, end, "length", value * MM_PER["inch"], "inch")
    return Measure(at, end, "bare", value)


def _and_part(row: Sequence[str], i: int) -> tuple[Fraction, int] | None:
    """The "and a half" after a unit: "an inch and a half", "two centimetres and a quarter"."""
    if i + 2 < len(row) and row[i] == "and" and row[i + 1] in ("a", "three", "one"):
        part = number_at(row, i + 1)
        if (
            part is not None
            and part.value < 1
            and not (part.end < len(row) and row[part.end] in _LENGTH_UNITS)
        ):
            return part.value, part.end
    return None


def _without_number(row: Sequence[str], covered: set[int]) -> list[Measure]:
    """Measures said with "a" or "couple": "an inch", "a fortnight", "a couple of weeks", "annual"."""
    out = []
    for i, word in enumerate(row):
        if i in covered:
            continue
        before = row[i - 1] if i else ""
        article = before in ("a", "an", "another", "one", "every", "each", "per")
        if word in _LENGTH_UNITS and before in ("a", "an", "full", "whole", "good"):
            unit = _LENGTH_UNITS[word]
            extra = _and_part(row, i + 1)
            value, end = (1 + extra[0], extra[1]) if extra else (Fraction(1), i + 1)
            out.append(Measure(i - 1, end, "length", value * MM_PER[unit], unit))
        elif word in _PERIODS and before in ("a", "one") and word[-2:] != "ly":
            unit, times = _PERIODS[word]
            out.append(Measure(i - 1, i + 1, "interval", Fraction(times), unit))
        elif word in _PERIODS and before == "of" and i > 1 and row[i - 2] in ("couple", "coupla"):
            unit, times = _PERIODS[word]
            out.append(Measure(i - 2, i + 1, "interval", Fraction(2 * times), unit))
        elif word in _WHOLE_WORDS and not article:
            count, unit = _WHOLE_WORDS[word]
            out.append(Measure(i, i + 1, "interval", Fraction(count), unit))
    return out
