"""The codes of `codes.yaml`, as FHIR codings."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

import yaml

Json = dict[str, Any]


@cache
def table() -> Json:
    """The file as it stands."""
    text = (files("desk.exchange") / "codes.yaml").read_text(encoding="utf-8")
    loaded: Json = yaml.safe_load(text)
    return loaded


def codings(group: str, value: str) -> list[Json]:
    """The codings for a value, [] if there is no verified code. group: e.g. "symptoms", "drum"."""
    rows = table().get(group, {})
    return [_coding(row) for row in rows.get(value) or rows.get("*") or ()]


def one(group: str, value: str = "") -> Json | None:
    """The coding of an entry that has one alone: a side, a unit, the procedure."""
    row = table()[group]
    row = row.get(value) if value else row
    return _coding(row) if row else None


def is_condition(history: str) -> bool:
    """Whether a point of history is a condition; others are facts, such as an appliance."""
    return history in table()["conditions"]


def _coding(row: Json) -> Json:
    (system,) = row.keys() - {"display", "source"}
    return {"system": table()["systems"][system], "code": row[system], "display": row["display"]}
