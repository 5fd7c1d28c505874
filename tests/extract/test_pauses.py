"""Pauses put into talk that comes without punctuation: where they go, and where none may go."""

from itertools import pairwise

import pytest

from extract.pauses import BARE
from extract.reader import Reader
from extract.words import MARKS

LED = (
    "so this is the left ear and it is packed with hard brown wax i cannot see the drum yet i am using the hook and "
    "it comes away nicely "
)
"""Enough words without a mark to count as unpunctuated."""


def row(reader: Reader, said: str) -> str:
    return " ".join(reader.annotate(said)._.words.text)


def test_the_lead_is_long_enough() -> None:
    assert len(LED.split()) > BARE


@pytest.mark.parametrize(
    ("said", "cut"),
    [
        ("all gone now the drum is intact and healthy no bleeding no pain", "healthy . no bleeding"),
        ("the canal is red and the drum is dull see her in six months", "dull . see her"),
        ("all clear right ear now soft yellow wax", ". right ear"),
        ("all clear now the drum is retracted i think no pain after it", "retracted , i think . no pain"),
        ("all clean not a speck left drum dull", "left . drum"),
    ],
)
def test_pauses_stand_where_something_new_begins(reader: Reader, said: str, cut: str) -> None:
    assert cut in row(reader, LED + said)


@pytest.mark.parametrize(
    ("said", "whole"),
    [
        ("one piece one and a half centimetres long", "one and a half centimetres"),
        ("one piece two point one centimetres long", "two point one centimetres"),
        ("it's an inch and a quarter all told", "an inch and a quarter"),
        ("the hard bit is grey and soft behind it", "hard bit"),
        ("the wax is yellow well no orange", "yellow well no orange"),
        ("wax fills eighty percent right fifteen percent left", "percent right"),
        ("the drum is not red", "is not red"),
        ("the piece is ten millimetres past the bend", "millimetres past"),
        ("the left ear first then the other one", "left ear first"),
        ("so that makes thirty millimetres all told from the two", "millimetres all told"),
        ("he went deaf all of a sudden on Monday", "deaf all of a sudden"),
    ],
)
def test_nothing_is_torn_apart(reader: Reader, said: str, whole: str) -> None:
    assert whole in row(reader, LED + said)


@pytest.mark.parametrize(
    ("said", "parted"),
    [
        (
            "right ear wax the drum was dull in the left ear no wax was seen",
            "dull . in the left ear , no wax",
        ),
        (
            "right ear wax the drum is red on the left there is a bit of wax",
            "red . on the left , there is a bit",
        ),
        (
            "right ear wax hook out in the left ear forty percent of it is full",
            "out . in the left ear , forty percent",
        ),
        ("he is happy to go on in each ear the wax is soft and brown", "go on . in each ear , the wax"),
    ],
)
def test_the_ear_turned_to_opens_a_sentence(reader: Reader, said: str, parted: str) -> None:
    assert parted in row(reader, LED + said)


@pytest.mark.parametrize(
    "said",
    [
        "left ear wax hook clear a spot of blood in the left ear the drum is intact",
        "right ear wax hook clear and some itching in the left ear no pain there",
        "right ear wax hook clear he hears in the left ear the radio next door",
    ],
)
def test_the_ear_in_hand_or_a_complaint_closes_one(reader: Reader, said: str) -> None:
    assert ". in the left ear" not in row(reader, LED + said)


@pytest.mark.parametrize(
    "said",
    [
        "Left ear, hard wax. " * 8,
        "the drum is intact no bleeding",
        "Left ear. " + "hard wax " * 13 + ". Right ear clear.",
    ],
)
def test_talk_with_marks_or_short_is_left_alone(reader: Reader, said: str) -> None:
    doc = reader.annotate(said)
    written = [t.text.lower() for t in doc if t.text in MARKS]
    assert [w for w in doc._.words.text if w in MARKS] == written


def test_capitals_open_sentences_and_names_do_not(reader: Reader) -> None:
    said = LED + "with the Zoellner and the Jobson Horne out it comes Drum healthy Canal dry See her in March"
    found = row(reader, said)
    assert ". drum healthy . canal dry . see her in march" in found
    assert "the zoellner" in found
    assert "jobson horne" in found


def test_every_mark_stands_at_a_word_of_the_text(reader: Reader) -> None:
    doc = reader.annotate(LED * 5)
    words = doc._.words
    assert len(words.text) == len(words.token) == len(words.last)
    assert all(a <= b for a, b in pairwise(words.token))
    assert [w for w in words.text if w not in MARKS] == [t.text.lower() for t in doc]
    assert any(w in MARKS for w in words.text)
