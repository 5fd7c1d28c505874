"""The command line: what can be asked for. What each command does is in `desk.work`.

Slow imports come after parsing, so that help is quick.
"""
# ruff: noqa: PLC0415

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from desk import (
    cli_checking,
    cli_exchange,
    cli_importing,
    cli_letters,
    cli_patients,
    cli_protect,
    cli_register,
    cli_safekeeping,
    days,
    options,
)
from desk.shell import Desk, leave_at_once


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
@options.sources
@options.model
@click.option(
    "--save",
    type=options.FOLDER,
    metavar="DIR",
    help="Save each transcript as a file in this folder; `earside extract` reads it.",
)
@options.as_json
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
@options.sources
@options.model
@options.vocabulary
@options.data
@click.option(
    "--no-copy",
    is_flag=True,
    help="Leave recordings where they are; otherwise a copy is kept, so that the words can be played.",
)
@click.option(
    "--replace", is_flag=True, help="Replace this recording's visits even if someone has worked on them."
)
@options.form
def extract(
    *,
    sources: tuple[str, ...],
    model: str,
    vocabulary: Path | None,
    data: Path | None,
    no_copy: bool,
    replace: bool,
    form: str | None,
) -> None:
    """Make visit records from what was said.

    PATH is any recording or video, a transcript saved by Earside, or a text file. The drafts are kept
    on this computer and shown with the words behind every value. With --plain or --full they are only
    printed, and nothing is kept. Among several files, those that are no dictations, and texts that
    go with a recording by their name, are passed over.

    \b
    Example:
      earside extract morning.m4a
      earside extract --plain notes/*.txt > visits.jsonl
    """
    from desk import work

    if form:
        work.extract_only(sources, model=model, own=vocabulary, data=data, form=form)
    else:
        work.extract(sources, model=model, own=vocabulary, data=data, replace=replace, copy=not no_copy)


@cli.command()
@options.model
@options.vocabulary
@options.data
@click.option("--stdin", is_flag=True, help="Take raw sound from standard input instead of a microphone.")
@click.option("--microphone", type=int, metavar="NUMBER", help="Use this microphone of the list.")
@click.option("--list-microphones", "task", flag_value="list", help="List the microphones; keep nothing.")
@click.option(
    "--agreed", is_flag=True, help="The patient has agreed to being recorded; else say so while it runs."
)
@click.option("--check-level", "task", flag_value="check", help="Check how loud it is; keep nothing.")
@click.option("--unfinished", "task", flag_value="unfinished", help="List the recordings without a record.")
@click.option("--finish", "task", flag_value="finish", help="Make the records of all of them.")
def listen(
    *,
    model: str,
    vocabulary: Path | None,
    data: Path | None,
    stdin: bool,
    microphone: int | None,
    agreed: bool,
    task: str | None,
) -> None:
    """Listen while you work.

    Shows the words and the record as they come. The space bar (or a pedal that types one) pauses: then
    nothing is kept or heard. q or Ctrl-C ends it, and the visits are kept. "Next patient" begins another
    visit. a: the patient agrees to being recorded; d: they do not, and it pauses; it is kept with the visit.
    Sound is on the disk as soon as it is spoken: if the computer stops, nothing said before is lost,
    and --finish makes the record. --stdin takes 16-bit PCM, little endian, one channel, 16,000 a second.

    \b
    Example:
      earside listen --check-level
      earside listen
      earside listen --finish
    """
    from desk import listen as listening

    if task == "list":
        listening.list_microphones()
    elif task == "check":
        listening.check_level(microphone=microphone, stdin=stdin)
    elif task == "unfinished":
        listening.list_unfinished(data=data)
    elif task == "finish":
        listening.finish(model=model, own=vocabulary, data=data)
    else:
        listening.listen(
            model=model, own=vocabulary, data=data, microphone=microphone, stdin=stdin, agreed=agreed
        )


@cli.command()
@click.argument("visit", type=int, required=False)
@click.option("--paths", is_flag=True, help="Print each value with the path by which it is named.")
@options.data
@options.form
def show(*, visit: int | None, paths: bool, data: Path | None, form: str | None) -> None:
    """Show a visit: this number, or the latest.

    \b
    Example:
      earside show
      earside show 12
    """
    from desk import work

    work.show(visit, data=data, form="paths" if paths else form)


@cli.command(name="list")
@click.option("--waiting", is_flag=True, help="Only those that wait to be checked and signed.")
@click.option("--patient", metavar="REF", help="Only those whose patient reference begins so.")
@click.option(
    "--since",
    type=days.Day(),
    metavar="DATE",
    help="Only those from this day on (2026-03-14).",
)
@click.option(
    "--finding", metavar="FIELD=VALUE", help="Only those with this finding, e.g. after.drum=perforated."
)
@click.option("--limit", type=click.IntRange(1, 100_000), default=200, show_default=True, help="How many.")
@options.data
@options.as_json
def list_(
    *,
    waiting: bool,
    patient: str | None,
    since: datetime | None,
    finding: str | None,
    limit: int,
    data: Path | None,
    as_json: bool,
) -> None:
    """List the visits kept, the latest first.

    \b
    Example:
      earside list
      earside list --waiting --since 2026-03-14
    """
    from desk import work

    work.list_visits(
        waiting=waiting,
        patient=patient,
        since=since,
        finding=finding,
        limit=limit,
        data=data,
        as_json=as_json,
    )


@cli.command()
@click.argument("words", nargs=-1, required=True)
@options.data
@options.as_json
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
@options.model
@click.option("--data", type=options.FOLDER, metavar="DIR", help="Keep the invented visit in this folder.")
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
@options.data
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    help="Use this port; if not given, 8701 or else any that is free.",
)
@click.option("--no-browser", is_flag=True, help="Only print the address, open no browser.")
def desk(*, data: Path | None, port: int | None, no_browser: bool) -> None:
    """Open the desk in the browser.

    Serves the pages to this computer alone, until you end it with Ctrl-C.

    \b
    Example:
      earside desk
    """
    from desk.web.serve import serve
    from shared.store import data_folder

    serve(data or data_folder(), port=port, browser=not no_browser)


@cli.command()
@click.argument("source", metavar="PATH", type=click.Path())
@options.model
@options.vocabulary
@options.data
@click.option("--json", "as_json", is_flag=True, help="Print one line of JSON.")
def explain(*, source: str, model: str, vocabulary: Path | None, data: Path | None, as_json: bool) -> None:
    """Show what became of every phrase.

    Prints the words of PATH (a recording, a saved transcript or a text file). What was recorded from a
    phrase stands behind it in [ ], why a phrase was not recorded in { }. Below, the rule that took each.
    Nothing is kept.

    \b
    Example:
      earside explain morning.m4a
    """
    from desk import checking

    checking.explain(source, model=model, own=vocabulary, data=data, as_json=as_json)


@cli.command()
@click.argument("gold", metavar="GOLD.yaml...", nargs=-1, required=True, type=click.Path())
@click.option("--misses", is_flag=True, help="List every value that was missed or should not be there.")
@options.vocabulary
@options.data
@click.option("--json", "as_json", is_flag=True, help="Print one line of JSON with the result in all.")
def evaluate(
    *, gold: tuple[str, ...], misses: bool, vocabulary: Path | None, data: Path | None, as_json: bool
) -> None:
    """Measure the reading against known records.

    Each GOLD.yaml is a list of dictations with id, text and visits; a clinic can write its own. Shows
    precision, recall and F1 of every field, and counts the four errors that could hurt somebody.

    \b
    Example:
      earside evaluate --misses our_dictations.yaml
    """
    from desk import checking

    checking.evaluate(gold, misses=misses, own=vocabulary, data=data, as_json=as_json)


@cli.command()
@click.argument("file", metavar="[FILE]", required=False, type=click.Path(path_type=Path))
@options.data
def vocabulary(*, file: Path | None, data: Path | None) -> None:
    """Check your clinic's own words.

    Says what is wrong with FILE, or what it adds to the words that Earside knows. Without FILE, checks
    vocabulary.yaml in the data folder, which every reading uses.

    \b
    Example:
      earside vocabulary our_words.yaml
    """
    from desk import checking

    checking.vocabulary(file, data=data)


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


for command in (
    *cli_checking.COMMANDS,
    *cli_exchange.COMMANDS,
    *cli_importing.COMMANDS,
    *cli_letters.COMMANDS,
    *cli_patients.COMMANDS,
    *cli_protect.COMMANDS,
    *cli_register.COMMANDS,
    *cli_safekeeping.COMMANDS,
):
    cli.add_command(command)


def main() -> None:
    """The installed command."""
    with leave_at_once():
        cli(prog_name="earside")


if __name__ == "__main__":
    main()
