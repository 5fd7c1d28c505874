"""Whether a value is right, beside the confidence it was given: what a reliability plot is made of."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from extract.second_reading import compared
from shared.record import Value, Visit

BINS = (0.0, 0.6, 0.9, 1.0)
"""Confidences over one and up to the next; over 0.9 the aim is SURE_RIGHT."""
SURE, SURE_RIGHT = 0.9, 0.97

Judged = tuple[Value[Any], bool]


def judged(visits: Sequence[Visit], gold: Sequence[Mapping[str, Any]]) -> Iterator[Judged]:
    """Every value of the visits, and whether the record of that visit (plain form) has it in that ear.

    A wrong or unsaid side is counted once, at the side. An ear whose side nobody named is no value.
    """
    for number, visit in enumerate(visits):
        for value, right in compared(visit, gold[number] if number < len(gold) else {}):
            if value.value != "unstated":
                yield value, right


def wilson(right: int, of: int) -> tuple[float, float]:
    """The 95 % interval of a share, after Wilson (1927)."""
    z, share = 1.96, right / of
    middle, spread = share + z * z / (2 * of), z * math.sqrt(share * (1 - share) / of + (z / (2 * of)) ** 2)
    return (middle - spread) / (1 + z * z / of), (middle + spread) / (1 + z * z / of)


def shared_out(values: Sequence[Judged], bins: Sequence[float] = BINS) -> list[tuple[float, int, int]]:
    """(mean confidence, right, of) of the values in each bin; the mean is 0 where there are none."""
    found = []
    for low, high in pairwise(bins):
        inside = [(value.confidence, right) for value, right in values if low < value.confidence <= high]
        mean = sum(sure for sure, _ in inside) / max(len(inside), 1)
        found.append((mean, sum(right for _, right in inside), len(inside)))
    return found
