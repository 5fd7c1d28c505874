"""What the commands that hand records on do."""

from __future__ import annotations

import codecs
import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import click
from rich import box
from rich.table import Table

from desk import listing, saving, wording
from desk.exchange import bundle, over_time, tables, unbundle
from desk.exchange.over_time import Aspect, Seen
from desk.exchange.selection import Selection, chosen
from desk.lines import clean
from desk.shell import say
from shared.errors import BadInput
from shared.record import Visit
from shared.store import Store, data_folder

_ENDINGS = (".csv", ".jsonl", ".xlsx")


def days(since: datetime | None, until: datetime | None) -> tuple[datetime | None, datetime | None]:
    """The days asked for, as they begin and end here. Raises BadInput if they are the wrong way round."""
    if since and until and since > until:
        raise BadInput(
            "it ends before it begins", where="--since, --until", remedy="Turn the two dates round."
        )
    ending = (until + timedelta(days=1)).astimezone() if until else None
    return (since.astimezone() if since else None), ending


def export(what: str, asked: Selection, *, to: Path | None, data: Path | None, as_json: bool) -> None:
    """Write a table or FHIR documents of the visits asked for."""
    with Store(data or data_folder()) as store:
        if what == "fhir":
            count = _fhir(store, asked, to)
        else:
            count = 0
            with _writer(what, to, as_json=as_json) as writer:
                for count, cells in enumerate(tables.rows(what, chosen(store, asked)), 1):  # noqa: B007
                    writer.row(cells)
    if not count:
        say("No such visit.")
    elif to:
        say(
            f"{to}: {count} {'documents' if what == 'fhir' else 'rows'}. They hold patients' data: keep them safe."
        )


def _fhir(store: Store, asked: Selection, folder: Path | None) -> int:
    count = 0
    for visit in chosen(store, asked):
        text = json.dumps(bundle.document(visit.stored, visit.entries), allow_nan=False)
        if folder:
            with saving.whole(folder / f"visit-{visit.stored.id}.json") as place:
                place.write_text(text + "\n", encoding="utf-8")
        else:
            click.echo(text)
        count += 1
    return count


@contextmanager
def _writer(table: str, to: Path | None, *, as_json: bool) -> Iterator[tables.Writer]:
    names = tables.columns(table)
    if to is None:
        yield _text(codecs.getwriter("utf-8")(sys.stdout.buffer), names, as_json=as_json)
        return
    ending = to.suffix.lower()
    if ending not in _ENDINGS:
        raise BadInput(
            "this ending is not known", where=str(to), remedy="Let the name end in .csv, .jsonl or .xlsx."
        )
    with saving.whole(to) as place:
        if ending == ".xlsx":
            book = tables.Workbook(place, table, names)
            yield book
            book.close()
            return
        # Spreadsheets take a CSV file for UTF-8 only if it says so at its start.
        encoding = "utf-8-sig" if ending == ".csv" else "utf-8"
        with place.open("w", encoding=encoding, newline="") as file:
            yield _text(file, names, as_json=ending == ".jsonl")


def _text(file: tables.Sink, names: list[str], *, as_json: bool) -> tables.Writer:
    return tables.JsonLines(file) if as_json else tables.Csv(file, names)


def read(file: Path, *, full: bool) -> None:
    """Print the record in a FHIR document."""
    visit: Visit = unbundle.read(file)
    click.echo(json.dumps(visit.model_dump(mode="json", exclude_none=True) if full else visit.plain()))


def patient(reference: str, *, data: Path | None) -> None:
    """Print all visits of a reference, side by side for each ear."""
    with Store(data or data_folder()) as store:
        found = over_time.of(store, reference)
    console = listing.console(width=120)
    if not found.visits:
        say(f"No visit has the reference {clean(reference)}. See: earside list")
    for ear in found.ears:
        console.print(_table(wording.EARS[ear.side], ear.visits, ear.aspects))
    if found.rest:
        console.print(_table("The visit", found.visits, found.rest))
    if found.without:
        say(
            f"{found.without} {'visit has' if found.without == 1 else 'visits have'} no reference and cannot be here."
        )


def _table(title: str, visits: tuple[Seen, ...], aspects: tuple[Aspect, ...]) -> Table:
    table = Table(title=title, title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("")
    for seen in visits:
        table.add_column(
            f"{seen.stored.when[:10]}, visit {seen.stored.id}\n{seen.standing.state}\n{clean(seen.standing.made)}",
            overflow="fold",
        )
    for aspect in aspects:
        table.add_row(aspect.heading, *("\n".join(cell) or over_time.NOT_SAID for cell in aspect.cells))
    return table
