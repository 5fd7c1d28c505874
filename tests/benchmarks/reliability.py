"""Whether a value is right, beside the confidence it was given: what a reliability plot is made of.

A value is compared with the record of the same ear: the one of that side, else the one not yet taken, in the
order spoken. That the side itself is wrong or unsaid is counted once, at the side, which is a value of its own.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from shared.record import Value, Visit

_INDEX = re.compile(r"\[\d+\]")


def judged(
    visits: Sequence[Visit], gold: Sequence[Mapping[str, Any]]
) -> Iterator[tuple[Value[Any], str, bool]]:
    """Every value of the visits, the field it is in, and whether it is in the gold record (plain form)."""
    for number, visit in enumerate(visits):
        should = gold[number] if number < len(gold) else {}
        sides = [ear.side.value for ear in visit.ears]
        place = _paired(sides, [ear["side"] for ear in should.get("ears", ())])
        known = Counter(_flat(should))
        for path, value in visit.values():
            ear = re.match(r"ears\[(\d+)\]", path)
            where = place.get(int(ear[1]), -1) if ear else None
            layer = re.match(r"ears\[(\d+)\]\.before\.wax\[(\d+)\]", path)
            field = _INDEX.sub("", path)
            if field.endswith("wax.where"):
                continue  # it shows in the consistency and colour
            said = str(value.value) + ("?" if value.certainty == "possible" else "")
            if layer:
                part = visit.ears[int(layer[1])].before
                assert part is not None
                said = f"{part.wax[int(layer[2])].where.value}:{said}"
            key = (where, field, said)
            yield value, field, known[key] > 0
            known[key] -= 1


def _paired(ours: Sequence[str], theirs: Sequence[str]) -> dict[int, int]:
    free = list(range(len(theirs)))
    pairs = {}
    for i, side in enumerate(ours):
        same = next((j for j in free if theirs[j] == side), None)
        if same is not None:
            pairs[i] = same
            free.remove(same)
    for i in range(len(ours)):
        if i not in pairs and free:
            pairs[i] = free.pop(0)
    return pairs


def _flat(given: Any, field: str = "", ear: int | None = None) -> Iterator[tuple[int | None, str, str]]:
    """(ear, field, value) of a plain visit, with the layer before what is said of wax."""
    if isinstance(given, Mapping):
        for key, value in given.items():
            if key == "wax":
                for layer in value:
                    for kind in ("consistency", "colour"):
                        for one in layer.get(kind, ()):
                            yield ear, f"{field}.wax.{kind}", f"{layer['where']}:{one}"
            else:
                yield from _flat(value, f"{field}.{key}" if field else key, ear)
    elif isinstance(given, Sequence) and not isinstance(given, str):
        for number, one in enumerate(given):
            yield from _flat(one, field, number if field == "ears" else ear)
    else:
        yield ear, field, str(given)
