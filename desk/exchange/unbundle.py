"""A FHIR document that Earside wrote, read back to the very record it was made from."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from desk.exchange import extensions
from shared.errors import BadInput
from shared.record import Visit

_STEP = re.compile(r"([a-z_]+)|\[(\d+)\]")


def read(path: Path) -> Visit:
    """The record in a file with one Bundle. Raises BadInput if it has none of ours, or was changed."""
    try:
        bundle = json.loads(path.read_text(encoding="utf-8"))
    except OSError as fault:
        raise BadInput(
            f"cannot be read ({fault.strerror})", where=str(path), remedy="Check its name and folder."
        ) from fault
    except (ValueError, RecursionError) as fault:
        raise BadInput(
            "this is no JSON file that can be read",
            where=str(path),
            remedy="Give a Bundle written by: earside export fhir",
        ) from fault
    return record(bundle, where=str(path))


def record(bundle: Any, *, where: str = "bundle") -> Visit:
    """The record in a Bundle. where: what it is called in a message. Parts that hold nothing do not come back."""
    try:
        if bundle["resourceType"] != "Bundle" or bundle["type"] != "document":
            raise ValueError("no document")
        if "Earside" not in extensions.every(bundle["entry"], "name"):
            raise ValueError("not one of ours")
        values = list(extensions.found(bundle, extensions.VALUE))
        parts: dict[str, Any] = {}
        for value in values:
            _place(parts, value.pop("path"), value)
        whole = _listed(parts)
        taken = list(extensions.found(bundle, extensions.TAKEN_OUT))
        extent = list(extensions.found(bundle, extensions.EXTENT))
        notices = list(extensions.found(bundle, extensions.NOTICE))
        if taken:
            whole["taken_out"] = [row for row in taken if row != extensions.NONE]
        whole |= {"notices": notices, "extent": extent[0] if extent else None}
        return Visit.model_validate(whole)
    except (LookupError, ValueError, TypeError, AttributeError, RecursionError, ValidationError) as fault:
        raise BadInput(
            "it holds no record that Earside wrote, or was changed since",
            where=where,
            remedy="Give a Bundle written by: earside export fhir",
        ) from fault


def _place(parts: dict[str, Any], path: str, value: Any) -> None:
    """Put a value at its path; places in lists are numbers until all are there."""
    steps: list[Any] = [name or int(number) for name, number in _STEP.findall(path)]
    for step in steps[:-1]:
        parts = parts.setdefault(step, {})
    parts[steps[-1]] = value


def _listed(node: Any) -> Any:
    if not isinstance(node, dict):
        return node
    if node and all(isinstance(key, int) for key in node):
        return [_listed(node[key]) for key in sorted(node)]
    return {key: _listed(inner) for key, inner in node.items()}
