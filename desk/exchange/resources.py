"""What a record says as FHIR R4 resources: observations, conditions and one procedure an ear.

A doubtful value is text that says so, and never a code or a number that could be taken for certain. What was
planned stays text in its section: a ServiceRequest would be an order that nobody placed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from desk import fields, wording
from desk.exchange import codes, extensions
from desk.lines import plain
from shared.record import Ear, SidedHistory, SidedSymptom, Softener, Value, Visit, Wax

Json = dict[str, Any]
Found = tuple[str, Json]
"""The section it belongs to ("background", "ears[0]", "outcome"), and a resource."""


@dataclass(frozen=True)
class Frame:
    """What every resource of a visit shares. status: of observations. about: its subject and encounter."""

    status: str
    about: Json
    when: str

    def observation(self, code: Json, value: Json, **more: Any) -> Json:
        """An observation; `more` are further elements, None for none."""
        parts = {"resourceType": "Observation", "status": self.status, "code": code, **self.about}
        parts |= {"effectiveDateTime": self.when, **value}
        return parts | {key: part for key, part in more.items() if part}


def of_visit(visit: Visit, frame: Frame) -> Iterator[Found]:
    """The resources of a visit, by section."""
    if background := visit.background:
        yield from _background(background, frame)
    for number, ear in enumerate(visit.ears):
        section = f"ears[{number}]"
        for resource in _ear(ear, section, frame):
            yield section, resource
    for part in ("removed_total_mm", "outcome"):
        for path, value in _values(getattr(visit, part), part):
            yield part, _finding(path, value, frame)


def _background(background: BaseModel, frame: Frame) -> Iterator[Found]:
    for name in type(background).model_fields:
        node = getattr(background, name)
        path = f"background.{name}"
        match node:
            case list():
                for n, item in enumerate(node):
                    yield "background", _told(item, f"{path}[{n}]", frame)
            case Softener():
                parts = [_component(p, v) for p, v in _values(node, path)]
                if parts:
                    yield "background", frame.observation({"text": "Softened at home"}, {"component": parts})
            case Value():
                yield "background", _finding(path, node, frame)


def _told(item: Any, path: str, frame: Frame) -> Json:
    """A symptom or point of history, present or denied."""
    group = fields.bare(path).split(".")[1]
    if isinstance(item, Value):
        return _present(path, item, frame, group=group.removesuffix("_denied"), denied=True)
    assert isinstance(item, SidedSymptom | SidedHistory)
    site = None
    if item.side:
        site = _site(str(item.side.value), certain=item.side.certainty == "stated")
        site["extension"] = [extensions.of_value(f"{path}.side", item.side), *site.get("extension", ())]
    if isinstance(item, SidedHistory) and codes.is_condition(item.item.value):
        return _condition(
            f"{path}.item", item.item, frame, group="history", site=site, note="Told as history."
        )
    return _present(f"{path}.item", item.item, frame, group=group, site=site)


def _ear(ear: Ear, section: str, frame: Frame) -> Iterator[Json]:
    site = _site(ear.side.value, certain=ear.side.certainty == "stated")
    for part in ("before", "removed_mm", "after"):
        for path, node in _findings(getattr(ear, part), f"{section}.{part}"):
            if isinstance(node, Wax):
                parts = [_component(p, v) for p, v in _values(node, path)]
                yield frame.observation({"text": "Wax"}, {"component": parts}, bodySite=site)
            elif path.endswith(".foreign_body"):
                yield _condition(path, node, frame, group="foreign_body", site=site)
            elif not path.endswith(".clearance"):
                yield _finding(path, node, frame, site=site)
    happened = []
    for path, value in _values(ear.complications, f"{section}.complications"):
        if value.value == "none":
            yield _finding(path, value, frame, site=site)
        else:
            happened.append(_condition(path, value, frame, group="complications", site=site))
            yield happened[-1]
    for path, value in _values(ear.complications_denied, f"{section}.complications_denied"):
        yield _present(path, value, frame, group="complications", site=site, denied=True)
    if procedure := _procedure(ear, section, frame, site):
        if happened:
            procedure["complicationDetail"] = happened  # `bundle` puts references in their place
        yield procedure


def _procedure(ear: Ear, section: str, frame: Frame, site: Json) -> Json | None:
    """What was done in an ear; None if nothing was said of it."""
    clearance = ear.after.clearance if ear.after else None
    done = list(_values(ear.procedure, f"{section}.procedure"))
    if not done and not clearance:
        return None
    methods = [(p, v) for p, v in done if ".methods[" in p]
    code: Json = {"text": ", ".join(_words(p, v) for p, v in methods) or "method not said"}
    code |= {"extension": [extensions.of_value(p, v) for p, v in methods]} if methods else {}
    if ear.removed_mm or (ear.before and ear.before.wax):
        code["coding"] = [codes.one("procedure")]
    used = [(p, v) for p, v in done if ".instruments[" in p or ".agents[" in p]
    tolerance = [(p, v) for p, v in done if p.endswith(".tolerance")]
    stopped = any(v.value == "stopped_early" and v.certainty == "stated" for _, v in tolerance)
    cleared = clearance is not None and clearance.value == "complete" and clearance.certainty == "stated"
    parts = {
        "resourceType": "Procedure",
        "status": "stopped" if stopped else "completed" if cleared else "unknown",
        "code": code,
        **frame.about,
        "performedDateTime": frame.when,
        "bodySite": [site],
        "usedCode": [_text(p, v) for p, v in used],
        "note": [{"text": f"Tolerated: {_words(p, v)}", "extension": _behind(p, v)} for p, v in tolerance],
    }
    if clearance:
        path = f"{section}.after.clearance"
        parts["outcome"] = {
            "text": f"Cleared: {_words(path, clearance)}",
            "extension": _behind(path, clearance),
        }
    return {key: part for key, part in parts.items() if part}


def _finding(path: str, value: Value[Any], frame: Frame, *, site: Json | None = None) -> Json:
    field = fields.bare(path)
    label = wording.ALONE.get(field) or wording.FIELDS.get(field) or field
    return frame.observation(
        {"text": label}, _measured(path, value), bodySite=site, extension=_behind(path, value)
    )


def _present(
    path: str,
    value: Value[Any],
    frame: Frame,
    *,
    group: str,
    site: Json | None = None,
    denied: bool = False,
) -> Json:
    """Whether something is there: true, false, or in words if that is doubtful."""
    answer: Json = {"valueBoolean": not denied}
    if value.certainty == "possible":
        answer = {"valueCodeableConcept": {"text": "possibly not" if denied else "possibly"}}
    code = _concept(group, value, plain(value, _field(path)))
    return frame.observation(code, answer, bodySite=site, extension=_behind(path, value))


def _condition(
    path: str, value: Value[Any], frame: Frame, *, group: str, site: Json | None, note: str = ""
) -> Json:
    doubt = {"system": "http://terminology.hl7.org/CodeSystem/condition-ver-status", "code": "unconfirmed"}
    words = plain(value, _field(path))
    text = f"foreign body: {words}" if group == "foreign_body" else words
    parts: Json = {
        "resourceType": "Condition",
        "verificationStatus": {"coding": [doubt], "text": "possible, as dictated"}
        if value.certainty == "possible"
        else None,
        "code": _concept(group, value, text),
        "bodySite": [site] if site else None,
        **frame.about,
        "recordedDate": frame.when,
        "note": [{"text": note}] if note else None,
        "extension": _behind(path, value),
    }
    return {key: part for key, part in parts.items() if part}


def _component(path: str, value: Value[Any]) -> Json:
    field = fields.bare(path)
    label = wording.ALONE.get(field) or wording.PARTS.get(field) or field
    return {"extension": _behind(path, value), "code": {"text": label}, **_measured(path, value)}


def _measured(path: str, value: Value[Any]) -> Json:
    """A value as a quantity or a concept; in words if it is doubtful."""
    field = fields.bare(path)
    if isinstance(value.value, int) and value.certainty == "stated":
        unit = wording.UNITS.get(field) or "days"
        coded = codes.one("units", unit)
        code = {"system": coded["system"], "code": coded["code"]} if coded else {}
        return {"valueQuantity": {"value": value.value, "unit": unit, **code}}
    if value.certainty == "possible":
        return {"valueCodeableConcept": {"text": _words(path, value)}}
    return {"valueCodeableConcept": _concept(field.rpartition(".")[2], value, _words(path, value))}


def _concept(group: str, value: Value[Any], text: str) -> Json:
    coded = codes.codings(group, str(value.value))
    return {"coding": coded, "text": text} if coded else {"text": text}


def _text(path: str, value: Value[Any]) -> Json:
    return {"text": _words(path, value), "extension": _behind(path, value)}


def _behind(path: str, value: Value[Any]) -> list[Json]:
    return [extensions.of_value(path, value)]


def _words(path: str, value: Value[Any]) -> str:
    doubt = "possibly " if value.certainty == "possible" else ""
    return (doubt + plain(value, _field(path))) or "(no words)"


def _field(path: str) -> str:
    """The field in whose words a value is shown."""
    return fields.bare(path).removesuffix(".item").removesuffix(".name")


def _site(side: str, *, certain: bool) -> Json:
    """The ear; the side is coded only if it was said without doubt."""
    if side == "unstated":
        return {"text": "ear, side not said"}
    text = "both ears" if side == "both" else f"{side} ear"
    if not certain:
        return {"text": f"possibly {text}"}
    coding = {"url": extensions.SIDE, "valueCodeableConcept": {"coding": [codes.one("sides", side)]}}
    return {"extension": [coding], "text": text}


def _findings(node: Any, path: str) -> Iterator[tuple[str, Any]]:
    """The values under a part, a layer of wax as one."""
    if isinstance(node, Value | Wax):
        yield path, node
    elif isinstance(node, list):
        for n, item in enumerate(node):
            yield from _findings(item, f"{path}[{n}]")
    elif isinstance(node, BaseModel):
        for name in type(node).model_fields:
            yield from _findings(getattr(node, name), f"{path}.{name}")


def _values(node: Any, path: str) -> Iterator[tuple[str, Value[Any]]]:
    for place, value in _findings(node, path):
        if isinstance(value, Wax):
            for name in type(value).model_fields:
                yield from _values(getattr(value, name), f"{place}.{name}")
        else:
            yield place, value
