"""For those who check Earside: how well it reads, why it recorded what it did, what a clinic adds to it."""

from __future__ import annotations

import json
import os
from pathlib import Path

import click
from rich import box
from rich.table import Table

from desk import listing, own_words, sources
from desk.explained import as_data, explained
from desk.lines import clean
from desk.progress import bar
from desk.shell import say
from extract import evaluate as evaluation
from extract.build import Builder
from extract.evaluate import Evaluation
from extract.explain import explain as explain_doc
from extract.gold import load_gold
from extract.reader import Reader


def evaluate(
    gold: tuple[str, ...], *, misses: bool, own: Path | None, data: Path | None, as_json: bool
) -> None:
    """Print how well dictations of known records are read."""
    known = load_gold(gold)
    result = evaluation.evaluate(known, Reader(own_words.vocabulary(own, data=data)))
    if as_json:
        click.echo(json.dumps(result.summary()))
        return
    console = listing.console(width=100)
    if misses and result.misses:
        console.print(_misses(result))
        console.print()
    console.print(_fields(result))
    console.print()
    console.print(f"{result.exact} of {result.dictations} dictations exactly right; "
                  f"{result.wrong_visit_count} with a wrong number of visits.")  # fmt: skip
    console.print("Could hurt: " + ", ".join(f"{name} {n}" for name, n in result.dangers.items()) + ".")


def explain(source: str, *, model: str, own: Path | None, data: Path | None, as_json: bool) -> None:
    """Print the words of a source with what became of each phrase."""
    reader = Reader(own_words.vocabulary(own, data=data))
    with bar(os.path.basename(source)) as progress:
        reading = sources.read(source, model=model, progress=progress)
    if reading.is_silent:
        say(f"{source}: no speech found")
        return
    doc = reader.annotate(reading.transcript.text)
    found = explain_doc(doc, Builder(doc, reading.transcript).visits())
    if as_json:
        click.echo(json.dumps({"source": source, "stretches": as_data(found)}))
    else:
        listing.console(width=100).print(explained(found))


def vocabulary(file: Path | None, *, data: Path | None) -> None:
    """Print what a clinic's own words add."""
    usual = own_words.usual_file(data)
    if file is None and not usual.exists():
        say(f"There are no words of your own yet. Write them in {usual}; README.md shows how.")
        return
    found = own_words.check(file or usual)
    known = f"; {found.known} known already" if found.known else ""
    count = sum(map(len, found.added.values()))
    click.echo(f"{file or usual}: can be used. New phrases: {count}{known}.")
    for (kind, value), phrases in found.added.items():
        click.echo(f"  {kind}, {value}: {', '.join(map(clean, phrases))}")
    if file is not None and count:
        say(f"Next: put it in {usual} for every reading, or use it once with --vocabulary {file}")


def _fields(result: Evaluation) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("Field")
    for heading in ("Values", "Precision", "Recall", "F1"):
        table.add_column(heading, justify="right")
    for name, count in [*result.fields.items(), ("all", result.total)]:
        shares = (f"{x:.3f}" for x in (count.precision, count.recall, count.f1))
        table.add_row(name.replace("_", " "), str(count.gold), *shares)
    return table


def _misses(result: Evaluation) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in ("Dictation", "Visit", "Ear", "Field", "Value", ""):
        table.add_column(heading, overflow="fold")
    for miss in result.misses:
        what = ("should not be there" if miss.extra else "missed") + (
            f", {miss.times} times" if miss.times > 1 else ""
        )
        where = (miss.dictation, str(miss.visit), miss.item.ear, miss.item.field.replace("_", " "))
        table.add_row(*map(clean, (*where, miss.item.value, what)))
    return table
