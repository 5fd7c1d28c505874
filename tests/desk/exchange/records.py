"""Visits at random: every field, every value, from the model itself."""

from __future__ import annotations

import random
import types
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from hypothesis import strategies as st
from pydantic import BaseModel

from shared.record import Value, Visit
from shared.store import Entry, StoredVisit

TEXTS = (
    "", " ", "plain words", "=1+1", "+A1", "-2", "@SUM", "\tx", "a\x1b[31mb", "a\x00b", "<b>&\"'</b>", "\u202eabc",
    "žluť", "مرحبا", "a;b\r\nc,d", "\ufffe", "😀", "x" * 300,
)  # fmt: skip
INTEGERS = (-2, 0, 1, 18, 40, 120, 2**31, 2**40)


def of(annotation: Any, chance: random.Random) -> Any:
    """Something of a type at random."""
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return of(inner[0], chance)
    if origin in (Union, types.UnionType):
        given = [a for a in inner if a is not type(None)]
        return None if len(given) < len(inner) and chance.random() < 0.4 else of(chance.choice(given), chance)
    if origin is list:
        return [of(inner[0], chance) for _ in range(chance.choice((0, 0, 1, 1, 2)))]
    if origin is Literal:
        return chance.choice(inner)
    if origin is tuple:
        return tuple(of(a, chance) for a in inner)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        parts = {name: of(field.annotation, chance) for name, field in annotation.model_fields.items()}
        if issubclass(annotation, Value) and parts["origin"] != "entered":
            parts |= {"heard": chance.choice(TEXTS), "chars": (chance.randrange(99), chance.randrange(9999))}
        if "confidence" in parts:
            parts["confidence"] = chance.random()
        return annotation(**parts)
    simple = {
        str: TEXTS,
        int: INTEGERS,
        float: (0.0, 60.0, 1e-7, 0.1 + 0.2, 98_765.4321),
        bool: (True, False),
    }
    return chance.choice(simple[annotation])


VISITS: st.SearchStrategy[Visit] = st.integers(0, 2**32).map(lambda seed: of(Visit, random.Random(seed)))


def without_empty(visit: Visit) -> dict[str, Any]:
    """The full form without parts that hold nothing, which say nothing."""

    def lean(node: Any) -> Any:
        if isinstance(node, dict):
            parts = {key: lean(inner) for key, inner in node.items()}
            return {key: inner for key, inner in parts.items() if inner not in (None, {}, [])}
        return [lean(inner) for inner in node] if isinstance(node, list) else node

    kept = lean(visit.model_dump(mode="json"))
    assert isinstance(kept, dict)
    return kept | {"taken_out": visit.model_dump(mode="json")["taken_out"]}


def kept(visit: Visit, status: Any = "draft", **more: Any) -> StoredVisit:
    """A visit as the store has it."""
    about: dict[str, Any] = {
        "id": 12, "recording": "monday.wav", "recording_id": 1, "ordinal": 1, "added": "2026-03-02T10:00:00.000Z",
        "revision": 1, "transcript": 1, "when": "2026-03-02T09:30:00.000Z", "when_from": "metadata",
        "clinician": "Ann Example",
    }  # fmt: skip
    return StoredVisit(**{**about, "status": status, "visit": visit, **more})


def act(kind: str, number: int, why: str = "") -> Entry:
    """An entry of the history by Ann Example."""
    return Entry(number, 12, kind, "Ann Example", f"2026-03-02T11:0{number}:00.000Z", kind, why)


HISTORIES = {
    "draft": [act("read", 0)],
    "signed": [act("read", 0), act("sign", 1)],
    "amending": [act("read", 0), act("sign", 1), act("amend", 2, "a wrong length")],
    "amended": [act("read", 0), act("sign", 1), act("amend", 2, "a wrong length"), act("sign", 3)],
}
