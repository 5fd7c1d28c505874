"""The commands that hand records on: export, read a FHIR document, one patient. `desk.handing_on` does the work."""
# ruff: noqa: PLC0415

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from desk import days, options

_DAY = days.Day()


@click.command()
@click.argument("what", type=click.Choice(["visits", "findings", "fhir", "dictionary"]))
@click.argument("visits", metavar="[VISIT]...", nargs=-1, type=int)
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    metavar="PATH",
    help="Write here: a file whose name ends in .csv, .jsonl or .xlsx; for fhir, a folder.",
)
@click.option("--since", type=_DAY, metavar="DATE", help="Only visits from this day on (2026-03-14).")
@click.option("--until", type=_DAY, metavar="DATE", help="Only visits up to this day, and on it.")
@click.option("--patient", metavar="REF", help="Only this patient reference, in any case and spacing.")
@click.option("--signed-only", is_flag=True, help="Leave out drafts and open amendments.")
@options.data
@options.as_json
def export(
    *,
    what: str,
    visits: tuple[int, ...],
    to: Path | None,
    since: datetime | None,
    until: datetime | None,
    patient: str | None,
    signed_only: bool,
    data: Path | None,
    as_json: bool,
) -> None:
    """Write records for other programs.

    visits has a row a visit, findings a row a value with the words behind it, dictionary says what every
    column means. fhir is an HL7 FHIR R4 document a visit. Without --to it is printed: CSV (JSON Lines with
    --json), or one FHIR document a line. All of it says draft or signed, when, and who checked it.

    \b
    Example:
      earside export visits --to visits.xlsx --since 2026-01-01 --signed-only
      earside export fhir 12 --to bundles
    """
    from desk import handing_on
    from desk.exchange.selection import Selection

    asked = Selection(visits, *handing_on.days(since, until), patient, signed_only)
    handing_on.export(what, asked, to=to, data=data, as_json=as_json)


@click.command(name="bundle")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--full", is_flag=True, help="With the words and times behind every value.")
def bundle_(*, file: Path, full: bool) -> None:
    """Read a FHIR document that Earside wrote.

    Prints its record as one line of JSON; keeps nothing.

    \b
    Example:
      earside bundle bundles/visit-12.json
    """
    from desk import handing_on

    handing_on.read(file, full=full)


@click.command()
@click.argument("reference", metavar="REF")
@options.data
def patient(*, reference: str, data: Path | None) -> None:
    """Show one patient over time.

    All visits with the reference REF, in any case and spacing, side by side for each ear.

    \b
    Example:
      earside patient B52
    """
    from desk import handing_on

    handing_on.patient(reference, data=data)


COMMANDS = (export, bundle_, patient)
