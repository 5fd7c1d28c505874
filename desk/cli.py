"""The command line: what can be asked for. What each command does is in `desk.work`.

Slow imports come after parsing, so that help is quick.
"""
# ruff: noqa: PLC0415

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from desk.shell import Desk

_sources = click.argument("sources", metavar="PATH...", nargs=-1, required=True, type=click.Path())
_model = click.option(
    "--model",
    default="base",
    show_default=True,
    help="The recogniser: base, tiny.en (quicker, less sure), or the folder of a larger one you have.",
)
_folder = click.Path(path_type=Path)
_data = click.option(
    "--data",
    type=_folder,
    metavar="DIR",
    help="Keep visits in this folder instead of your own data folder. EARSIDE_DATA does the same.",
)
_as_json = click.option("--json", "as_json", is_flag=True, help="Print JSON, one object a line.")


def _form(command: Callable[..., Any]) -> Callable[..., Any]:
    """The two ways of printing records for programs."""
    full = click.option(
        "--full",
        "form",
        flag_value="full",
        help="Print one line of JSON for each, with the words and times behind every value.",
    )
    plain = click.option(
        "--plain", "form", flag_value="plain", help="Print one line of JSON for each, the values alone."
    )
    return plain(full(command))


@click.group(cls=Desk, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="earside")
def cli() -> None:
    """Earside listens while you clear ears, and writes a draft visit record for each ear.

    Every value stands beside the words it came from. Nothing leaves this computer, and nothing is
    final until you have checked it.

    \b
    Example:
      earside extract morning.m4a
    """


@cli.command()
@_sources
@_model
@click.option(
    "--save",
    type=_folder,
    metavar="DIR",
    help="Save each transcript as a file in this folder; `earside extract` reads it.",
)
@_as_json
def transcribe(*, sources: tuple[str, ...], model: str, save: Path | None, as_json: bool) -> None:
    """Write down what recordings say.

    Prints the words. With --json or --save, each word has its time in the recording.

    \b
    Example:
      earside transcribe morning.m4a
      earside transcribe --save transcripts monday/*.wav
    """
    from desk import work

    work.transcribe(sources, model=model, save=save, as_json=as_json)


@cli.command()
@_sources
@_model
@_data
@click.option(
    "--replace", is_flag=True, help="Replace this recording's visits even if someone has worked on them."
)
@_form
def extract(
    *, sources: tuple[str, ...], model: str, data: Path | None, replace: bool, form: str | None
) -> None:
    """Make visit records from what was said.

    PATH is any recording or video, a transcript saved by Earside, or a text file. The drafts are kept
    on this computer and shown with the words behind every value. With --plain or --full they are only
    printed, and nothing is kept.

    \b
    Example:
      earside extract morning.m4a
      earside extract --plain notes/*.txt > visits.jsonl
    """
    from desk import work

    if form:
        work.extract_only(sources, model=model, form=form)
    else:
        work.extract(sources, model=model, data=data, replace=replace)


@cli.command()
@click.argument("visit", type=int, required=False)
@_data
@_form
def show(*, visit: int | None, data: Path | None, form: str | None) -> None:
    """Show a visit: this number, or the latest.

    \b
    Example:
      earside show
      earside show 12
    """
    from desk import work

    work.show(visit, data=data, form=form)


@cli.command(name="list")
@_data
@_as_json
def list_(*, data: Path | None, as_json: bool) -> None:
    """List the visits kept, the latest first.

    \b
    Example:
      earside list
    """
    from desk import work

    work.list_visits(data=data, as_json=as_json)


@cli.command()
@click.argument("words", nargs=-1, required=True)
@_data
@_as_json
def search(*, words: tuple[str, ...], data: Path | None, as_json: bool) -> None:
    """Find recordings by what was said.

    All the WORDS must have been said, in any form: "bleed" finds "bleeding" too. Words between double
    quotes must stand together.

    \b
    Example:
      earside search perforation
      earside search '"fluid level"'
    """
    from desk import work

    work.search(" ".join(words), data=data, as_json=as_json)


@cli.command()
@_model
@click.option("--data", type=_folder, metavar="DIR", help="Keep the invented visit in this folder.")
def demo(*, model: str, data: Path | None) -> None:
    """Try Earside on a sample recording.

    The patient is invented and the voice is made by a computer. Nothing is kept, unless you name a
    folder with --data.

    \b
    Example:
      earside demo
    """
    from desk import work

    work.demo(model=model, data=data)


@cli.command()
@click.argument("form", type=click.Choice(["full", "plain"]), default="full")
def schema(*, form: str) -> None:
    """Print the record's JSON Schema.

    For programs that read Earside's records: full (the default) has the words behind every value,
    plain has the values alone.

    \b
    Example:
      earside schema plain
    """
    from desk import work

    work.schema(form)


@cli.command()
@click.argument("kind", metavar="SHELL", type=click.Choice(["bash", "zsh", "fish"]))
def completion(*, kind: str) -> None:
    """Let the Tab key complete commands.

    Prints what SHELL (bash, zsh or fish) needs for it; add that to the shell's start-up file.

    \b
    Example:
      earside completion bash >> ~/.bashrc
    """
    from click.shell_completion import get_completion_class

    script = get_completion_class(kind)
    assert script
    click.echo(script(cli, {}, "earside", "_EARSIDE_COMPLETE").source())


def main() -> None:
    """The installed command."""
    cli(prog_name="earside")


if __name__ == "__main__":
    main()
