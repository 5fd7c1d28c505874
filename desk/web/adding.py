"""What can still be put into a record, to choose from: every value that is not there, and where it goes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from desk import fields, wording
from shared.record import Ear, Visit


@dataclass(frozen=True)
class Addable:
    """One thing to add. what: its path, "=", and the value; a value that is typed is left out.

    typed: an example of what to type, "" if nothing is.
    """

    what: str
    words: str
    typed: str = ""


_SINGLE = ("before.occlusion", "before.foreign_body", "procedure.tolerance", "after.clearance")
_SIDES = (("right", "right ear"), ("left", "left ear"), ("both", "both ears"))


def to_ear(ear: Ear, number: int) -> list[Addable]:
    """What can be added to an ear."""
    at = f"ears[{number}]"
    found = [Addable(f"{at}.removed_mm=", "Removed: length", "18 mm, 1.8 cm or 3/4 in")]
    before, done = ear.before, ear.procedure
    if before is None or before.occlusion_percent is None:
        found.append(Addable(f"{at}.before.occlusion_percent=", "Canal blocked: percent", "80 %"))
    for group in (g for g in fields.groups() if g.in_ear):
        if group.field.startswith("before.wax."):
            continue
        there = _values(ear, group.field)
        if there and group.field in _SINGLE:
            continue
        path = f"{at}.{group.field.removesuffix('.name')}"
        found += _choices(path, group.heading, group.values, there)
    found += _wax(ear, at)
    for n, tool in enumerate(done.instruments if done else []):
        if tool.size is None:
            name = str(tool.name.value).replace("_", " ")
            found.append(Addable(f"{at}.procedure.instruments[{n}].size=", f"Size of the {name}", "18G"))
    return found


def to_visit(visit: Visit) -> list[Addable]:
    """What can be added to the rest of the record."""
    found = []
    if visit.patient_reference is None:
        found.append(Addable("patient_reference=", "Patient reference", "41"))
    plan, background = visit.plan, visit.background
    if plan is None or plan.recall is None:
        found.append(Addable("plan.recall=", "See again in", "6 months"))
    if background is None or background.softener is None or background.softener.days is None:
        found.append(Addable("background.softener.days=", "Days of softening", "5"))
    if visit.removed_total_mm is None:
        found.append(Addable("removed_total_mm=", "Length, both ears", "30 mm"))
    there = {(fields.bare(path), value.value) for path, value in visit.values()}
    held = {field for field, _ in there}
    for group in (g for g in fields.groups() if not g.in_ear):
        one = not group.field.startswith(("background.symptoms", "background.history", "plan.advice"))
        if group.field == "plan.referral.urgency" or (one and group.field in held):
            continue
        path = group.field.removesuffix(".item").removesuffix(".to")
        values = {str(value) for field, value in there if field == group.field}
        found += _choices(path, group.heading, group.values, values)
    if plan and plan.referral and plan.referral.urgency is None:
        path = "plan.referral.urgency"
        found += _choices(path, wording.ALONE[path], fields.options(path), set())
    if background:
        for name in ("symptoms", "history"):
            for n, part in enumerate(getattr(background, name)):
                if part.side is None:
                    told = str(part.item.value).replace("_", " ")
                    found += _choices(f"background.{name}[{n}].side", f"Side of: {told}", _SIDES, set())
    return found


def _wax(ear: Ear, at: str) -> Iterator[Addable]:
    layers = ear.before.wax if ear.before else []
    for kind in ("consistency", "colour"):
        field = f"before.wax.{kind}"
        if not layers:
            yield from _choices(f"{at}.{field}", wording.ALONE[field], fields.options(field), set())
        for n, layer in enumerate(layers):
            name = wording.LAYERS[layer.where.value]
            there = {str(value.value) for value in getattr(layer, kind)}
            heading = f"{name}{' colour' if kind == 'colour' else ''}"
            yield from _choices(f"{at}.before.wax[{n}].{kind}", heading, fields.options(field), there)
    named = {str(layer.where.value) for layer in layers}
    field = "before.wax.where"
    yield from _choices(f"{at}.before.wax", wording.ALONE[field], fields.options(field), named)


def _choices(path: str, heading: str, options: tuple[tuple[str, str], ...], there: set[str]) -> list[Addable]:
    return [Addable(f"{path}={v}", f"{heading}: {words}") for v, words in options if v not in there]


def _values(ear: Ear, field: str) -> set[str]:
    """The values an ear has under a field."""
    visit = Visit(ears=[ear])
    return {str(value.value) for path, value in visit.values() if fields.bare(path) == field}
