"""The closed lists of the record, to choose from: each field with what it is called and its values in words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from desk import wording
from desk.address import place_of_field
from desk.typed import shown_values

_NUMBERS = re.compile(r"\[\d+\]")


@dataclass(frozen=True)
class Group:
    """A field and its values. field: from the ear on. values: each with the words in which it is shown."""

    field: str
    heading: str
    in_ear: bool
    values: tuple[tuple[str, str], ...]


@cache
def groups() -> tuple[Group, ...]:
    """Every field with a closed list, in the order of the sheet."""
    return tuple(
        Group(field, heading, in_ear(field), options(field)) for field, heading in wording.ALONE.items()
    )


@cache
def options(field: str) -> tuple[tuple[str, str], ...]:
    """The values of a field and their words, () if it has no closed list. field: from the ear on."""
    full = f"ears.{field}" if in_ear(field) else field
    return tuple(shown_values(full).items()) if place_of_field(full).closed else ()


def bare(path: str) -> str:
    """A path without its numbers, from the ear on: "before.wax.colour"."""
    return _NUMBERS.sub("", path).removeprefix("ears.")


def in_ear(field: str) -> bool:
    """Whether the field belongs to one ear."""
    first = field.partition(".")[0]
    return first in (*wording.SECTIONS, "complications_denied", "side")
