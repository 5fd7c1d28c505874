"""The commands for checking what is kept: put right, sign, amend, look back. `desk.checked` does the work."""
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path

import click

from desk import options

by = click.option(
    "--by",
    metavar="NAME",
    required=True,
    envvar="EARSIDE_BY",
    help="Who does it; see `earside people`. EARSIDE_BY does the same.",
)
visit = click.argument("visit", type=int)


@click.command()
@visit
@click.argument("path", required=False, default="")
@click.argument("value", required=False)
@click.option("--add", "act", flag_value="add", help="Add VALUE where PATH says.")
@click.option("--remove", "act", flag_value="remove", help="Take out what PATH names.")
@click.option(
    "--accept", "act", flag_value="accept", help="Confirm what PATH names; without PATH, the whole record."
)
@click.option("--undo", "act", flag_value="undo", help="Take back the last change.")
@click.option("--redo", "act", flag_value="redo", help="Do again what was taken back.")
@by
@options.data
def correct(*, visit: int, path: str, value: str | None, act: str | None, by: str, data: Path | None) -> None:
    """Put a value of a visit right.

    PATH names the value; `earside show --paths` shows them. VALUE is written as it is shown, with ? behind
    it if it is doubtful; lengths in any unit ("1.8 cm", "3/4 in").

    \b
    Example:
      earside correct 12 'ears[0].after.drum[0]' dull --by "Ann Example"
      earside correct 12 'ears[0].before.skin' flaking --add --by "Ann Example"
    """
    from desk import checked

    checked.correct(visit, path, value, act=act or "correct", by=by, data=data)


@click.command()
@visit
@by
@click.option(
    "--reason", default="", metavar="TEXT", help="Why you sign although something is still to be decided."
)
@options.data
def sign(*, visit: int, by: str, reason: str, data: Path | None) -> None:
    """Sign a visit, which locks it.

    Only a clinician may. Signing says that you checked every value against the words beside it.

    \b
    Example:
      earside sign 12 --by "Ann Example"
    """
    from desk import checked

    checked.sign(visit, by=by, reason=reason, data=data)


@click.command()
@visit
@by
@click.option("--reason", required=True, metavar="TEXT", help="Why; it is kept with the amendment.")
@options.data
def amend(*, visit: int, by: str, reason: str, data: Path | None) -> None:
    """Open a signed visit to put it right.

    What was signed stays to be read, and the visit must be signed again.

    \b
    Example:
      earside amend 12 --reason "typed the wrong length" --by "Ann Example"
    """
    from desk import checked

    checked.amend(visit, by=by, reason=reason, data=data)


@click.command()
@visit
@click.option("--signed", is_flag=True, help="Show the record as it was at every signature, too.")
@options.data
@options.as_json
def history(*, visit: int, signed: bool, data: Path | None, as_json: bool) -> None:
    """Show all that was done to a visit.

    \b
    Example:
      earside history 12
    """
    from desk import checked

    checked.history(visit, signed=signed, data=data, as_json=as_json)


@click.command()
@click.argument("name", required=False)
@click.option(
    "--role",
    type=click.Choice(["clinician", "assistant", "auditor"]),
    help="clinician: may sign; assistant: may correct, not sign or amend; auditor: may only read.",
)
@click.option("--left", is_flag=True, help="NAME does not work here any more.")
@click.option("--password", "password", flag_value="set", help="Give NAME a password; it is asked for.")
@click.option("--no-password", "password", flag_value="drop", help="Take NAME's password away.")
@options.data
def people(
    *, name: str | None, role: str | None, left: bool, password: str | None, data: Path | None
) -> None:
    """List or add those who work with the records.

    Until somebody has a password, a name is taken at its word. From then on everybody signs in at the desk
    with their own, and --by asks for it. Whoever can use this terminal can set a password anew; the history
    says so.

    \b
    Example:
      earside people "Ann Example" --role clinician --password
    """
    from desk import checked

    if password and name is None:
        raise click.UsageError('Say whose: earside people "NAME" --password')
    if password and left:
        raise click.UsageError("Whoever leaves needs no password: give --left alone.")
    checked.people(name, role=role, left=left, password=password, data=data)


@click.command()
@click.option(
    "--head", metavar="HASH", default="", help="The last hash of an earlier time: is it still in the history?"
)
@options.data
def verify(*, head: str, data: Path | None) -> None:
    """Check that nobody tampered with the history.

    Every entry is chained to the one before by a hash, and leads to what stands now. Keep the last hash
    somewhere else: it shows if entries were cut off the end.

    \b
    Example:
      earside verify
    """
    from desk import checked

    checked.verify(head=head, data=data)


@click.command()
@click.argument("number", type=int, required=False)
@options.data
def learn(*, number: int | None, data: Path | None) -> None:
    """Learn words that were put right twice.

    Without NUMBER: lists such words, and what each would have changed in past visits.

    \b
    Example:
      earside learn
      earside learn 1
    """
    from desk import checked

    checked.learn(number, data=data)


COMMANDS = (correct, sign, amend, history, people, verify, learn)
