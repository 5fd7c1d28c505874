"""Numbers as they are said.

Outside check: text2num (MIT), an independent reader of English number words, on whole numbers 0-999 and on
decimals. It knows no fractions and no "point eight" without a nought, so those are checked by table only.
"""

from fractions import Fraction

import pytest
from text_to_num import alpha2digit  # type: ignore[import-untyped]

from extract.numbers import number_at, numbers
from extract.spelled import digits_at

ONES = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen",
    "nineteen",
]  # fmt: skip
TENS = [
    "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety",
]  # fmt: skip


def spoken(n: int, joint: str) -> str:
    """0-999 in words; joint: "and" in British usage, "" in American."""
    if n < 20:
        return ONES[n]
    if n < 100:
        return f"{TENS[n // 10 - 2]} {ONES[n % 10] if n % 10 else ''}".strip()
    rest = f" {joint} {spoken(n % 100, joint)}" if n % 100 else ""
    return " ".join(f"{ONES[n // 100]} hundred{rest}".split())


@pytest.mark.parametrize("joint", ["and", ""])
def test_whole_numbers_agree_with_text2num(joint: str) -> None:
    said = [spoken(n, joint) for n in range(1000)]
    theirs = [int(alpha2digit(words, "en", 0)) for words in said]
    ours = [number_at(words.split(), 0) for words in said]
    assert theirs == list(range(1000))
    assert [found and found.value for found in ours] == theirs
    assert [found and found.end for found in ours] == [len(words.split()) for words in said]


def test_decimals_agree_with_text2num() -> None:
    heads = ["nought", *ONES, "twenty three", "forty"]
    said = [f"{head} point {tail}" for head in heads for tail in [*ONES[1:10], "two five", "seven five"]]
    theirs = [Fraction(alpha2digit(words, "en", 0)) for words in said]
    ours = [number_at(words.split(), 0) for words in said]
    assert len(said) > 200
    assert [found and found.value for found in ours] == theirs


def test_numbers_in_running_words_agree_with_text2num() -> None:
    """Both find the same numbers in the same order where they stand among other words."""
    said = [
        f"the piece was {spoken(n, 'and')} and then {spoken((n * 7) % 100, 'and')} more"
        for n in range(20, 1000, 13)
    ]
    theirs = [[Fraction(w) for w in alpha2digit(words, "en", 0).split() if w.isdigit()] for words in said]
    assert [[found.value for found in numbers(words.split())] for words in said] == theirs


@pytest.mark.parametrize(
    ("said", "value", "length"),
    [
        ("a half", "1/2", 2),
        ("half", "1/2", 1),
        ("a quarter", "1/4", 2),
        ("three quarters", "3/4", 2),
        ("two thirds", "2/3", 2),
        ("seven eighths", "7/8", 2),
        ("three sixteenths", "3/16", 2),
        ("two and a half", "5/2", 4),
        ("one and three quarters", "7/4", 4),
        ("one and three quarter", "7/4", 4),
        ("eighteen and a half", "37/2", 4),
        ("point eight", "4/5", 2),
        ("oh point five", None, 0),
        ("three point oh four", "76/25", 4),
        ("one point five", "3/2", 3),
        ("1.5", "3/2", 1),
        ("18", "18", 1),
        ("3/4", "3/4", 1),
        ("2 1/2", "5/2", 2),
        ("½", "1/2", 1),
        ("2 ½", "5/2", 2),
        ("1,200", "1200", 1),
        ("a hundred", "100", 2),
        ("a hundred and ten", "110", 4),
        ("seventy two and three", "72", 2),
        ("twelve ten", "12", 1),
        ("a hook", None, 0),
        ("and", None, 0),
        ("hundred percent", "100", 1),
        ("point taken", None, 0),
        ("1/0", None, 0),
        ("²", None, 0),
    ],
)
def test_a_number_and_where_it_ends(said: str, value: str | None, length: int) -> None:
    found = number_at(said.split(), 0)
    assert (found and (found.value, found.end)) == ((Fraction(value), length) if value else None)


@pytest.mark.parametrize(
    ("said", "reference", "length"),
    [
        ("four one seven", "417", 3),
        ("four four two nine .", "4429", 4),
        ("a three oh seven", "A307", 4),
        ("b twelve", "B12", 2),
        ("bravo one two", "B12", 3),
        ("kilo tango four oh one", "KT401", 5),
        ("treble one five", "1115", 3),
        ("m as in mother , four two", "M42", 7),
        ("d for delta , sixty one", "D61", 6),
        ("six one stroke b", "61B", 4),
        ("k-401", "K401", 1),
        ("two thousand and six", "2006", 4),
        ("oh four two", "042", 3),
        # near misses: a name, an article, an age
        ("oscar , two pieces", "", 0),
        ("charlie two", "", 0),
        ("a lady", "", 0),
        ("i had two", "", 0),
        ("twenty two oh five", "2205", 4),
        ("double seven one", "771", 3),
        ("triple four", "444", 2),
        ("417 right ear", "417", 1),
        ("kx4 left", "KX4", 1),
        ("seven forty", "740", 2),
        ("six , oh eight", "608", 4),
        ("right ear", "", 0),
        ("oh dear", "", 0),
        ("x y z", "", 0),
    ],
)
def test_a_reference_digit_by_digit(said: str, reference: str, length: int) -> None:
    assert digits_at(said.split(), 0) == (reference, length)
