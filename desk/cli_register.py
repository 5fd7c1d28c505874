"""The commands for after the visit: whom to see again, and the practice's own figures. `desk.register.printed`
does the work."""
# ruff: noqa: PLC0415

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from desk import days, options

_DAY = days.Day()
_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command()
@click.argument("visit", type=int, required=False)
@click.option("--done", "what", flag_value="done", help="VISIT's recall is done.")
@click.option("--declined", "what", flag_value="declined", help="The patient does not want to come.")
@click.option("--postpone", type=_DAY, metavar="DATE", help="See the patient on or about this day instead.")
@click.option("--open", "what", flag_value="open", help="None of these any more.")
@click.option(
    "--by",
    metavar="NAME",
    envvar="EARSIDE_BY",
    help="Who marks it; see `earside people`. EARSIDE_BY does the same.",
)
@click.option(
    "--all", "everything", is_flag=True, help="Also list those that are done, declined or seen again."
)
@click.option("--ics", type=_FILE, metavar="FILE", help="Write the list as a calendar (iCalendar).")
@click.option("--csv", type=_FILE, metavar="FILE", help="Write the list as a table (CSV).")
@options.data
def recall(
    *,
    visit: int | None,
    what: str | None,
    postpone: datetime | None,
    by: str | None,
    everything: bool,
    ics: Path | None,
    csv: Path | None,
    data: Path | None,
) -> None:
    """List whom to see again, or mark a recall.

    The day is the interval that was said, counted from the day of the visit. With VISIT, marks what became
    of its recall; that is kept in the visit's history, with who and when.

    \b
    Example:
      earside recall --ics recall.ics
      earside recall 12 --postpone 2026-03-02 --by "Ama Boateng"
    """
    from desk.register import printed

    if visit is None and (what or postpone):
        raise click.UsageError("Say which visit it is: earside recall 12 --done --by NAME")
    if visit is None:
        printed.recall(everything=everything, ics=ics, csv=csv, data=data)
    elif bool(what) == bool(postpone):
        raise click.UsageError("Say what became of it: one of --done, --declined, --postpone DATE, --open.")
    else:
        day = postpone.date() if postpone else None
        printed.mark(visit, what or "postponed", until=day, by=by or "", data=data)


@click.command()
@click.option("--from", "since", type=_DAY, metavar="DATE", help="From this day; if not given, a year back.")
@click.option("--to", "until", type=_DAY, metavar="DATE", help="To this day, included; if not given, today.")
@click.option("--drafts", is_flag=True, help="Count visits that are not signed, too.")
@click.option("--csv", type=_FILE, metavar="FILE", help="Write all its numbers as a table (CSV).")
@click.option(
    "--pictures", type=options.FOLDER, metavar="DIR", help="Draw its pictures into this folder (SVG)."
)
@options.data
def register(
    *,
    since: datetime | None,
    until: datetime | None,
    drafts: bool,
    csv: Path | None,
    pictures: Path | None,
    data: Path | None,
) -> None:
    """Show the practice's own figures.

    How far ears were cleared, by what, what happened, how long it took, how complete the records are and
    how often a draft had to be put right. Shares stand with their 95 % intervals.

    \b
    Example:
      earside register --from 2026-01-01 --to 2026-03-31
      earside register --csv register.csv --pictures pictures
    """
    from desk.register import printed

    printed.register(
        since.date() if since else None,
        until.date() if until else None,
        drafts=drafts,
        csv=csv,
        pictures_in=pictures,
        data=data,
    )


COMMANDS = (recall, register)
