"""The commands for the papers of a visit: record, letter, advice. `desk.letters` makes them."""
# ruff: noqa: PLC0415

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from desk import options

if TYPE_CHECKING:
    from desk.letters.papers import Made, Papers

visit = click.argument("visit", type=int)


def _where(command: Callable[..., Any]) -> Callable[..., Any]:
    into = click.option(
        "--into", type=options.FOLDER, default=Path(), metavar="FOLDER", help="Where to; here if not given."
    )
    replace = click.option("--replace", is_flag=True, help="Write over files of the same name.")
    return into(replace(options.data(command)))


@click.command()
@visit
@click.option("--words", is_flag=True, help="On further pages, the words behind every value.")
@_where
def record(*, visit: int, words: bool, into: Path, replace: bool, data: Path | None) -> None:
    """Make the visit record (PDF, one page).

    Both ears with their pictures, who signed when, and every amendment. What is not signed says DRAFT.

    \b
    Example:
      earside record 12 --words --into ~/papers
    """
    _make(visit, lambda papers: [papers.record(words=words)], into, replace, data)


@click.command()
@visit
@click.option("--to", type=click.Choice(["gp", "ent"]), required=True, help="Whom it is written to.")
@_where
def letter(*, visit: int, to: Any, into: Path, replace: bool, data: Path | None) -> None:
    """Make a letter to the GP or ENT (DOCX, PDF).

    It says what the record says, and nothing else. `letter.docx` in the data folder is the template of the
    DOCX, if there is one; get it with `earside letter-template`. The PDF has its own layout.

    \b
    Example:
      earside letter 12 --to ent --into ~/papers
    """
    _make(visit, lambda papers: list(papers.letter(to)), into, replace, data)


@click.command()
@visit
@_where
def advice(*, visit: int, into: Path, replace: bool, data: Path | None) -> None:
    """Make the advice for the patient (PDF).

    In plain words: what was done and found, what was advised, when to get help. `advice` in `practice.yaml` in the data
    folder adds your own text.

    \b
    Example:
      earside advice 12 --into ~/papers
    """
    _make(visit, lambda papers: [papers.advice()], into, replace, data)


@click.command()
@visit
@_where
def papers(*, visit: int, into: Path, replace: bool, data: Path | None) -> None:
    """Make all papers of a visit.

    The record with the words behind it, the letters to the GP and to ENT, and the advice for the patient.

    \b
    Example:
      earside papers 12 --into ~/papers
    """
    _make(visit, lambda papers: papers.all(), into, replace, data)


@click.command(name="letter-template")
@click.option("--replace", is_flag=True, help="Write over the template that is there.")
@options.data
def letter_template(*, replace: bool, data: Path | None) -> None:
    """Get the letter's template, to edit it.

    It goes into the data folder as `letter.docx`, and every letter is made from it then.

    \b
    Example:
      earside letter-template
    """
    from desk.letters.docx import FILE, default_template
    from desk.letters.papers import Made, save
    from desk.shell import say
    from shared.store import data_folder

    (place,) = save([Made(FILE, default_template())], data or data_folder(), replace=replace)
    say(f"{place}: edit it in a word processor. What may stand in it: docs/letters.md")


def _make(
    visit: int, make: Callable[[Papers], list[Made]], into: Path, replace: bool, data: Path | None
) -> None:
    from desk.letters.papers import Papers, save
    from desk.shell import say
    from shared.store import Store, data_folder

    folder = data or data_folder()
    with Store(folder) as store:
        maker = Papers(store, visit, folder)
    made = save(make(maker), into, replace=replace)
    for place in made:
        click.echo(str(place))
    if maker.paper.standing.word:
        say("These are drafts: nobody has signed the visit as it stands.")
    say("Read each paper before you give it out, and follow your local protocol.")


COMMANDS = (record, letter, letter_template, advice, papers)
