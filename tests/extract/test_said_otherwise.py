"""The same things said in other manners: dialects, second languages, teachers, terse notes, run-on talk.

Common practice, no source. Each row asks for one part of the record: names and numbers of list entries, joined by
dots; None where nothing may be recorded.
"""

from collections.abc import Callable
from typing import Any

import pytest


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


@pytest.mark.parametrize(("said", "drums"), SIDES)
def test_sides(sides: Callable[[str], dict[str, Any]], said: str, drums: dict[str, Any]) -> None:
    found = sides(said)
    assert {side: part(ear, "before.drum") or part(ear, "after.drum") for side, ear in found.items()} == drums


PARTS: list[tuple[str, str, Any]] = [
    # praise of where something sits is none of the drum
    ("Left ear. The tube is lying nicely in the drum.", "ears.0.before.drum", ["grommet"]),
    ("Left ear. Soft wax. Lovely drum.", "ears.0.before.drum", ["healthy"]),
    # what dried, ticks or was sent away
    ("Left ear. Soft wax. A bit of bleeding, it's dried now.", "ears.0.before.wax.0.consistency", ["soft"]),
    ("Left ear. Soft wax. He can hear his watch ticking.", "ears.0.before.foreign_body", None),
    ("Left ear. Soft wax. Tick that box for me.", "ears.0.before.foreign_body", None),
    ("Left ear. Soft wax, and there's a tick on the wall of the canal.", "ears.0.before.foreign_body", "insect"),
    ("Left ear. Soft wax and pus. I took a swab for culture.", "ears.0.before.foreign_body", None),
    ("Left ear. Soft wax. That's no wax, it's skin.", "ears.0.before.occlusion", None),
    ("Left ear. There's no wax.", "ears.0.before.occlusion", "none"),
    # one refused, the other in its place
    ("Left ear. Olive oil in, no, not olive oil, saline. Suction.", "ears.0.procedure.agents", ["saline"]),
    ("Left ear. The wax is brown, sorry, not brown, orange.", "ears.0.before.wax.0.colour", ["orange"]),
    ("Left ear. Hard wax. A few drops of baby oil. Suction.", "ears.0.procedure.agents", None),
    # a rough figure leaves the rest certain
    ("Left ear. Perhaps a third full, hard and brown.", "ears.0.before.wax.0.consistency", ["hard"]),
    ("Left ear. Forty percent, perhaps hard.", "ears.0.before.wax.0.consistency", ["hard?"]),
    ("Left ear. Maybe hard wax, forty percent.", "ears.0.before.wax.0.consistency", ["hard?"]),
    # a denial does not reach what opens with "a bit of"
    ("No discharge, a bit of dizziness. Left ear. Soft wax.", "background.symptoms.0.item", "dizziness"),
    ("Right ear, soft wax, hook. Left ear, hard, hook. No pain with either.", "ears.1.complications_denied", ["pain"]),
]  # fmt: skip


@pytest.mark.parametrize(("said", "path", "expected"), PARTS)
def test_parts(visit: Callable[[str], Any], said: str, path: str, expected: Any) -> None:
    assert part(visit(said), path) == expected
