"""The same things said in other manners: dialects, second languages, teachers, terse notes, run-on talk.

Common practice, no source. Parts of a record are asked for by the names and numbers of list entries, joined by dots.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml


def part(record: Any, path: str) -> Any:
    """The part of a plain record at a path such as "ears.0.after.drum"; None if it is not there."""
    for step in path.split("."):
        if isinstance(record, list):
            record = record[int(step)] if int(step) < len(record) else None
        else:
            record = (record or {}).get(step)
    return record


LENGTHS = [
    # the decimal comma of most of Europe
    ("Right ear. Hook. A plug of two comma two centimetres.", [22]),
    ("Right ear. Hook. A plug of 2,2 cm.", [22]),
    ("Right ear comma hard wax period Hook comma two comma two centimetres period", [22]),
    ("Right ear. Hook. Two plugs, 12,5 mm and 6 mm.", [13, 6]),
    # parts of an inch after inches
    ("Right ear. Curette. The first bit is half an inch, the second one a quarter.", [13, 6]),
    ("Right ear. Curette. Half an inch for the first. Another piece, three eighths.", [13, 10]),
    ("Right ear. Curette. One piece, half an inch. The canal's a quarter full still.", [13]),
    # measured again
    ("Right ear. Soft wax. Hook. That's fourteen mil. Let me measure it again. It's twelve.", [12]),
    ("Right ear. Soft wax. Hook. Fourteen mil, I'd better measure that again, twelve.", [12]),
    ("Right ear. Soft wax. Hook. Fourteen mil. I'll measure the next. It's twelve mil.", [14, 12]),
    ("Right ear. Soft wax. Hook. Fourteen mil. One more bit, that's six.", [14, 6]),
]


@pytest.mark.parametrize(("said", "removed"), LENGTHS)
def test_lengths(visit: Callable[[str], Any], said: str, removed: list[int]) -> None:
    assert part(visit(said), "ears.0.removed_mm") == removed


SIDES = [
    ("L: soft wax, sucker. R: no wax, drum retracted.", {"left": None, "right": ["retracted"]}),
    ("R: no wax, drum dull. L: soft wax, sucker.", {"right": ["dull"], "left": None}),
    ("Patient R 7 1. Wax soft. L: drum dull.", {"unstated": ["dull"]}),
    (
        "Left ear forty percent, crumbly. Hook, all out, drum dull. Right, ten percent, drum scarred.",
        {"left": ["dull"], "right": ["scarred"]},
    ),
    # "right" is "well then" while the left is not done
    ("So it's the left ear. Right, ten percent full, drum scarred.", {"left": ["scarred"]}),
    ("Left ear, hard wax, ten percent. Right, hook, and the drum's dull.", {"left": ["dull"]}),
    (
        "Both ears. Left, bead, drum dull. Right, keratin plug, drum scarred.",
        {"left": ["dull"], "right": ["scarred"]},
    ),
    (
        "Right and left I find hard wax. First right. Hook, drum dull. Left. Hook, drum scarred.",
        {"right": ["dull"], "left": ["scarred"]},
    ),
    ("Right curette, drum dull. Left fine tube, drum scarred.", {"right": ["dull"], "left": ["scarred"]}),
    ("Hard wax. Left suction on. Drum dull.", {"unstated": ["dull"]}),
]


def test_a_length_of_both_ears_before_any_other_is_their_sum(visit: Callable[[str], Any]) -> None:
    said = "Right ear, soft wax, hook. Left ear, hard wax, hook. In total I have half an inch. Both clear."
    record = visit(said)
    assert record["removed_total_mm"] == 13
    assert not any("removed_mm" in ear for ear in record["ears"])


@pytest.mark.parametrize(("said", "drums"), SIDES)
def test_sides(sides: Callable[[str], dict[str, Any]], said: str, drums: dict[str, Any]) -> None:
    found = sides(said)
    assert {side: part(ear, "before.drum") or part(ear, "after.drum") for side, ear in found.items()} == drums


PARTS = [
    tuple(field.strip() for field in line.split("|"))
    for line in (Path(__file__).parent / "said_otherwise.txt").read_text(encoding="utf-8").splitlines()
    if line and not line.startswith("#")
]


VISITS = [
    ("Right ear, soft wax, out. Back in a year. Then there was a wee boy. His left ear is sore. Left, hard wax.", 2),
    ("Right ear, soft wax, hook, all out. Then there was a lady last month who fainted. Drum's fine.", 1),
    ("Right ear, soft wax, hook, all out. Then there was a bit of blood. Drum's fine.", 1),
]  # fmt: skip


@pytest.mark.parametrize(("said", "count"), VISITS)
def test_visits(read: Callable[[str], list[Any]], said: str, count: int) -> None:
    assert len(read(said)) == count


@pytest.mark.parametrize(("said", "path", "expected"), PARTS)
def test_parts(visit: Callable[[str], Any], said: str, path: str, expected: str) -> None:
    assert part(visit(said), path) == yaml.safe_load(expected)
