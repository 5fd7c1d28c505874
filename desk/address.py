"""Paths that name a value of a record, such as "ears[0].before.wax[1].colour[0]"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Any, get_args

from pydantic import BaseModel

from shared.errors import BadInput
from shared.record import (
    NOT_SAID,
    Ear,
    Instrument,
    Referral,
    SidedHistory,
    SidedSymptom,
    Value,
    Visit,
    Wax,
    closed_values,
)

KEYS: dict[type[BaseModel], str] = {
    Ear: "side",
    Wax: "where",
    Instrument: "name",
    SidedSymptom: "item",
    SidedHistory: "item",
    Referral: "to",
}
"""The value that a part is known by, and cannot be without."""

_STEP = re.compile(r"([a-z_]+)(?:\[(\d{1,4})\])?")


@dataclass(frozen=True)
class Place:
    """What a path names.

    steps: names and numbers, in order. field: the path without numbers. part: the class of the part, None
    for a value. closed: the values of a closed list, () if there is none. takes: str or int. listed: whether
    there can be several. numbered: whether the path names one of them.
    """

    path: str
    steps: tuple[str | int, ...]
    field: str
    part: type[BaseModel] | None
    closed: tuple[str, ...]
    takes: type
    listed: bool
    numbered: bool

    @property
    def ear(self) -> int | None:
        """The number of the ear it is in."""
        return self.steps[1] if self.steps[0] == "ears" and len(self.steps) > 1 else None  # type: ignore[return-value]

    @property
    def in_ear(self) -> str:
        """The field, from the ear on."""
        return self.field.removeprefix("ears.")


def place(path: str) -> Place:
    """What a path names. Raises BadInput for one that names nothing, with the names there are."""
    cls: type[BaseModel] | None = Visit
    steps: list[str | int] = []
    names: list[str] = []
    kind: Any = None
    listed = numbered = False
    for part in path.split("."):
        found = _STEP.fullmatch(part)
        known = [] if cls is None else [n for n in cls.model_fields if n not in NOT_SAID]
        if found is None or cls is None or found[1] not in known or (names and listed and not numbered):
            there = (
                f"It can be: {', '.join(known)}." if known and not (names and listed and not numbered) else ""
            )
            raise BadInput(
                f"the record has no {part!r} here",
                where=path,
                remedy=there or ("Say which, e.g. " + ".".join(names) + "[0]." if listed else ""),
            )
        names.append(found[1])
        inner, listed = _inner(cls.model_fields[found[1]].annotation)
        numbered = found[2] is not None
        if numbered and not listed:
            raise BadInput(f"there is only one {found[1]!r} here", where=path, remedy="Leave out its number.")
        steps += [found[1], int(found[2])] if numbered else [found[1]]
        if issubclass(inner, Value):
            kind, cls = inner.model_fields["value"].annotation, None
        else:
            cls = inner
    closed = () if kind in (None, str, int) else tuple(map(str, closed_values(kind)))
    takes = int if kind is int else str
    return Place(path, tuple(steps), ".".join(names), cls, closed, takes, listed, numbered)


@cache
def place_of_field(field: str) -> Place:
    """What a field without numbers names, e.g. "ears.before.drum". Raises BadInput."""
    path = ""
    for name in field.split("."):
        path += f".{name}" if path else name
        found = place(path)
        if found.listed and path.removesuffix("]") == path and found.field != field:
            path += "[0]"
    return place(path)


def look_up(data: Any, path: str, steps: tuple[str | int, ...]) -> Any:
    """What stands at a place of a record as JSON. Raises BadInput if nothing does."""
    node = data
    for step in steps:
        there = (node[step] if step < len(node) else None) if isinstance(step, int) else node.get(step)
        if there is None:
            raise BadInput("nothing is recorded there", where=path, remedy="Open the visit again, or add it.")
        node = there
    return node


def _inner(annotation: Any) -> tuple[type[BaseModel], bool]:
    """The class of a field of the record, and whether there can be several."""
    for arg in get_args(annotation):
        if isinstance(arg, type) and issubclass(arg, BaseModel):
            return arg, annotation.__class__.__name__ == "GenericAlias" or getattr(
                annotation, "__origin__", None
            ) is list
    return annotation, False
