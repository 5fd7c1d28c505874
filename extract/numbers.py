"""Numbers as people say them: whole, decimal, fractions.

"twenty-two" 22, "one point four" 1.4, "seven eighths" 0.875, "two and a half" 2.5. Read from a row of words;
every number keeps its place.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

_DECIMAL_COMMA = re.compile(r"[0-9]{1,4},[0-9]{1,2}")
"""As much of Europe writes it; three digits after the comma are thousands."""
UNITS = {
    "zero": 0,
    "nought": 0,
    "one": 1,
    "two": 2,
    "three": 3,
    "four": 4,
    "five": 5,
    "six": 6,
    "seven": 7,
    "eight": 8,
    "nine": 9,
    "ten": 10,
    "eleven": 11,
    "twelve": 12,
    "thirteen": 13,
    "fourteen": 14,
    "fifteen": 15,
    "sixteen": 16,
    "seventeen": 17,
    "eighteen": 18,
    "nineteen": 19,
}
TENS = {
    "twenty": 20,
    "thirty": 30,
    "forty": 40,
    "fourty": 40,
    "fifty": 50,
    "sixty": 60,
    "seventy": 70,
    "eighty": 80,
    "ninety": 90,
}
_PARTS = {
    "half": 2,
    "halves": 2,
    "third": 3,
    "quarter": 4,
    "fourth": 4,
    "fifth": 5,
    "sixth": 6,
    "eighth": 8,
    "tenth": 10,
    "twelfth": 12,
    "sixteenth": 16,
    "thirty-second": 32,
}
_PARTS.update({"3rd": 3, "4th": 4, "5th": 5, "6th": 6, "8th": 8, "10th": 10, "16th": 16, "32nd": 32})
_PARTS.update({f"{word}s": n for word, n in list(_PARTS.items()) if word != "halves"})
_SYMBOLS = {
    "½": Fraction(1, 2),
    "¼": Fraction(1, 4),
    "¾": Fraction(3, 4),
    "⅛": Fraction(1, 8),
    "⅜": Fraction(3, 8),
    "⅝": Fraction(5, 8),
    "⅞": Fraction(7, 8),
    "⅓": Fraction(1, 3),
    "⅔": Fraction(2, 3),
}
DIGITS = {**{w: str(n) for w, n in UNITS.items() if n < 10}, "oh": "0", "o": "0"}
"""Words for one digit."""

STARTERS = (
    frozenset(UNITS)
    | frozenset(TENS)
    | frozenset(_PARTS)
    | frozenset(_SYMBOLS)
    | {"a", "an", "point", "hundred"}
)
"""Words a number can begin with (besides figures)."""


@dataclass(slots=True, frozen=True)
class Number:
    """A number in the row: words [start, end), its value, and its digits if it was said digit by digit."""

    start: int
    end: int
    value: Fraction
    digits: str = ""

    @property
    def whole(self) -> int | None:
        """The value if it is a whole number."""
        return int(self.value) if self.value.denominator == 1 else None


def figure(word: str) -> Fraction | None:
    """The number a word in figures stands for: "18", "1,200", "1.5", "3/4"; None if it is none."""
    if not word or not word[0].isdigit():
        return None
    if _DECIMAL_COMMA.fullmatch(word):
        return Fraction(word.replace(",", "."))
    cleaned = word.replace(",", "")
    if cleaned[-1] in _SYMBOLS and cleaned[:-1].isascii() and cleaned[:-1].isdigit() and len(cleaned) < 5:
        return int(cleaned[:-1]) + _SYMBOLS[cleaned[-1]]
    if cleaned.isascii() and cleaned.isdigit() and len(cleaned) < 12:
        return Fraction(int(cleaned))
    if (
        cleaned.count(".") == 1
        and all(p.isascii() and p.isdigit() for p in cleaned.split("."))
        and len(cleaned) < 12
    ):
        return Fraction(cleaned)
    if (
        cleaned.count("/") == 1
        and all(p.isascii() and p.isdigit() for p in cleaned.split("/"))
        and len(cleaned) < 9
    ):
        top, bottom = (int(p) for p in cleaned.split("/"))
        return Fraction(top, bottom) if bottom else None
    return None


def small_number(row: Sequence[str], i: int) -> tuple[int, int] | None:
    """A whole number under a thousand said in words: (end, value)."""
    word = row[i]
    if word in TENS:
        value, end = TENS[word], i + 1
        if end < len(row) and 0 < UNITS.get(row[end], 0) < 10:
            value, end = value + UNITS[row[end]], end + 1
        return end, value
    if word in UNITS:
        value, end = UNITS[word], i + 1
    elif word in ("a", "hundred"):
        value, end = 1, i + 1 if word == "a" else i
        if end >= len(row) or row[end] != "hundred":
            return None
    else:
        return None
    if end < len(row) and row[end] == "hundred" and 0 < value < 10:
        value, end = value * 100, end + 1
        after = end + 1 if end < len(row) and row[end] == "and" else end
        rest = small_number(row, after) if after < len(row) and row[after] not in ("a", "hundred") else None
        if rest is not None and rest[1] < 100:
            end, value = rest[0], value + rest[1]
    return end, value


def _fraction(row: Sequence[str], i: int) -> tuple[int, Fraction] | None:
    """A fraction said in words: "a half", "three quarters", "half (a)", "seven sixteenths"."""
    word = row[i]
    if word in _SYMBOLS:
        return i + 1, _SYMBOLS[word]
    if word in ("half", "quarter"):
        return i + 1, Fraction(1, _PARTS[word])
    if i + 1 < len(row):
        part = _PARTS.get(row[i + 1])
        if part and word in ("a", "an", "one"):
            return i + 2, Fraction(1, part)
        count = UNITS.get(word) or (
            int(word) if word.isascii() and word.isdigit() and len(word) < 3 else None
        )
        if (
            part
            and count
            and (row[i + 1].endswith("s") or word != "one")
            and row[i + 1] not in ("second", "half")
        ):
            return i + 2, Fraction(count, part)
    return None


def number_at(row: Sequence[str], i: int) -> Number | None:
    """The longest number beginning at word i, or None."""
    word = row[i]
    written = figure(word)
    if written is None and word not in STARTERS:
        return None
    portion = _fraction(row, i)
    if portion is not None:
        return Number(i, portion[0], portion[1])
    if word == "point":
        decimals, end = _decimals(row, i + 1)
        return Number(i, end, Fraction(f"0.{decimals}")) if decimals else None
    if written is not None:
        value, end = written, i + 1
    else:
        small = small_number(row, i)
        if small is None:
            return None
        end, value = small[0], Fraction(small[1])
    if value.denominator == 1 and end + 1 < len(row) and row[end] in ("point", "comma"):
        decimals, after = _decimals(row, end + 1)
        if decimals:
            return Number(i, after, Fraction(f"{int(value)}.{decimals}"))
    if end < len(row) and row[end] in _SYMBOLS:
        return Number(i, end + 1, value + _SYMBOLS[row[end]])
    if end < len(row) and (extra := figure(row[end])) is not None and "/" in row[end]:
        return Number(i, end + 1, value + extra)
    if end + 1 < len(row) and row[end] == "and":
        rest = _fraction(row, end + 1)
        if rest is not None and rest[1] < 1:
            return Number(i, rest[0], value + rest[1])
    return Number(i, end, value)


def _decimals(row: Sequence[str], i: int) -> tuple[str, int]:
    digits = ""
    while i < len(row) and len(digits) < 4:
        if row[i] in DIGITS:
            digits += DIGITS[row[i]]
        elif row[i].isascii() and row[i].isdigit():
            digits += row[i]
        else:
            break
        i += 1
    return digits, i


def numbers(row: Sequence[str]) -> list[Number]:
    """Every number in the row, left to right."""
    found = []
    i = 0
    while i < len(row):
        number = number_at(row, i)
        if number is not None and (row[i] not in ("half", "quarter") or number.end <= len(row)):
            found.append(number)
            i = number.end
        else:
            i += 1
    return found
