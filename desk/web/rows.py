"""A record as the checking page lays it out: parts, rows, and values that each know their own place."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from desk import fields, wording
from desk.checks import UNCLEAR
from desk.lines import plain
from shared.record import (
    Ear,
    Instrument,
    Recall,
    Referral,
    SidedHistory,
    SidedSymptom,
    Softener,
    Value,
    Visit,
    Wax,
)

_TOGETHER = (Wax, SidedSymptom, SidedHistory, Softener, Instrument, Recall, Referral)
"""Parts whose values are read as one: "blocked, left ear", "suction tube, 18G"."""

_NTH = ("First", "Second", "Third", "Fourth")
_OFF_IDS = re.compile(r"[\[\].]+")


@dataclass(frozen=True)
class Item:
    """One value. path: its place; field: the path without numbers, from the ear on. words: how it is shown."""

    path: str
    field: str
    label: str
    words: str
    value: Value[Any]

    @property
    def id(self) -> str:
        """Its id on the page."""
        return anchor(self.path)

    @property
    def options(self) -> tuple[tuple[str, str], ...]:
        """What it can be corrected to, with the words for it; () if it is typed."""
        return fields.options(self.field)

    @property
    def unclear(self) -> bool:
        """Whether its words were not heard clearly, and nobody has confirmed it."""
        return self.value.confidence < UNCLEAR and not self.value.by_hand

    @property
    def to_type(self) -> str:
        """What stands in the box where it is corrected by typing."""
        unit = wording.UNITS.get(self.field)
        return f"{self.value.value} {unit}" if unit else str(self.value.value)


@dataclass(frozen=True)
class Row:
    """A label, and the values under it in groups that belong together."""

    label: str
    groups: tuple[tuple[Item, ...], ...]


@dataclass(frozen=True)
class Part:
    """A heading and its rows. name: the part of the record, e.g. "before"."""

    name: str
    heading: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class EarRows:
    """One ear. number: its place in the record. at: where its side stands, as an item."""

    number: int
    ear: Ear
    at: Item
    parts: tuple[Part, ...]

    @property
    def side(self) -> str:
        """right, left or unstated."""
        return str(self.ear.side.value)


@dataclass(frozen=True)
class Laid:
    """The whole record. ears: the right one first, as one faces the patient."""

    patient: Part
    ears: tuple[EarRows, ...]
    parts: tuple[Part, ...]

    def items(self) -> Iterator[Item]:
        """Every value, in the order of the page."""
        for ear in self.ears:
            yield ear.at
            yield from _items(ear.parts)
        yield from _items((self.patient, *self.parts))

    def item(self, path: str) -> Item | None:
        """The value at a path; None if there is none."""
        return next((item for item in self.items() if item.path == path), None)


def lay_out(visit: Visit) -> Laid:
    """The record as rows."""
    order = {"right": 0, "left": 1, "unstated": 2}
    unnamed = [n for n, ear in enumerate(visit.ears) if ear.side.value == "unstated"]
    ears = [
        _ear(n, ear, _NTH[unnamed.index(n) % len(_NTH)] if n in unnamed and len(unnamed) > 1 else "")
        for n, ear in enumerate(visit.ears)
    ]
    whole = (
        ("outcome", "Outcome"),
        ("removed_total_mm", "Both ears"),
        ("background", "Background"),
        ("plan", "Plan"),
    )
    return Laid(
        patient=Part(
            "patient_reference", "Patient", tuple(_rows(visit.patient_reference, "patient_reference"))
        ),
        ears=tuple(sorted(ears, key=lambda ear: order[ear.side])),
        parts=tuple(Part(name, heading, tuple(_rows(getattr(visit, name), name))) for name, heading in whole),
    )


def anchor(path: str) -> str:
    """The id on the page of the value at a path."""
    return _OFF_IDS.sub("-", f"at-{path}").strip("-")


def _ear(number: int, ear: Ear, nth: str) -> EarRows:
    """nth: which of several ears without a side it is, "" if there is no other."""
    at = f"ears[{number}]"
    name = wording.EARS[ear.side.value]
    side = Item(f"{at}.side", "side", "Side", f"{nth} {name.lower()}" if nth else name, ear.side)
    parts = []
    for name, heading in wording.SECTIONS.items():
        rows = list(_rows(getattr(ear, name), f"{at}.{name}"))
        if name == "complications":
            rows += _rows(ear.complications_denied, f"{at}.complications_denied")
        parts.append(Part(name, heading, tuple(rows)))
    return EarRows(number, ear, side, tuple(parts))


def _rows(node: Any, path: str) -> Iterator[Row]:
    """One row for each field of a part that holds something."""
    if isinstance(node, BaseModel) and not isinstance(node, (Value, *_TOGETHER)):
        for name in type(node).model_fields:
            yield from _rows(getattr(node, name), f"{path}.{name}")
    elif groups := tuple(_groups(node, path)):
        yield Row(wording.FIELDS[fields.bare(path)], groups)


def _groups(node: Any, path: str) -> Iterator[tuple[Item, ...]]:
    if isinstance(node, list):
        for n, item in enumerate(node):
            yield from _groups(item, f"{path}[{n}]")
    elif isinstance(node, Value):
        yield (_item(node, path),)
    elif isinstance(node, BaseModel):
        group = tuple(_together(node, path))
        bare = [
            item for item in group if not (item.field == "before.wax.where" and item.value.value == "whole")
        ]
        yield tuple(bare) or group


def _together(node: BaseModel, path: str) -> Iterator[Item]:
    for name in type(node).model_fields:
        inner = getattr(node, name)
        if isinstance(inner, list):
            yield from (_item(value, f"{path}.{name}[{n}]") for n, value in enumerate(inner))
        elif inner is not None:
            yield _item(inner, f"{path}.{name}")


def _item(value: Value[Any], path: str) -> Item:
    field = fields.bare(path)
    return Item(path, field, _label(field), _words(value, field), value)


def _words(value: Value[Any], field: str) -> str:
    """A value in words that stand alone."""
    last = field.rpartition(".")[2]
    if last == "where":
        return "wax seen" if value.value == "whole" else f"{value.value} layer"
    if last == "side":
        return "both ears" if value.value == "both" else f"{value.value} ear"
    if last == "days":
        return f"{value.value} day{'' if value.value == 1 else 's'}"
    return plain(value, field if field in wording.FIELDS or "." not in field else _known(field))


def _known(field: str) -> str:
    """The nearest field above with a wording of its own."""
    while "." in field and field not in wording.FIELDS and field not in wording.VALUES_BY_FIELD:
        field = field.rpartition(".")[0]
    return field


def _label(field: str) -> str:
    return wording.ALONE.get(field) or wording.FIELDS.get(field) or wording.PARTS.get(field, "")


def _items(parts: tuple[Part, ...]) -> Iterator[Item]:
    for part in parts:
        for row in part.rows:
            for group in row.groups:
                yield from group
