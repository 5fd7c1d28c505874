"""Whether a value is right, beside the confidence it was given: what a reliability plot is made of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from extract.second_reading import compared
from shared.record import Value, Visit


def judged(visits: Sequence[Visit], gold: Sequence[Mapping[str, Any]]) -> Iterator[tuple[Value[Any], bool]]:
    """Every value of the visits, and whether the record of that visit (plain form) has it in that ear.

    A wrong or unsaid side is counted once, at the side. An ear whose side nobody named is no value.
    """
    for number, visit in enumerate(visits):
        for value, right in compared(visit, gold[number] if number < len(gold) else {}):
            if value.value != "unstated":
                yield value, right
