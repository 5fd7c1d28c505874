"""Measures in the row of words: lengths, percentages, instrument sizes, intervals, references.

Lengths come out as whole millimetres: 2 cm is 20, an inch is 25.4 (international yard and pound agreement of
1959, exact) and is rounded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from extract.numbers import UNITS, Number, number_at, numbers
from extract.spelled import digits_at
from shared.vocabulary import word_set

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
    **dict.fromkeys(("wk", "wks"), ("weeks", 1)),
    **dict.fromkeys(("mo", "mos", "mth", "mths"), ("months", 1)),
    **dict.fromkeys(("yr", "yrs"), ("years", 1)),
}
_SHORTHAND = {"12": "months", "52": "weeks", "7": "days"}
"""Clinicians write 6/12 for six months, 3/52 for three weeks, 5/7 for five days (common practice, no source)."""
_WHOLE_WORDS = {
    **dict.fromkeys(("annual", "annually", "yearly"), (1, "years")),
    **dict.fromkeys(("biannual", "biannually"), (6, "months")),
    "quarterly": (3, "months"),
}
_TIMES = {"twice": 2, "thrice": 3}
_FILLED = frozenset({"canal", "ear", "lumen", "eac", "meatus", "space", "width"})
FILL_WORDS = frozenset(
    {"full", "blocked", "occluded", "filled", "obstructed", "impacted", "plugged", "packed"}
)

NEXT = "next"
"""Before a period: the coming one, not how long something lasts."""

Kind = Literal["length", "percent", "size", "interval", "reference", "bare"]


@dataclass(slots=True)
class Measure:
    """One measure in the row, words [start, end).

    kind "length": value in millimetres (unrounded), unit as said. "percent": value 0-100. "size": text such
    as "18G". "interval": value and unit ("days"...). "reference": text. "bare": a number with no unit.
    other: the first of two numbers said for one length ("ten or twelve mil"), in millimetres; the later of two
    said for one interval ("three to four months").
    """

    start: int
    end: int
    kind: Kind
    value: Fraction = Fraction(0)
    unit: str = ""
    text: str = ""
    other: Fraction | None = None

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
    return _sharing_a_unit(row, sorted(out, key=lambda m: m.start))


def _sharing_a_unit(row: Sequence[str], found: list[Measure]) -> list[Measure]:
    """Numbers whose unit is said once, after the last: pieces ("twelve and eight mil"), the sides of one piece
    ("ten by four mil": its length is the longer) and a length or an interval left open ("ten or twelve
    mil": the last; "three to four months": the sooner)."""
    out: list[Measure] = []
    for m in found:
        if m.kind == "bare" and out and _spelled(row, out[-1], m):
            out[-1].value, out[-1].end = 10 * out[-1].value + m.value, m.end
            continue
        if (
            m.kind == "interval"
            and out
            and out[-1].kind == "bare"
            and tuple(row[out[-1].end : m.start]) in _OPEN
        ):
            first = out.pop()
            m.start, m.value, m.other = first.start, min(first.value, m.value), max(first.value, m.value)
        elif m.kind == "length" and row[m.start] not in ("a", "an"):
            _join(row, out, m)
        elif m.kind == "bare" and out and out[-1].kind == "length" and row[out[-1].end : m.start] == ["by"]:
            continue  # "ten mil by four"
        out.append(m)
    return out


def _join(row: Sequence[str], before: list[Measure], m: Measure) -> None:
    """Let the numbers just before length `m` have its unit; two that make one length go into it."""
    scale = MM_PER[m.unit]
    at, chain, counted_off = m.start, list[Measure](), list[Measure]()
    for c in reversed(before):
        joint = tuple(w for w in row[c.end : at] if w not in _THOUGHTS)
        if len(joint) < at - c.end:  # "twelve and, let me see, nine mil"
            joint = tuple(w for w in joint if w != ",") or (",",)
        if c.kind == "bare" and joint[-1:] and joint[-1] in _COUNTING and row[c.start - 1] in _COUNTING:
            counted_off.append(c)  # "first eight, second six, third four millimetres"
            at = c.start
            continue
        measured = c.kind == "bare" or (c.kind == "length" and joint in _SIDES)
        if joint not in _JOINTS or not measured or c.value <= 0:
            break
        if joint not in _SIDES and row[c.start - 1 : c.start] in _NOT_LENGTHS:
            break
        if not joint:
            _join_digits(row, before, c, m)
            break
        if joint in _SIDES or joint in _OPEN or (joint == ("and",) and row[c.start - 1] == "between"):
            first = c.value * (scale if c.kind == "bare" else 1)
            m.start = c.start
            if joint in _SIDES:
                m.value = max(first, m.value)
            else:
                m.other = first
            before.remove(c)
            break
        chain.append(c)
        at = c.start
    counted = number_of_pieces(row, at)
    commas = any(row[c.end] == "," and row[c.end + 1] != "and" for c in chain)
    if commas and counted != len(chain) + 1 and counted != SEVERAL:
        chain = [c for c in chain[:1] if row[c.end] == "and"]
    for c in [*chain, *counted_off]:
        if c.value * scale <= _LONGEST_PIECE and (row[c.start] != "one" or counted):
            c.kind, c.unit, c.value = "length", m.unit, c.value * scale


def _join_digits(row: Sequence[str], before: list[Measure], c: Measure, m: Measure) -> None:
    """Two numbers with nothing between: "one six millimetres" (16, if it is not one piece of six), "12 14 mm"."""
    scale = MM_PER[m.unit]
    if row[m.end : m.end + 1] and (row[m.end] in PIECES or row[m.end] == "piece"):
        return
    if row[c.start] == "one" and number_of_pieces(row, c.start):
        return
    spelled = row[c.start] in UNITS and UNITS.get(row[m.start], 10) < 10 and row[m.start + 1] in _LENGTH_UNITS
    if spelled and (c.value == m.value / scale or c.value > 9 or row[c.start - 1] in ORDINALS):
        return  # "four four millimetres", "the next one nine millimetres"
    figures = row[c.start][0].isdigit() and row[m.start][0].isdigit() and c.value * scale < _LONGEST_PIECE
    if not spelled and not figures:
        return
    before.remove(c)
    m.start = c.start
    if not spelled:
        m.other = c.value * scale
        return
    whole = 10 * c.value * scale + m.value
    said_before = bool(before) and before[-1].kind == "bare" and before[-1].value * scale == whole
    m.value, m.other = whole, None if said_before else m.value


def _spelled(row: Sequence[str], a: Measure, b: Measure) -> bool:
    """Whether two bare numbers are the digits of one ("one eight" after "eighteen")."""
    digits = a.kind == "bare" and a.end == b.start and 0 < a.value < 10 and b.value < 10
    return digits and row[a.start] in UNITS and row[b.start] in UNITS


_JOINTS = {
    (),
    (",",),
    ("and",),
    (",", "and"),
    ("and", "then"),
    (",", "then"),
    ("or",),
    ("to",),
    ("by",),
    ("x",),
    (",", "or"),
    (",", "maybe"),
}
_THOUGHTS = word_set("measures", "thoughts")
_CLOSED = {(), (".",), (",",), ("long",)}
_SIDES = {("by",), ("x",)}
_OPEN = {("or",), ("to",), (",", "or"), (",", "maybe")}
_NOT_LENGTHS = [[w] for w in ("size", "gauge", "number", "reference", "past", "at", "age", "aged")]
_LONGEST_PIECE = 60
SEVERAL = -1
"""Pieces whose number was not said ("pieces of ten and four mil")."""


def number_of_pieces(row: Sequence[str], at: int) -> int:
    """How many pieces were announced just before word `at`: "three bits: ", "two pieces of wax out,"; 0 if none."""
    for i in range(at - 1, max(at - 7, -1), -1):
        if row[i] in PIECES:
            number = next((n for j in (i - 1, i - 2) if j >= 0 and (n := number_at(row, j))), None)
            count = number.whole if number is not None and number.end <= i else None
            pair = bool({"both", "couple", "pair"} & set(row[max(i - 3, 0) : i]))
            return count or (2 if pair else SEVERAL)
    return 0


_COUNTING = frozenset({"first", "second", "third", "fourth", "fifth"})
PIECES = word_set("measures", "pieces")
ORDINALS = word_set("measures", "ordinals")


def _unit_follows(row: Sequence[str], i: int) -> bool:
    return (
        row[i] in _LENGTH_UNITS or row[i] in _SIZE_UNITS or row[i] in _PERIODS or row[i] in ("percent", "per")
    )


def _measure(row: Sequence[str], number: Number) -> Measure:
    at, end, value = number.start, number.end, number.value
    following = row[end] if end < len(row) else ""
    after = row[end + 1] if end + 1 < len(row) else ""
    skip = 0
    part, _, whole = row[at].partition("/")
    if whole in _SHORTHAND and end == at + 1 and following not in ("of", *_LENGTH_UNITS):
        return Measure(at, end, "interval", Fraction(int(part)), _SHORTHAND[whole])
    if following == "of" and after in ("a", "an", "the"):
        skip, following = 2, row[end + 2] if end + 2 < len(row) else ""
    elif following in ("a", "an", "the", "odd", "whole", "full", "good", "solid", "or"):
        skip, following = 1, after
    unit = _LENGTH_UNITS.get(following)
    plain = skip == 0 or value < 1 or row[end] in ("odd", "good", "whole", "full", "solid")
    if unit and plain:
        stop = end + skip + 1
        extra = _and_part(row, stop) or (_tenths(row, stop) if unit == "cm" and number.whole else None)
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
        if end < len(row) and row[end] in FILL_WORDS:
            return Measure(at, end + 1, "percent", value * 100)
        if following in _FILLED or following in FILL_WORDS:
            return Measure(at, end + skip + 1, "percent", value * 100)
        if following == "way" and row[end + skip + 1 : end + skip + 2] in (["full"], ["across"], ["blocked"]):
            return Measure(at, end + skip + 2, "percent", value * 100)
        if value.denominator in (8, 16, 32):
            return Measure(at, end, "length", value * MM_PER["inch"], "inch")
    return Measure(at, end, "bare", value)


def _and_part(row: Sequence[str], i: int) -> tuple[Fraction, int] | None:
    """The fraction after a unit: "an inch and a half", "an inch and five eighths"."""
    if i + 2 < len(row) and row[i] == "and":
        part = number_at(row, i + 1)
        if (
            part is not None
            and part.value < 1
            and not _LENGTH_UNITS.keys() & {*row[part.end : part.end + 1], *_of_a(row, part.end)}
        ):
            return part.value, part.end
    return None


def _of_a(row: Sequence[str], i: int) -> list[str]:
    """The unit after "of a" or "of an" at word i: "three eighths of an inch" is a length of its own."""
    return list(row[i + 2 : i + 3]) if list(row[i : i + 2]) in (["of", "a"], ["of", "an"]) else []


def _tenths(row: Sequence[str], i: int) -> tuple[Fraction, int] | None:
    """The "eight" of "one centimetre eight", where nothing but the end of the words or "long" follows."""
    if i < len(row) and 0 < UNITS.get(row[i], 0) < 10 and tuple(row[i + 1 : i + 2]) in _CLOSED:
        return Fraction(UNITS[row[i]], 10), i + 1
    return None


def _times_a_year(row: Sequence[str], i: int) -> tuple[int, int] | None:
    """Where "twice a year", "two times a year" or "twice yearly" ending at word i begins, and how many times it is."""
    if row[i] == "year" and row[i - 1 : i] and row[i - 1] in ("a", "per", "each", "every"):
        at = i - 2
    elif row[i] in ("yearly", "annually"):
        at = i - 1
    else:
        return None
    if at >= 0 and row[at] in _TIMES:
        return at, _TIMES[row[at]]
    number = number_at(row, at - 1) if at >= 1 and row[at] == "times" else None
    return (at - 1, number.whole) if number is not None and number.whole in (2, 3, 4, 6) else None


def _without_number(row: Sequence[str], covered: set[int]) -> list[Measure]:
    """Measures said with "a" or "couple": "an inch", "a fortnight", "a couple of weeks", "annual"."""
    out = []
    for i, word in enumerate(row):
        if i in covered:
            continue
        before = row[i - 1] if i else ""
        article = before in ("a", "an", "another", "one", "every", "each", "per")
        if word in _LENGTH_UNITS:
            unit = _LENGTH_UNITS[word]
            extra = _and_part(row, i + 1)
            led = before in ("a", "an", "full", "whole", "good")
            if led or extra:
                value, end = (1 + extra[0], extra[1]) if extra else (Fraction(1), i + 1)
                out.append(Measure(i - led, end, "length", value * MM_PER[unit], unit))
        elif (often := _times_a_year(row, i)) is not None:
            out.append(Measure(often[0], i + 1, "interval", Fraction(12, often[1]), "months"))
        elif word == "yearly" and before == "half":
            out.append(Measure(i - 1, i + 1, "interval", Fraction(6), "months"))
        elif word in ("year", "years") and (part := _and_part(row, i + 1)):
            out.append(Measure(i - article, part[1], "interval", 12 * (1 + part[0]), "months"))
        elif word in _PERIODS and before in ("a", "one", NEXT) and word[-2:] != "ly":
            unit, times = _PERIODS[word]
            out.append(Measure(i - 1, i + 1, "interval", Fraction(times), unit))
        elif word == "week" and before in ("day", "today") and row[i - 2 : i - 1] != ["a"]:
            out.append(Measure(i - 1, i + 1, "interval", Fraction(1), "weeks"))  # "this day week"
        elif word in _PERIODS and before == "of" and i > 1 and row[i - 2] in ("couple", "coupla"):
            unit, times = _PERIODS[word]
            out.append(Measure(i - 2, i + 1, "interval", Fraction(2 * times), unit))
        elif word in _WHOLE_WORDS and not article:
            count, unit = _WHOLE_WORDS[word]
            out.append(Measure(i, i + 1, "interval", Fraction(count), unit))
    return out
