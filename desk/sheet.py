"""A visit record as a sheet for people: what to check first, then each ear, background and plan."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel
from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from desk import wording
from shared.record import Ear, Extent, Notice, Recall, SidedHistory, SidedSymptom, Softener, Value, Visit, Wax


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


def visit_sheet(visit: Visit, *, title: str, status: str) -> RenderableType:
    """The whole sheet. title: which visit this is. status: draft, signed or replaced."""
    parts: list[RenderableType] = [Text(clean(title), "bold"), Text(wording.STATES[status]), Text()]
    if visit.notices:
        parts += [_notices(visit.notices), Text()]
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, expand=False, show_edge=False)
    table.add_column("")
    table.add_column("Recorded", ratio=2, overflow="fold")
    table.add_column("Words behind it", ratio=3, overflow="fold")
    table.add_column("At", justify="right", no_wrap=True)
    for section in sections(visit):
        indent = "  " * section.depth
        heading = Text(indent + section.heading, "" if section.depth else "bold")
        table.add_row(heading, "", quote(section.about), time(section.about))
        shown = ""
        for line in section.lines:
            label = "" if line.label == shown else line.label
            shown = line.label
            table.add_row(f"{indent}  {label}", Text(line.text), quote(line.values), time(line.values))
    if not table.row_count:
        parts.append(Text("Nothing was recorded: no finding was recognised in the words."))
    else:
        parts.append(table)
    return Group(*parts, Text(), Text(wording.CAUTION, "dim"))


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
        case None | Extent() | Notice():
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
    word = str(value.value)
    word = (
        wording.VALUES_BY_FIELD.get(field, {}).get(word) or wording.VALUES.get(word) or word.replace("_", " ")
    )
    if unit := wording.UNITS.get(field):
        word = f"{word} {unit}"
    return clean(word) + _manner(value)


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


def quote(values: Iterable[Value[Any] | Notice]) -> Text:
    """The words behind the values, each stretch once."""
    heard = dict.fromkeys(clean(v.heard) for v in values if v.heard)
    return Text(" … ".join(f"“{words}”" for words in heard))


def time(values: Iterable[Value[Any] | Notice]) -> Text:
    """When the first of the words was said, as minutes:seconds of the recording."""
    starts = [v.seconds[0] for v in values if v.seconds]
    return Text(clock(min(starts)) if starts else "")


def clock(seconds: float) -> str:
    """Seconds as minutes:seconds."""
    return f"{int(seconds) // 60:02d}:{int(seconds) % 60:02d}"


def clean(words: str) -> str:
    """Words on one line, without anything a terminal would obey."""
    return " ".join("".join(c if c.isprintable() else " " for c in words).split())


def _notices(notices: list[Notice]) -> Table:
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(justify="right", no_wrap=True)
    table.add_column(ratio=3, overflow="fold")
    table.add_column(ratio=2, overflow="fold")
    table.add_column(justify="right", no_wrap=True)
    table.add_row("", Text("Check first", "bold"))
    for n, notice in enumerate(sorted(notices, key=lambda x: -x.weight), 1):
        decide = "To decide before signing: " if notice.must_decide else ""
        message = Text(f"{decide}{clean(notice.message)}")
        message.append(f"\n{clean(notice.guidance)}", "dim")
        table.add_row(f"{n}.", message, quote([notice]), time([notice]))
    return table
