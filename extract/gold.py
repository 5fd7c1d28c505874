"""Gold files: dictations with the records they should become, written by people."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import yaml
from pydantic import ValidationError

from shared.errors import BadInput
from shared.record import PlainVisit
from shared.vocabulary import load_yaml

_KEYS = {"id", "text", "visits"}
_FORM = "The form is a list of {id, text, visits}; `earside schema plain` prints the form of a visit."


def load_gold(paths: Iterable[Path | str]) -> list[dict[str, Any]]:
    """The dictations of gold files: YAML lists of {id, text, visits}, the visits in the plain form.

    Raises BadInput, naming file, dictation and field, for anything else, and for an id that is used twice.
    """
    gold: list[dict[str, Any]] = []
    known: dict[str, str] = {}
    for path in paths:
        for number, one in enumerate(_yaml_list(Path(path)), 1):
            where = f"{path}, dictation {number}"
            if not isinstance(one, dict) or set(one) != _KEYS:
                raise BadInput(
                    "a dictation needs id, text and visits, and nothing else", where=where, remedy=_FORM
                )
            name = one["id"] = str(one["id"])
            where = f"{path}, {name}"
            if name in known:
                raise BadInput(
                    f"the id is used in {known[name]} already", where=where, remedy="Give it another."
                )
            known[name] = str(path)
            if not isinstance(one["text"], str) or not one["text"].strip():
                raise BadInput("the text has no words", where=where, remedy=_FORM)
            one["visits"] = list(_visits(one["visits"], where))
            gold.append(one)
    return gold


def _yaml_list(path: Path) -> list[Any]:
    try:
        found = load_yaml(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as fault:
        what = f"cannot be read ({getattr(fault, 'strerror', None) or 'not UTF-8 text'})"
        raise BadInput(what, where=str(path), remedy="Give a YAML file.") from fault
    except yaml.YAMLError as fault:
        mark = getattr(fault, "problem_mark", None)
        line = f", line {mark.line + 1}" if mark else ""
        raise BadInput("not valid YAML", where=f"{path}{line}", remedy="Check indents and colons.") from fault
    if not isinstance(found, list) or not found:
        raise BadInput("holds no list of dictations", where=str(path), remedy=_FORM)
    return found


def _visits(given: Any, where: str) -> Iterator[dict[str, Any]]:
    """The visits, checked; an empty list stands for a dictation with nothing to record."""
    if not isinstance(given, list):
        raise BadInput("visits is no list", where=where, remedy=_FORM)
    for number, visit in enumerate(given, 1):
        try:
            yield PlainVisit.model_validate(visit).model_dump(exclude_none=True)
        except ValidationError as fault:
            first = fault.errors()[0]
            place = ".".join(str(part) for part in first["loc"] if not _is_type(part))
            raise BadInput(
                f"{place or 'visit'}: {first['msg']}, not {first['input']!r:.40}",
                where=f"{where}, visit {number}",
                remedy=_FORM,
            ) from fault


def _is_type(part: int | str) -> bool:
    return isinstance(part, str) and not part.isidentifier()
