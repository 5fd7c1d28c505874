"""A visit record as lines of plain words, in the order in which a clinician reads it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from desk import wording
from shared.record import Ear, Recall, SidedHistory, SidedSymptom, Softener, Value, Visit, Wax


@dataclass(frozen=True)
class Line:
    """One line of the sheet. values: what it shows, for their words and time."""

    label: str
    text: str
    values: tuple[Value[Any], ...]


@dataclass(frozen=True)
class Section:
    """A heading and its lines.

    about: the values the heading itself rests on. depth: 1 for a part of an ear.
    """

    heading: str
    lines: tuple[Line, ...] = ()
    about: tuple[Value[Any], ...] = ()
    depth: int = 0


def sections(visit: Visit) -> Iterator[Section]:
    """The parts of the sheet that have something in them, in its order."""
    if visit.patient_reference:
        yield Section("Patient", tuple(_lines(visit.patient_reference, "patient_reference")))
    for ear in visit.ears:
        yield from _ear(ear)
    rest = (
        ("Both ears", visit.removed_total_mm, "removed_total_mm"),
        ("Background", visit.background, "background"),
        ("Outcome", visit.outcome, "outcome"),
        ("Plan", visit.plan, "plan"),
    )
    for heading, node, field in rest:
        if lines := tuple(_lines(node, field)):
            yield Section(heading, lines)


def _ear(ear: Ear) -> Iterator[Section]:
    said = ear.side.value != "unstated"
    yield Section(wording.EARS[ear.side.value] + _manner(ear.side) * said, about=(ear.side,) * said)
    for part, heading in wording.SECTIONS.items():
        lines = tuple(_lines(getattr(ear, part), part))
        if part == "complications":
            lines += tuple(_lines(ear.complications_denied, "complications_denied"))
        if lines:
            yield Section(heading, lines, depth=1)


def _lines(node: Any, field: str) -> Iterator[Line]:
    """The lines of any part of the record; `field` is its path without numbers."""
    label = wording.FIELDS.get(field, "")
    match node:
        case None:
            return
        case list():
            for item in node:
                yield from _lines(item, field)
        case Value():
            yield Line(label, text(node, field), (node,))
        case Wax():
            yield from _wax(node)
        case SidedSymptom() | SidedHistory():
            what: Value[Any] = node.item
            side = f", {_side(node.side)}" if node.side else ""
            yield Line(label, text(what, field) + side, _present(what, node.side))
        case Softener():
            days = f"{node.days.value} days{_manner(node.days)}" if node.days else ""
            agent = text(node.agent, field) if node.agent else ""
            yield Line(label, ", ".join(filter(None, (agent, days))), _present(node.agent, node.days))
        case Recall():
            number, unit = node.number.value, str(node.unit.value)
            unit = unit.removesuffix("s") if number == 1 else unit
            yield Line(
                label,
                f"in {number} {unit}{_manner(node.number, node.unit)}",
                _present(node.number, node.unit),
            )
        case BaseModel() if label:  # an instrument with its size, a referral with its urgency
            values = _present(*(getattr(node, key) for key in type(node).model_fields))
            yield Line(label, ", ".join(text(v, field) for v in values), values)
        case BaseModel():
            for key in type(node).model_fields:
                yield from _lines(getattr(node, key), f"{field}.{key}")


def _wax(wax: Wax) -> Iterator[Line]:
    label = wording.LAYERS[wax.where.value]
    about: tuple[Value[Any], ...] = () if wax.where.value == "whole" else (wax.where,)
    found: list[Value[Any]] = [*wax.consistency, *wax.colour]
    for value in found:
        yield Line(label, text(value, "before.wax"), (*about, value))
        about = ()
    if not found:
        yield Line(label, "present", (wax.where,))


def text(value: Value[Any], field: str) -> str:
    """A value in plain words; doubt and origin are said, not coloured."""
    return plain(value, field) + _manner(value)


def plain(value: Value[Any], field: str) -> str:
    """A value in plain words, and nothing of how it was come by."""
    word = str(value.value)
    word = (
        wording.VALUES_BY_FIELD.get(field, {}).get(word) or wording.VALUES.get(word) or word.replace("_", " ")
    )
    if unit := wording.UNITS.get(field):
        word = f"{word} {unit}"
    return clean(word)


def _side(side: Value[Any]) -> str:
    return ("both ears" if side.value == "both" else f"{side.value} ear") + _manner(side)


def _manner(*values: Value[Any]) -> str:
    said = ["possible"] if any(v.certainty == "possible" for v in values) else []
    for origin in ("inferred", "entered"):
        if any(v.origin == origin for v in values):
            said.append(origin)
    return f" ({', '.join(said)})" if said else ""


def _present(*values: Value[Any] | None) -> tuple[Value[Any], ...]:
    return tuple(v for v in values if v is not None)


def clean(words: str) -> str:
    """Words on one line, without anything a terminal would obey."""
    return " ".join("".join(c if c.isprintable() else " " for c in words).split())


_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠")


def safe(cell: Any) -> Any:
    """A cell that no spreadsheet takes for a formula and no terminal obeys.

    Text that begins like a formula gets an apostrophe before it (OWASP, CSV injection); marks that turn the
    direction of writing and control characters become spaces.
    """
    if not isinstance(cell, str):
        return cell
    text = clean(cell)
    return f"'{text}" if text.startswith(_FORMULA) else text
