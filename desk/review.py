"""What a person can do to a visit record: accept, correct, remove, add, give sides, decide notices.

Each function takes a visit and returns a `Change`: the new visit, and in a plain sentence what was done.
Nothing is changed in place, nothing is kept here; notices are found afresh by `rereading`.
A path that names nothing, or a value that its field does not take, raises BadInput naming the field and
what it takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError

from desk import steps, typed
from desk.address import KEYS, Place, look_up, place
from desk.lines import clean
from shared.errors import BadInput
from shared.record import Ear, Recall, TakenOut, Visit
from shared.store import Change
from shared.transcript import Transcript

Words = tuple[int, int]
"""Characters [start, end) of the transcript, chosen as the evidence of a value."""

_SHORTEST_REASON = 3


def accept(visit: Visit, path: str, who: str) -> Change:
    """Confirm a value, or all values of a part ("ears[0]"), or of the whole visit (""): they were looked at
    and are right. A side that was not said cannot be confirmed, only given."""
    data = as_data(visit)
    at = place(path) if path else None
    node = look_up(data, path, at.steps) if at else data
    todo = [v for v in _values(node) if not v.get("confirmed_by") and v["value"] != "unstated"]
    if not todo:
        raise BadInput("there is nothing left to accept here", where=path or "visit")
    for value in todo:
        value["confirmed_by"] = who
    what = (
        f"accepted {steps.named(visit, at)}: {steps.said(todo)}"
        if at
        else f"accepted the whole record ({len(todo)} values)"
    )
    return Change("accept", what, made(data))


def correct(
    visit: Visit,
    path: str,
    given: str | int,
    who: str,
    *,
    words: Words | None = None,
    transcript: Transcript | None = None,
) -> Change:
    """Put another value in place of one; a trailing "?" makes it possible rather than stated.

    The words behind it stay, unless others are chosen.
    """
    data, at = as_data(visit), place(path)
    if at.part is not None:
        raise BadInput("is not a single value", where=path, remedy="Name one of the values in it.")
    if at.in_ear == "side" and at.ear is not None:
        _refuse_second(data, at.ear, str(given))
    old = look_up(data, path, at.steps)
    if not isinstance(old, dict):
        raise BadInput("names several values", where=path, remedy=f"Say which, e.g. {path}[0].")
    value, certainty = typed.value(at, given)
    if (value, certainty) == (old["value"], old["certainty"]):
        raise BadInput(
            f"it is {steps.shown_value(at, value)} already", where=path, remedy="To confirm it, accept it."
        )
    if at.listed and at.takes is str:
        _refuse_repeated(look_up(data, path, at.steps[:-1]), value, at, but=old)
    if _is_key(at) and isinstance(at.steps[-2], int) and at.field != "ears.side":
        part = place(path.rpartition(".")[0])
        _refuse_repeated(
            look_up(data, path, at.steps[:-2]), value, part, but=look_up(data, path, at.steps[:-1])
        )
        _rename(data, at, str(old["value"]), str(value))
    before = dict(old)
    _take_out(data, at, before, who)
    _replace(old, value, certainty, _evidence(words, transcript) if words else None)
    shown = f"{steps.shown_value(at, before['value'], before['certainty'])} → {steps.shown_value(at, value, certainty)}"
    edit = steps.edit(visit, at, before, value, str(before.get("heard") or "") or None)
    return Change("correct", f"corrected {steps.named(visit, at)}: {shown}", made(data), (edit,))


def remove(visit: Visit, path: str, who: str) -> Change:
    """Take out a value, or a part with all its values. A value that its part is known by (the layer of wax,
    the name of an instrument, an ear's side) takes the part with it."""
    data, at = as_data(visit), place(path)
    look_up(data, path, at.steps)
    if at.listed and not at.numbered:
        raise BadInput("names several values", where=path, remedy=f"Say which, e.g. {path}[0].")
    if _is_key(at):
        at = place(path.rpartition(".")[0])
    node = look_up(data, path, at.steps)
    gone = list(_values(node))
    edits = []
    for place_of, value in _placed(at, node):
        if at.field != "ears":
            _take_out(data, place_of, value, who)
        edits.append(steps.edit(visit, place_of, value, None, value.get("heard")))
    if at.field == "ears":
        _take_out_ear(data, at, node, who)
    parent: Any = look_up(data, path, at.steps[:-1]) if len(at.steps) > 1 else data
    del parent[at.steps[-1]]
    what = f"took out {steps.named(visit, at)}" + (f": {steps.said(gone)}" if gone else "")
    return Change("remove", what, made(data), tuple(edits))


def add(
    visit: Visit,
    path: str,
    given: str | int,
    who: str,
    *,
    words: Words | None = None,
    transcript: Transcript | None = None,
) -> Change:
    """Put in a value that is missing. path: a list ("ears[0].before.drum"), a field with nothing in it yet
    ("ears[0].after.clearance"), or a list of parts, to which one is added by the value it is known by
    ("ears" by its side, "ears[0].before.wax" by its layer, "plan.recall" by "6 months").

    words: characters of the transcript that show it, if there are any.
    """
    data, at = as_data(visit), place(path)
    if at.numbered:
        raise BadInput(
            "names a value that is there", where=path, remedy=f"To add one: {path.rpartition('[')[0]}."
        )
    evidence = _evidence(words, transcript) if words else {}
    parent = _open(data, at)
    name = str(at.steps[-1])
    if at.part is Recall:
        number, unit = _interval(str(given), path)
        held: Any = {
            "number": _entered(number, "stated", evidence),
            "unit": _entered(unit, "stated", evidence),
        }
        shown, value = f"{number} {unit}", str(given)
    else:
        key = place(_key_path(at)) if at.part is not None else at
        if at.part is Ear:
            _refuse_second(data, None, str(given))
        value, certainty = typed.value(key, given)  # type: ignore[assignment]
        entered = _entered(value, certainty, evidence)
        held = {KEYS[at.part]: entered} if at.part is not None else entered
        shown = steps.shown_value(key, value, certainty)
        if at.listed and key.takes is str:
            _refuse_repeated(parent.get(name, []), value, at)
    if at.listed:
        parent.setdefault(name, []).append(held)
    elif name in parent:
        raise BadInput("there is a value already", where=path, remedy="Correct it instead.")
    else:
        parent[name] = held
    edit = steps.edit(visit, at, None, value, evidence.get("heard"))
    return Change("add", f"added {steps.named(visit, at)}: {shown}", made(data), (edit,))


def set_side(visit: Visit, ear: int, side: str, who: str) -> Change:
    """Say which ear this one (0 for the first) is: right or left."""
    return correct(visit, f"ears[{ear}].side", side, who)


def swap_ears(visit: Visit, who: str) -> Change:
    """Exchange the sides of the two ears. Sides that were said of symptoms or history stay."""
    if len(visit.ears) != 2:
        raise BadInput(
            f"there are {len(visit.ears)} ears, not two", where="ears", remedy="Set the side instead."
        )
    data = as_data(visit)
    first, second = (ear["side"] for ear in data["ears"])
    was = first["value"], second["value"]
    if was[0] == was[1]:
        raise BadInput("both ears have the same side", where="ears", remedy="Set the side of each.")
    edits = [steps.edit(visit, place(f"ears[{i}].side"), {"value": was[i]}, was[1 - i], None) for i in (0, 1)]
    for value, new in ((first, was[1]), (second, was[0])):
        _replace(value, new, "stated", None)
    return Change(
        "swap", f"swapped the ears: {was[0]}, {was[1]} → {was[1]}, {was[0]}", made(data), tuple(edits)
    )


def decide(visit: Visit, number: int, decision: str, who: str, *, reason: str = "") -> Change:
    """Decide a notice of `visit.notices` (0 for the first): "seen" if it holds and is borne in mind,
    "dismissed" if it does not. One that must be decided before signing needs a reason."""
    data, reason = as_data(visit), clean(reason)
    if not 0 <= number < len(visit.notices):
        raise BadInput(f"there is no notice {number}", where="notices", remedy="Open the visit again.")
    if decision not in ("seen", "dismissed"):
        raise BadInput(f"{decision!r} is no decision", where="notices", remedy="It can be: seen, dismissed.")
    notice = visit.notices[number]
    if notice.must_decide and len(reason) < _SHORTEST_REASON:
        raise BadInput(
            "this must be decided before signing, so it needs a reason",
            where=f"notices[{number}]",
            remedy="Give the reason in a few words, or correct the record.",
        )
    data["notices"][number]["decision"] = {"by": who, "what": decision, "reason": reason}
    what = f"{decision}: {clean(notice.message)}" + (f" Reason: {reason}" if reason else "")
    return Change("decide", what, made(data))


# --- the record as JSON


def as_data(visit: Visit) -> dict[str, Any]:
    """The record as JSON, to be changed."""
    return visit.model_dump(mode="json", exclude_none=True)


def made(data: dict[str, Any]) -> Visit:
    """The visit of a record as JSON, without parts that hold nothing. Raises BadInput if it is no record."""
    for part in ("background", "outcome", "plan"):
        _prune(data, part)
    for ear in data.get("ears", ()):
        for part in ("before", "procedure", "after"):
            _prune(ear, part)
    try:
        return Visit.model_validate(data)
    except ValidationError as fault:
        first = fault.errors()[0]
        where = ".".join(str(step) for step in first["loc"])
        raise BadInput(f"the record would not hold ({first['msg']})", where=where) from fault


def _prune(node: dict[str, Any], name: str) -> None:
    """Drop a part in which nothing is left."""
    part = node.get(name)
    if not isinstance(part, dict):
        return
    _prune(part, "softener")
    if not any(part.values()):
        del node[name]


def _values(node: Any) -> Sequence[dict[str, Any]]:
    """Every value in a part of the record."""
    if isinstance(node, dict):
        if "value" in node and "certainty" in node:
            return [node]
        return [v for k, x in node.items() if k not in ("extent", "notices", "taken_out") for v in _values(x)]
    return [v for x in node for v in _values(x)] if isinstance(node, list) else []


def _placed(at: Place, node: Any) -> Sequence[tuple[Place, dict[str, Any]]]:
    """Every value in a part of the record, with its place."""

    def walk(path: str, node: Any) -> Sequence[tuple[Place, dict[str, Any]]]:
        if isinstance(node, dict):
            if "value" in node and "certainty" in node:
                return [(place(path), node)]
            return [found for key, x in node.items() for found in walk(f"{path}.{key}", x)]
        return [found for i, x in enumerate(node) for found in walk(f"{path}[{i}]", x)]

    return walk(at.path, node)


def _is_key(at: Place) -> bool:
    """Whether a part cannot be without this value."""
    above, _, name = at.path.rpartition(".")
    part = place(above).part if above else None
    return part is Recall or (part is not None and KEYS.get(part) == name)


def _key_path(at: Place) -> str:
    if at.part not in KEYS:
        raise BadInput("is a part, not a value", where=at.path, remedy="Name a field in it.")
    return f"{at.path}{'[0]' if at.listed else ''}.{KEYS[at.part]}"


def _open(data: dict[str, Any], at: Place) -> dict[str, Any]:
    """The part in which a value is to be added; parts above it are made, numbered ones must be there."""
    node: Any = data
    for step, following in zip(at.steps[:-1], at.steps[1:], strict=True):
        if isinstance(step, int):
            if step >= len(node):
                raise BadInput("nothing is recorded there", where=at.path, remedy="Open the visit again.")
            node = node[step]
        else:
            node = node.setdefault(step, [] if isinstance(following, int) else {})
    if not isinstance(node, dict):
        raise BadInput("nothing is recorded there", where=at.path, remedy="Open the visit again.")
    part = place(".".join(at.path.split(".")[:-1])).part if "." in at.path else None
    if part in KEYS and KEYS[part] not in node:
        raise BadInput("its part is not there yet", where=at.path, remedy=f"Add {KEYS[part]!r} first.")
    return node


def _rename(data: dict[str, Any], at: Place, old: str, new: str) -> None:
    """What was taken out of a part stays out when the part is called otherwise."""
    part = at.in_ear.rpartition(".")[0]
    for note in data.get("taken_out", ()):
        if note.get("of") == old and note.get("ear") == at.ear and note["field"].startswith(f"{part}."):
            note["of"] = new


def _refuse_repeated(held: list[Any], value: str | int, at: Place, but: Any = None) -> None:
    key = KEYS.get(at.part) if at.part else None
    for item in held:
        if item is not but and (item[key] if key else item)["value"] == value:
            raise BadInput(f"{steps.shown_value(at, value)} is there already", where=at.path)


def _refuse_second(data: dict[str, Any], ear: int | None, side: str) -> None:
    """Refuse to call two ears by one side."""
    others = [e["side"]["value"] for i, e in enumerate(data.get("ears", ())) if i != ear]
    if side.strip().lower() in ("right", "left") and side.strip().lower() in others:
        raise BadInput(
            f"there is a {side.strip().lower()} ear already",
            where="ears" if ear is None else f"ears[{ear}].side",
            remedy="Swap the ears, or set the other one's side first.",
        )


def _interval(text: str, path: str) -> tuple[int, str]:
    words = text.lower().replace("-", " ").split()
    if len(words) != 2:
        raise BadInput(
            f"{text!r} is not a time", where=path, remedy="Type a number and days, weeks, months or years."
        )
    unit = words[1] if words[1].endswith("s") else f"{words[1]}s"
    number, _ = typed.value(place(f"{path}.number"), words[0])
    return int(number), str(typed.value(place(f"{path}.unit"), unit)[0])


def _entered(value: str | int, certainty: str, evidence: dict[str, Any]) -> dict[str, Any]:
    return {"value": value, "certainty": certainty, "origin": "entered", "confidence": 1.0, **evidence}


def _replace(old: dict[str, Any], value: str | int, certainty: str, evidence: dict[str, Any] | None) -> None:
    if evidence is None:
        evidence = {key: old[key] for key in ("heard", "chars", "seconds") if key in old}
    old.clear()
    old.update(_entered(value, certainty, evidence))


def _evidence(words: Words, transcript: Transcript | None) -> dict[str, Any]:
    text = transcript.text if transcript else ""
    start, end = words
    if transcript is None or not 0 <= start < end <= len(text) or not text[start:end].strip():
        raise BadInput("these are no words of the transcript", where=f"characters {start} to {end}")
    found = {"heard": text[start:end], "chars": [start, end]}
    seconds = transcript.seconds(start, end)
    return found | ({"seconds": list(seconds)} if seconds else {})


def _take_out(data: dict[str, Any], at: Place, value: dict[str, Any], who: str) -> None:
    """Note that a value was taken out, so that a new reading does not bring it back. What a person had
    entered, no reading brings."""
    if value["origin"] == "entered" or value["value"] == "unstated":
        return
    of = _of(data, at)
    note = TakenOut(field=at.in_ear, value=value["value"], by=who, ear=at.ear, of=of, heard=value.get("heard"),
                    chars=value.get("chars"))  # fmt: skip
    data.setdefault("taken_out", []).append(note.model_dump(mode="json", exclude_none=True))


def _of(data: dict[str, Any], at: Place) -> str | None:
    """What the part that a value stands in is known by."""
    for length in range(len(at.steps) - 1, 0, -1):
        above = at.steps[:length]
        node = look_up(data, at.path, above)
        for key in ("where", "name", "item", "to"):
            if isinstance(node, dict) and key in node and at.steps[length] != key:
                return str(node[key]["value"])
    return None


def _take_out_ear(data: dict[str, Any], at: Place, ear: dict[str, Any], who: str) -> None:
    number = at.steps[1]
    assert isinstance(number, int)
    notes = [n for n in data.get("taken_out", ()) if n.get("ear") != number]
    for note in notes:
        if note.get("ear", -1) > number:
            note["ear"] -= 1
    chars = [tuple(v["chars"]) for v in _values(ear) if v.get("chars")]
    side = ear["side"]
    note = TakenOut(field="ears", value=side["value"], by=who, heard=side.get("heard"),
                    chars=(min(c[0] for c in chars), max(c[1] for c in chars)) if chars else None)  # fmt: skip
    data["taken_out"] = [*notes, note.model_dump(mode="json", exclude_none=True)]
