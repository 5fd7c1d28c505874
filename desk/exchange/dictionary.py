"""The data dictionary: every column of the tables, made from the fields of `shared/record.py`."""

from __future__ import annotations

import types
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from desk import wording
from shared.record import NOT_SAID, Value, Visit

SIDES = ("right", "left", "unstated")


@dataclass(frozen=True)
class Field:
    """A field of the record. name: from the ear on. values: of a closed list, () if it is open. many: whether it may
    hold several. key: the field whose value it belongs to, e.g. the layer of wax, "" if none."""

    name: str
    in_ear: bool
    values: tuple[str, ...]
    number: bool
    many: bool
    key: str

    @property
    def meaning(self) -> str:
        """What it is, in words."""
        known = (wording.ALONE, wording.PARTS, wording.FIELDS)
        return next(words[self.name] for words in known if self.name in words)

    @property
    def unit(self) -> str:
        """Its unit, "" if it has none."""
        return "days" if self.name.endswith(".days") else wording.UNITS.get(self.name, "")


@dataclass(frozen=True)
class Row:
    """One row of the dictionary."""

    table: str
    name: str
    meaning: str
    values: str
    unit: str


ABOUT = {
    "visit": ("Number of the visit in this store", "whole number"),
    "when": ("When the visit began", "ISO 8601 with zone (Z is UTC)"),
    "state": (
        "Draft or signed",
        "; ".join(("DRAFT, not signed", "DRAFT amendment, not signed", "signed", "signed, amended")),
    ),
    "state_since": ("When it was signed; of a draft, when it was last changed", "ISO 8601 with zone"),
    "checked_by": ("Who signed it; empty if nobody has checked it as it stands", "text"),
    "made": ("How the record came about", "text"),
    "patient_reference": ("Patient reference as it was said; ? behind it: said with doubt", "text"),
}
"""The columns with which every row of both tables begins."""

VISIT = {
    "when_from": (
        "Where the time comes from",
        "dictation; metadata; name; file_time; list; entered; reading",
    ),
    "recording": ("Name of the recording", "text"),
    "patient_in_recording": ("Which patient of the recording, counted from 1", "whole number"),
    "clinician": ("Who saw the patient, if known", "text"),
    "notices_open": ("Notices that nobody has decided", "whole number"),
}

FINDING = {
    "ear": ("Ear", "right; left; unstated (nobody said which); empty: not of one ear"),
    "field": ("Field of the record", "a field's name below"),
    "label": ("What the field is", "text"),
    "value": ("The value as the record has it", "see the field"),
    "words": ("The value in plain words", "text"),
    "unit": ("Unit of the value", "mm; %; days; empty: none"),
    "certainty": ("Whether it was said with doubt", "stated; possible"),
    "origin": ("Where it comes from", "heard; inferred (from other words); entered (by a person)"),
    "confirmed_by": ("Who looked at it and found it right", "text"),
    "heard": ("The words it came from", "text"),
    "second_from": ("Where these words begin in the recording, in seconds", "number"),
    "second_to": ("Where they end", "number"),
    "confidence": ("How sure Earside is of having heard and read it rightly", "0 to 1"),
    "path": ("Its place in the record", "text"),
}  # fmt: skip


@cache
def fields() -> tuple[Field, ...]:
    """Every field of the record that holds a value, in its order."""
    return tuple(_fields(Visit, "", many=False, key=""))


def dictionary() -> Iterator[Row]:
    """Every column of the two tables; a column is there for each field of each ear."""
    for table, columns in (("visits", ABOUT | VISIT), ("findings", ABOUT | FINDING)):
        for name, (meaning, values) in columns.items():
            yield Row(table, name, meaning, values, "")
    for field in fields():
        names = [f"{side}.{field.name}" for side in SIDES] if field.in_ear else [field.name]
        values = "; ".join(field.values) or ("whole number" if field.number else "text")
        doubt = "; ? stands behind a doubtful one"
        belongs = f", after the {field.key.rpartition('.')[2]} that it belongs to" if field.key else ""
        for name in names:
            if name not in ABOUT:
                # Two ears whose side nobody said share the columns of an unstated ear.
                several = "; several are parted by semicolons" * (field.many or name.startswith("unstated."))
                yield Row("visits", name, field.meaning, values + doubt + several + belongs, field.unit)
        yield Row("findings, field", field.name, field.meaning, values, field.unit)


def _fields(node: Any, path: str, *, many: bool, key: str) -> Iterator[Field]:
    origin = get_origin(node)
    if origin in (Union, types.UnionType):
        (inner,) = (a for a in get_args(node) if a is not type(None))
        yield from _fields(inner, path, many=many, key=key)
    elif origin is list:
        yield from _fields(get_args(node)[0], path, many=path != "ears", key=key)
    elif isinstance(node, type) and issubclass(node, Value):
        kind = node.model_fields["value"].annotation
        values = tuple(map(str, get_args(kind))) if get_origin(kind) is Literal else ()
        name = path.removeprefix("ears.")
        yield Field(name, name != path, values, kind is int, many, "" if name == key else key)
    elif isinstance(node, type) and issubclass(node, BaseModel):
        name = path.removeprefix("ears.")
        first = next(iter(node.model_fields))
        owner = f"{name}.{first}" if many and name and first in ("where", "name", "item") else key
        for part, info in node.model_fields.items():
            if not (node is Visit and part in NOT_SAID):
                where = f"{path}.{part}" if path else part
                yield from _fields(info.annotation, where, many=many, key=owner)
