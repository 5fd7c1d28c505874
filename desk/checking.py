"""The commands for those who check Earside: how well it reads, and why it recorded what it did."""
# ruff: noqa: PLC0415

from __future__ import annotations

import json
import os
from typing import TYPE_CHECKING

import click
from rich import box
from rich.table import Table

from desk import listing, sources
from desk.lines import clean
from desk.progress import bar
from desk.shell import say

if TYPE_CHECKING:
    from extract.evaluate import Evaluation


@click.command()
@click.argument("gold", metavar="GOLD.yaml...", nargs=-1, required=True, type=click.Path())
@click.option("--misses", is_flag=True, help="List every value that was missed or should not be there.")
@click.option("--json", "as_json", is_flag=True, help="Print one line of JSON with the result in all.")
def evaluate(*, gold: tuple[str, ...], misses: bool, as_json: bool) -> None:
    """Measure the reading against dictations with known records.

    Each GOLD.yaml is a list of dictations with id, text and visits; a clinic can write its own. Shows
    precision, recall and F1 of every field, and counts the four errors that could hurt somebody.

    \b
    Example:
      earside evaluate --misses our_dictations.yaml
    """
    from extract import evaluate as evaluation
    from extract.gold import load_gold
    from extract.reader import Reader

    known = load_gold(gold)
    result = evaluation.evaluate(known, Reader())
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


@click.command()
@click.argument("source", metavar="PATH", type=click.Path())
@click.option("--model", default="base", show_default=True, help="The recogniser, if PATH is a recording.")
@click.option("--json", "as_json", is_flag=True, help="Print one line of JSON.")
def explain(*, source: str, model: str, as_json: bool) -> None:
    """Show what became of every phrase that was said.

    Prints the words of PATH (a recording, a saved transcript or a text file). What was recorded from a
    phrase stands behind it in [ ], why a phrase was not recorded in { }. Below, the rule that took each.
    Nothing is kept.

    \b
    Example:
      earside explain morning.m4a
    """
    from desk.explained import as_data, explained
    from extract.build import Builder
    from extract.explain import explain as explain_doc
    from extract.reader import Reader

    with bar(os.path.basename(source)) as progress:
        reading = sources.read(source, model=model, progress=progress)
    if reading.is_silent:
        say(f"{source}: no speech found")
        return
    doc = Reader().annotate(reading.transcript.text)
    found = explain_doc(doc, Builder(doc, reading.transcript).visits())
    if as_json:
        click.echo(json.dumps({"source": source, "stretches": as_data(found)}))
    else:
        listing.console(width=100).print(explained(found))


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
