"""A text with every phrase marked: [what was recorded from it], {why it was not recorded}."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from desk import wording
from desk.lines import clean, text
from extract.explain import Entry, Explained

LEGEND = "[ ] recorded, { } mentioned but not recorded."
_NOT_RECORDED = "not recorded: "


def explained(found: Sequence[Explained]) -> RenderableType:
    """The marked text, and a table of its phrases with the rule that took each."""
    several = max((e.visit for x in found for e in x.entries), default=1) > 1
    marked = Text()
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in ("Words", "Became", "Rule"):
        table.add_column(heading, overflow="fold")
    for part in found:
        words = _printable(part.text)
        if part.sort == "other":
            marked.append(words)
            continue
        became = label(part, several=several)
        recorded = part.sort == "recorded"
        marked.append(words, "bold" if recorded else "dim")
        marked.append(f" [{became}]" if recorded else f" {{{became}}}", "green" if recorded else "dim")
        table.add_row(clean(part.text), became, clean(part.rule))
    parts: list[RenderableType] = [marked, Text(), Text(LEGEND, "dim")]
    return Group(*parts, Text(), table) if table.row_count else Group(*parts)


def label(part: Explained, *, several: bool = False) -> str:
    """What a phrase became, in words. several: whether there are visits to tell apart."""
    if part.sort == "mentioned":
        return _NOT_RECORDED + clean(part.reason)
    return "; ".join(dict.fromkeys(_entry(e, several) for e in part.entries))


def as_data(found: Sequence[Explained]) -> list[dict[str, Any]]:
    """The stretches as plain data, for JSON."""
    out = []
    for part in found:
        entries = [
            {"visit": e.visit, "path": e.path, "side": e.side}
            | e.value.model_dump(exclude={"heard", "chars"})
            for e in part.entries
        ]
        rest = {k: v for k, v in dataclasses.asdict(part).items() if k != "entries" and v}
        out.append(rest | ({"entries": entries} if entries else {}))
    return out


def _entry(entry: Entry, several: bool) -> str:
    field = entry.field.removeprefix("ears.")
    heading = field.split(".")[0]
    about = [f"visit {entry.visit}"] if several else []
    if entry.side and field != "side":
        about.append(wording.EARS[entry.side].lower())
    if heading in ("before", "after"):
        about.append(wording.SECTIONS[heading].lower())
    about.append(_name(field))
    return f"{', '.join(about)}: {text(entry.value, field)}"


def _name(field: str) -> str:
    """The name of a field, or of the nearest part of the record around it that has one."""
    own = field.rsplit(".", 1)[-1]
    if own == "side":
        return own
    while field and field not in wording.FIELDS:
        field = field.rpartition(".")[0]
    name = wording.FIELDS.get(field, own.replace("_", " "))
    return name[:1].lower() + name[1:]


def _printable(words: str) -> str:
    """Words without anything a terminal would obey; line breaks stay."""
    return "".join(c if c.isprintable() or c == "\n" else " " for c in words)
