"""Sentences and the parts between pauses, with good, bad and no punctuation."""

from itertools import pairwise

import pytest

from extract.reader import Reader
from extract.words import MARKS


def cut(reader: Reader, said: str) -> list[str]:
    words = reader.annotate(said)._.words
    return [" ".join(w for w in words.text[a:b] if w not in MARKS) for a, b in words.bounds]


@pytest.mark.parametrize(
    ("said", "sentences"),
    [
        ("Left ear. Hard wax.", ["left ear", "hard wax"]),
        ("Left ear, hard wax.", ["left ear hard wax"]),
        ("Any pain? No.", ["any pain", "no"]),
        ("Drum: intact; canal: dry.", ["drum", "intact", "canal", "dry"]),
        ("Left ear\n\nRight ear", ["left ear", "right ear"]),
        ("Left ear\nhard wax", ["left ear hard wax"]),
        ("Eighteen… no, sixteen mil.", ["eighteen no sixteen mil"]),
        ("1.5 cm of wax out.", ["1.5 cm of wax out"]),
        ("The drum is intact and the canal is dry.", ["the drum is intact and the canal is dry"]),
        ("Well! That's that.", ["well", "that 's that"]),
        ("", []),
        (
            "so this is the left ear and it is packed with hard wax the drum cannot be seen i use the hook",
            [
                "so this is the left ear and it is packed with hard wax",
                "the drum can not be seen",
                "i use the hook",
            ],
        ),
        (
            "right ear clear now drum is intact left ear has soft yellow wax near the entrance canal is "
            "narrow and dry see her in six months",
            None,
        ),
    ],
)
def test_where_sentences_begin(reader: Reader, said: str, sentences: list[str] | None) -> None:
    found = cut(reader, said)
    if sentences is not None:
        assert found == sentences
    assert " ".join(" ".join(found).split()) == " ".join(
        w for w in reader.annotate(said)._.words.text if w not in MARKS
    )


@pytest.mark.parametrize(
    ("said", "together"),
    [
        ("Hard wax, black wax", False),
        ("Hard and black wax", True),
        ("No pain but some itching", False),
        ("No pain and she hears well", False),
        ("The drum is dull and intact", True),
        ("Wax … black", False),
    ],
)
def test_parts_between_pauses(reader: Reader, said: str, together: bool) -> None:
    words = reader.annotate(said)._.words
    assert (words.part[0] == words.part[-1]) is together


@pytest.mark.parametrize(
    "said",
    [
        "Left ear. Hard wax, drum not seen. Zoellner; eighteen mil. Next patient!",
        "right ear hard wax out in one piece eighteen mil drum intact no bleeding " * 6,
        "Well? Well... no. No, no.\n\n\nGood.",
    ],
)
def test_sentences_cover_the_row_in_order(reader: Reader, said: str) -> None:
    doc = reader.annotate(said)
    words = doc._.words
    assert words.bounds[0][0] == 0
    assert words.bounds[-1][1] == len(words.text)
    assert all(before[1] == after[0] for before, after in pairwise(words.bounds))
    assert words.sentence == sorted(words.sentence)
    assert words.part == sorted(words.part)
    assert [words.token[a] for a, _ in words.bounds][1:] == [t.i for t in doc if t.is_sent_start][1:]
