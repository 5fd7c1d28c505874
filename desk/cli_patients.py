"""The commands for patients' rights and the practice's own rules. `desk.patients` does the work."""
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path

import click

from desk import options
from desk.cli_checking import by

_who = click.option(
    "--by",
    metavar="NAME",
    default="",
    envvar="EARSIDE_BY",
    help="Who does it; see `earside people`. EARSIDE_BY does the same.",
)


@click.command()
@click.option(
    "--recordings",
    metavar="RULE",
    help="What becomes of recordings: keep, at-signing (deleted then), or so many days after signing (30).",
)
@click.option("--lock-after", type=int, metavar="MINUTES", help="When the desk locks by itself, 1 to 240.")
@click.option("--notice", metavar="NAME", help='Your standing notice that patients are recorded; "" if none.')
@click.option("--apply", is_flag=True, help="Delete now what the rule says.")
@_who
@options.data
def policy(
    *,
    recordings: str | None,
    lock_after: int | None,
    notice: str | None,
    apply: bool,
    by: str,
    data: Path | None,
) -> None:
    """Show or set the practice's own rules.

    Recordings are deleted only when every visit in them is signed: at signing, when the desk is started, and
    with --apply. Follow your local rules on how long they must be kept.

    \b
    Example:
      earside policy
      earside policy --recordings 30 --by "Ann Example"
    """
    from desk import patients

    patients.policy(
        recordings=recordings, lock_after=lock_after, notice=notice, apply=apply, by=by, data=data
    )


@click.command()
@click.argument("visit", type=int)
@click.argument("answer", required=False, type=click.Choice(["agreed", "notice", "declined", "open"]))
@_who
@options.data
def agreement(*, visit: int, answer: str | None, by: str, data: Path | None) -> None:
    """Note that a patient agreed to recording.

    agreed or declined: they were asked. notice: your standing notice holds; name it with `earside policy`. open:
    take it back. It is kept beside the record, not in it. Without an answer, shows what stands.

    \b
    Example:
      earside agreement 12 agreed --by "Ann Example"
    """
    from desk import patients

    patients.agreement(visit, answer, by=by, data=data)


@click.command()
@click.argument("reference", metavar="REF")
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    required=True,
    metavar="PATH",
    help="A new folder, or a file whose name ends in .zip.",
)
@options.data
def held(*, reference: str, to: Path, data: Path | None) -> None:
    """Write all that is held on a patient.

    Records, history, words, sound and papers of all visits with the reference REF. Of recordings with other
    patients in them, only this patient's part.

    \b
    Example:
      earside held B52 --to b52.zip
    """
    from desk import patients

    patients.held(reference, to=to, data=data)


@click.command()
@click.argument("reference", metavar="REF")
@click.option("--recordings", "what", flag_value="recordings", help="Only the sound; the records stay.")
@click.option("--everything", "what", flag_value="everything", help="Records, words, history and sound.")
@click.option("--reason", required=True, metavar="TEXT", help="Why; it stays in the history, so name nobody.")
@click.option("--yes", is_flag=True, help="Do not ask to confirm it.")
@by
@options.data
def erase(*, reference: str, what: str | None, reason: str, yes: bool, by: str, data: Path | None) -> None:
    """Erase a patient's data for good.

    Only a clinician may. What stays is that it was erased, when, by whom and why; `earside verify` names it.
    Whether you may erase a record is for your local rules to say: most must be kept for years.

    \b
    Example:
      earside erase B52 --recordings --reason "asked for it" --by "Ann Example"
    """
    from desk import patients

    if what is None:
        raise click.UsageError("Say what: --recordings or --everything.")
    patients.erase(reference, everything=what == "everything", reason=reason, yes=yes, by=by, data=data)


COMMANDS = (policy, agreement, held, erase)
