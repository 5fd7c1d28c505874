"""Advice for the patient: what was done and found in plain words, what was advised, when to seek help.

Nothing is advised that the record does not hold, but for general cautions (`advice.yaml` has their source)
and what the practice wrote itself. No diagnosis is made.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from desk.letters.practice import Practice
from desk.lines import clean
from shared.record import Ear, Value, Visit


@cache
def words() -> dict[str, Any]:
    """The phrases, from `advice.yaml`."""
    found: dict[str, Any] = yaml.safe_load(Path(__file__).with_name("advice.yaml").read_text("utf-8"))
    return found


def parts(visit: Visit, practice: Practice) -> list[dict[str, Any]]:
    """The parts of the sheet: heading, paragraphs, points, and whether it is a warning."""
    said = words()
    found = [" ".join(lines) for ear in visit.ears if (lines := list(_ear(ear)))]
    if visit.outcome and visit.outcome.hearing:
        found.append(_tell(said["visit"]["outcome.hearing"], visit.outcome.hearing))
    sheet = [
        _part(said["found"], paragraphs=[said["opening"], *(found or [said["nothing"]])]),
        _part(said["care"], points=list(_care(visit)) or [said["nothing"]]),
    ]
    if own := [clean(p) for p in practice.advice.split("\n\n") if p.strip()]:
        sheet.append(_part(said["clinic"], paragraphs=own))
    urgent = _part(said["help"], paragraphs=[said["watch_first"], said["watch_lead"]], points=said["watch"])
    return [*sheet, {**urgent, "warning": True}, _part("", paragraphs=[said["closing"]])]


def _part(
    heading: str, *, paragraphs: list[str] | None = None, points: list[str] | None = None
) -> dict[str, Any]:
    return {"heading": heading, "paragraphs": paragraphs or [], "points": points or [], "warning": False}


def _ear(ear: Ear) -> Iterator[str]:
    """What was done and found in one ear. The drum as it was last seen."""
    table = words()["ear"]
    unsure = ear.side.certainty == "possible"
    name = "one of your ears" if ear.side.value == "unstated" or unsure else f"your {ear.side.value} ear"
    before, done, after = ear.before, ear.procedure, ear.after
    drum = (after.drum if after else []) or (before.drum if before else [])
    told: list[tuple[str, Value[Any] | None]] = [("before.occlusion", before.occlusion if before else None)]
    told += [("procedure.methods", v) for v in (done.methods if done else [])]
    told += [("after.clearance", after.clearance if after else None)]
    told += [("drum", v) for v in drum]
    told += [("complications", v) for v in ear.complications if v.value != "none"]
    lines = [_tell(table[field], value, name) for field, value in told if value is not None]
    if lines and name not in lines[0].lower():
        lines[0] = f"{name[0].upper()}{name[1:]}: {lines[0][0].lower()}{lines[0][1:]}"
    yield from lines


def _tell(table: dict[str, str], value: Value[Any], ear: str = "") -> str:
    said = table[value.value].format(ear=ear, Ear=ear[:1].upper() + ear[1:])
    return _unsure(said) if value.certainty == "possible" else said


def _unsure(said: str) -> str:
    return str(words()["maybe"]).format(said=said[0].lower() + said[1:])


def _care(visit: Visit) -> Iterator[str]:
    """What the patient was advised, when to come again, and to whom they are sent."""
    if not (plan := visit.plan):
        return
    for value in plan.advice:
        yield _tell(words()["visit"]["plan.advice"], value)
    if recall := plan.recall:
        unit = recall.unit.value.removesuffix("s") if recall.number.value == 1 else recall.unit.value
        said = words()["recall"].format(time=f"{recall.number.value} {unit}")
        doubt = "possible" in (recall.number.certainty, recall.unit.certainty)
        yield _unsure(said) if doubt else said
    if referral := plan.referral:
        yield _tell(words()["visit"]["plan.referral"], referral.to)
        if referral.urgency and referral.urgency.value == "urgent":
            yield _tell({"urgent": words()["urgent"]}, referral.urgency)
