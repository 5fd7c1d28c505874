"""Lists of visits and of search results, for people or as JSON lines."""

from __future__ import annotations

import dataclasses
import json
import sys
from collections.abc import Sequence
from typing import Any

import click
from rich import box
from rich.console import Console
from rich.table import Table

from desk import wording
from desk.lines import clean
from shared.store import Entry, Hit, Signature, StoredVisit, VisitRow


def console(*, width: int) -> Console:
    """Standard output: in colour only on a terminal, and never when NO_COLOR is set.

    width: characters a line where there is no terminal to ask.
    """
    wide = None if sys.stdout.isatty() else width
    return Console(highlight=False, markup=False, emoji=False, width=wide)


def title(stored: StoredVisit) -> str:
    """One line that says which visit this is."""
    return f"Visit {stored.id}: {stored.recording}, patient {stored.ordinal}, read {_day(stored.added)} UTC"


_READ = "Read (UTC)"


def _day(at: str) -> str:
    """A stored time of day, without its seconds."""
    return f"{at[:10]} {at[11:16]}"


def visits(found: Sequence[VisitRow]) -> Table:
    """A table of visits."""
    patients = any(row.patient_reference for row in found)  # room is scarce on a narrow terminal
    table = _table("Visit", _READ, "Recording", *["Patient"] * patients, "Ears", "To check", "State")
    for row in found:
        ears = ", ".join(wording.EARS[ear].removesuffix(" ear") for ear in row.ears)
        to_check = str(row.to_check or "") + (f", {row.to_decide} to decide" if row.to_decide else "")
        source = f"{row.recording} ({row.ordinal})"
        patient = [row.patient_reference or ""] * patients
        cells = (str(row.id), _day(row.added), source, *patient, ears, to_check, row.status)
        table.add_row(*map(clean, cells))
    return table


def entries(found: Sequence[Entry]) -> Table:
    """A table of a visit's history; what was taken back later says so."""
    table = _table("No.", "When (UTC)", "Who", "What")
    for entry in found:
        what = (
            entry.what
            + (f" Reason: {entry.why}" if entry.why else "")
            + (" (taken back)" if entry.undone else "")
        )
        table.add_row(*map(clean, (str(entry.number), _day(entry.at), entry.who, what)))
    return table


def signed(signature: Signature) -> str:
    """One line that says who signed when, and why if it took a reason."""
    amended = f", amended: {signature.amendment}" if signature.amendment else ""
    reason = f", with things undecided: {signature.reason}" if signature.reason else ""
    return f"signed by {signature.who}, {signature.role}, {_day(signature.at)} UTC{amended}{reason}"


def hits(found: Sequence[Hit]) -> Table:
    """A table of search results; the words found stand in [ ]."""
    table = _table("Visits", _READ, "Recording", "Words")
    for hit in found:
        numbers = ", ".join(map(str, hit.visits))
        table.add_row(*map(clean, (numbers, _day(hit.added), hit.recording, hit.around)))
    return table


def show(table: Table, found: Sequence[Any], *, as_json: bool) -> None:
    """Print the table, or the rows behind it as JSON lines."""
    if as_json:
        for row in found:
            click.echo(json.dumps(dataclasses.asdict(row)))
    elif found:
        console(width=1000).print(table)  # in a pipe one row is one line


def _table(*headings: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in headings:
        table.add_column(heading, overflow="fold")
    return table
