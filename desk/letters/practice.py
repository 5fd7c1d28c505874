"""What the practice says of itself on its papers: `practice.yaml` in the data folder."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from shared.errors import BadInput

FILE = "practice.yaml"
_LARGEST = 100_000  # characters; a page of advice has some 3,000


class Practice(BaseModel):
    """The practice. advice: its own text for patients, paragraphs with an empty line between. paper: its size."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)

    name: str = Field(default="", max_length=200)
    address: list[str] = Field(default_factory=list, max_length=8)
    phone: str = Field(default="", max_length=60)
    paper: Literal["A4", "Letter"] = "A4"
    advice: str = Field(default="", max_length=20_000)


def practice(data: Path) -> Practice:
    """What stands in the data folder; a practice without a name if nothing does. Raises BadInput, which names
    the entry that is wrong."""
    place = data / FILE
    try:
        text = place.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return Practice()
    except (OSError, UnicodeDecodeError) as fault:
        raise BadInput(
            "cannot be read as UTF-8 text", where=str(place), remedy="Save it as UTF-8."
        ) from fault
    known = ", ".join(Practice.model_fields)
    try:
        if len(text) > _LARGEST:
            raise BadInput("is too long", where=str(place), remedy="Keep it under 100,000 characters.")
        return Practice.model_validate(yaml.safe_load(text) or {})
    except yaml.YAMLError as fault:
        mark = getattr(fault, "problem_mark", None)
        line = f", line {mark.line + 1}" if mark else ""
        raise BadInput(
            f"is not YAML{line}", where=str(place), remedy="Mend that line; see docs/letters.md."
        ) from fault
    except (ValidationError, RecursionError) as fault:
        first = fault.errors()[0] if isinstance(fault, ValidationError) else {"loc": (), "msg": "is too deep"}
        entry = ".".join(map(str, first["loc"])) or "the whole"
        raise BadInput(
            f"{entry}: {first['msg']}", where=str(place), remedy=f"It may have: {known}. See docs/letters.md."
        ) from fault
