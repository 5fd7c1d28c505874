"""A visit record as a sheet for people: what to check first, then each ear, background and plan."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from desk import wording
from desk.checks import Check, checks
from desk.lines import clean, sections
from shared.record import Notice, Value, Visit


def visit_sheet(visit: Visit, *, title: str, status: str, signed: Iterable[str] = ()) -> RenderableType:
    """The whole sheet. title: which visit this is. status: as the store has it. signed: its signatures."""
    state = [wording.STATES[status], *(clean(line) for line in signed)]
    parts: list[RenderableType] = [Text(clean(title), "bold"), *map(Text, state), Text()]
    if found := checks(visit):
        parts += [Text("Check first", "bold"), Text(wording.DEFER, "dim"), _checks(found), Text()]
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, expand=False, show_edge=False)
    table.add_column("", no_wrap=True)
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


def _checks(found: list[Check]) -> Table:
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(justify="right", no_wrap=True)
    table.add_column(overflow="fold")
    table.add_column(justify="right", no_wrap=True)
    for n, check in enumerate(found, 1):
        message, words = Text(check.message), quote(check.about)
        if words and words.plain not in check.message:
            message.append(f" {words.plain}")
        message.append(f"\n{check.guidance}" if check.guidance else "", "dim")
        table.add_row(f"{n}.", message, time(check.about))
    return table
