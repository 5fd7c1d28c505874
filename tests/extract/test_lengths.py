"""Lengths of what came out: each piece to its ear, one piece measured twice once, a sum of both ears apart.

How long an adult canal is, to see that these are possible: 31.4 +/- 3.1 mm (Hearing Research
2023, PubMed 37201272).
"""

from collections.abc import Callable
from typing import Any

import pytest

from extract.reader import Reader
from shared.transcript import Transcript


@pytest.mark.parametrize(
    ("said", "removed"),
    [
        ("One piece, eighteen mil.", [18]),
        ("It measures 18 mm.", [18]),
        ("Eighteen millimetres long, that piece.", [18]),
        ("Two centimetres.", [20]),
        ("Two pieces, half an inch and a quarter of an inch.", [13, 6]),
        ("Three eighths of an inch and five eighths of an inch.", [10, 16]),
        ("An inch and a quarter.", [32]),
        ("An inch and an eighth.", [29]),
        ("It's an inch and three sixteenths on the card.", [30]),
        ("An inch and three eighths of an inch.", [25, 10]),
        # read off while speaking
        ("Two pieces, fourteen and, let me look, six mil.", [14, 6]),
        ("Two bits, five and, what's this, three mil.", [5, 3]),
        ("Out it comes, an inch, all of it.", [25]),
        ("A plug of eighteen mil and another of seven.", [18, 7]),
        ("Twelve mil. Next one's eight.", [12, 8]),
        ("First piece twelve mil, second piece eight mil, third piece five mil.", [12, 8, 5]),
        ("Two pieces, twelve and eight mil.", [12, 8]),
        # the unit said once, after the last number
        ("Three bits: four, six and nine millimetres.", [4, 6, 9]),
        ("Three pieces, four, six, nine mil.", [4, 6, 9]),
        ("Pieces of ten, eight and four mil.", [10, 8, 4]),
        ("Two lumps, one twelve, one eight mil.", [12, 8]),
        ("Two lumps, one of twelve and one of eight mil.", [12, 8]),
        ("First ten, then six mil.", [10, 6]),
        ("Two pieces, twelve mil and eight.", [12, 8]),
        ("The first twelve mil, the second eight.", [12, 8]),
        ("Two pieces, no pain, eighteen mil.", [18]),
        ("Speculum size four, eighteen mil out.", [18]),
        ("One and eight mil.", [8]),
        # as often as pieces were counted
        ("Two pieces of eight mil each.", [8, 8]),
        ("Three lumps, four mil apiece.", [4, 4, 4]),
        ("Two eight mil pieces.", [8, 8]),
        ("One eight mil piece.", [8]),
        ("Two pieces, eight mil in all.", [8]),
        # length by width: the longer is the length
        ("One piece, ten by four mil.", [10]),
        ("One piece, ten mil by four.", [10]),
        ("A lump of 10 x 4 mm.", [10]),
        ("A lump of 10x4mm.", [10]),
        ("Four mil across and ten mil long.", [10]),
        # fractions, figures, spelled digits
        ("A mil and a half.", [2]),
        ("Inch and a half.", [38]),
        ("1½ cm.", [15]),
        ("18mil.", [18]),
        ("Sixteen point five mil.", [17]),
        ("One centimetre eight.", [18]),
        ("One six millimetres.", [16]),
        ("Just under two centimetres.", [20]),
        ("Just over two centimetres.", [20]),
        ("Not quite two centimetres.", [20]),
        ("About fifteen mil.", [15]),
        # looked at more closely
        ("About two centimetres, well, twenty-two mil.", [22]),
        ("Less than a centimetre, eight mil on the ruler.", [8]),
        ("Six mil and then four.", [6, 4]),
        ("Roughly an inch, twenty-two mil exactly.", [22]),
        ("Twelve mil, well, that's one piece, then eight mil.", [12, 8]),
        # one piece in two units: metric is the value
        ("Eighteen mil, call it three quarters of an inch.", [18]),
        ("Three quarters of an inch, so nineteen millimetres.", [19]),
        ("An inch, twenty-five mil.", [25]),
        ("One point eight centimetres, eighteen mil.", [18]),
        ("It's an inch long.", [25]),
        # two pieces in two units
        ("One piece of eighteen mil, and a second of half an inch.", [18, 13]),
        # not what came out
        ("It sits fifteen mil in.", None),
        ("Five mil from the drum.", None),
        ("The five millimetre speculum.", None),
        ("A two millimetre tube.", None),
        ("The canal is about six mil across.", None),
        ("It goes twelve mil deep.", None),
        ("Nothing long enough to measure.", None),
        ("He walked a few inches closer.", None),
        ("Every inch of it is gone.", None),
        # denied
        ("It wasn't twenty mil, it was twelve mil.", [12]),
        ("Not twenty mil, twelve.", [12]),
        ("Not twenty but twelve mil.", [12]),
        ("It wasn't twenty mil.", None),
        ("Eighteen mil, not eighty.", [18]),
    ],
)
def test_pieces_of_one_ear(
    sides: Callable[[str], dict[str, Any]], said: str, removed: list[int] | None
) -> None:
    ear = sides(f"Left ear. Hard wax. Wax hook, got it moving. {said} All clear.")["left"]
    assert ear.get("removed_mm") == removed


@pytest.mark.parametrize(
    ("said", "mm", "certainty"),
    [
        ("Ten or twelve mil.", 12, "possible"),
        ("Ten to twelve mil.", 12, "possible"),
        ("Between ten and twelve mil.", 12, "possible"),
        ("Ten, maybe twelve mil.", 12, "possible"),
        ("1.2-1.4 cm.", 14, "possible"),
        ("About twelve mil.", 12, "stated"),
        ("Twelve mil or so.", 12, "stated"),
        ("Twelve mil, or half an inch.", 12, "stated"),
    ],
)
def test_a_length_left_open_is_possible_and_noticed(
    reader: Reader, said: str, mm: int, certainty: str
) -> None:
    (visit,) = reader.read(Transcript.from_text(f"Left ear. Hard wax. Wax hook, got it moving. {said}"))
    (piece,) = visit.ears[0].removed_mm
    assert (piece.value, piece.certainty) == (mm, certainty)
    assert ("length_open" in {n.kind for n in visit.notices}) is (certainty == "possible")


@pytest.mark.parametrize(
    ("said", "right", "left", "total"),
    [
        ("Right ear, one piece, eighteen mil. Left ear, one piece, twelve mil.", [18], [12], None),
        ("Right ear, one piece, 18 mil. The other ear, one piece, 12 mil.", [18], [12], None),
        ("Right ear, sucker. Left ear, sucker. Thirty mil altogether from both ears.", None, None, 30),
        ("Right ear, 18 mil out. Left ear, 12 mil out. Thirty in total from the two ears.", [18], [12], 30),
        ("Right ear, sucker. Left ear, sucker. A total of forty mil from both ears.", None, None, 40),
        (
            "Right ear, sucker. Left ear, sucker. Eighteen mil from the right, twelve mil from the left.",
            [18],
            [12],
            None,
        ),
        ("Right ear, sucker. Left ear, sucker. Both plugs were fifteen mil each.", [15], [15], None),
        ("Right ear, 18 mil out. Left ear, sucker. Six mil more came from the right.", [18, 6], None, None),
        ("Right ear, 18 mil out. Left ear, no wax.", [18], None, None),
    ],
)
def test_pieces_of_two_ears(
    visit: Callable[[str], Any], said: str, right: list[int] | None, left: list[int] | None, total: int | None
) -> None:
    found = visit(f"Hard wax in both ears. {said}")
    ears = {ear["side"]: ear for ear in found["ears"]}
    assert ears["right"].get("removed_mm") == right
    assert ears["left"].get("removed_mm") == left
    assert found.get("removed_total_mm") == total


@pytest.mark.parametrize(
    ("said", "removed"),
    [
        ("A bead. Crocodile forceps, out it comes, six mil across.", None),
        ("Cotton wool, eight mil of it, out with the forceps.", None),
        ("A hearing aid dome, fourteen mil down. Forceps, out.", None),
        ("A bead, and hard wax. Forceps. The wax came as one piece, eighteen mil.", [18]),
    ],
)
def test_a_foreign_body_has_no_recorded_length(
    sides: Callable[[str], dict[str, Any]], said: str, removed: list[int] | None
) -> None:
    ear = sides(f"Left ear, otoscope. {said}")["left"]
    assert "foreign_body" in ear["before"]
    assert ear.get("removed_mm") == removed


@pytest.mark.parametrize(
    ("said", "sizes"),
    [
        ("Eighteen gauge Zoellner.", {"suction_tube": "18G"}),
        ("Zoellner, eighteen gauge.", {"suction_tube": "18G"}),
        ("Six French sucker.", {"suction_tube": "6Fr"}),
        (
            "Fine sucker, 24 gauge, and an 18 gauge sucker.",
            {"fine_suction_tube": "24G", "suction_tube": "18G"},
        ),
        ("Five millimetre speculum.", {"speculum": "5mm"}),
        ("Speculum, four mil, then the sucker.", {"speculum": "4mm", "suction_tube": ""}),
        ("A four mil speculum and a sixteen gauge tube.", {"speculum": "4mm", "suction_tube": "16G"}),
        ("Zoellner.", {"suction_tube": ""}),
        ("The wax hook, then an 18 gauge sucker.", {"wax_hook": "", "suction_tube": "18G"}),
    ],
)
def test_sizes_of_instruments(
    sides: Callable[[str], dict[str, Any]], said: str, sizes: dict[str, str]
) -> None:
    ear = sides(f"Left ear. Hard wax. {said}")["left"]
    assert {tool["name"]: tool.get("size", "") for tool in ear["procedure"]["instruments"]} == sizes
    assert "removed_mm" not in ear
