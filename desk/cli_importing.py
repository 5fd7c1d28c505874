"""The command for old recordings in bulk; `desk.importing` does the work."""
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path

import click

from desk import options


@click.command(name="import")
@click.argument("paths", metavar="PATH...", nargs=-1, type=click.Path(path_type=Path))
@options.model
@options.vocabulary
@options.data
@click.option("--plan", "plan_only", is_flag=True, help="Only say what would be done, file by file.")
@click.option("--retry", is_flag=True, help="Also try those again that failed before.")
@click.option(
    "--again",
    is_flag=True,
    help="Read known ones again, e.g. with other words; without PATH, all that are kept. The sound is heard again "
    "only for another --model. Visits on which somebody has worked stay as they are.",
)
@click.option("--no-copy", is_flag=True, help="Leave recordings where they are; otherwise a copy is kept.")
@click.option(
    "--workers",
    type=click.IntRange(1, 64),
    help="How many worker processes; if not given, enough for all processors.",
)
@click.option("--cluster", metavar="ADDRESS", help="Work on this Dask scheduler, e.g. tcp://10.0.0.5:8786.")
def import_(
    *,
    paths: tuple[Path, ...],
    model: str,
    vocabulary: Path | None,
    data: Path | None,
    plan_only: bool,
    retry: bool,
    again: bool,
    no_copy: bool,
    workers: int | None,
    cluster: str | None,
) -> None:
    """Take in whole folders of recordings.

    Sound and video at and under every PATH become visits to check. It may be interrupted at any moment: the same
    call goes on where it stopped, and what is known by its content is not done again. A file recordings.csv
    beside the recordings can say more of them (file, start, patient, clinician, date).

    \b
    Example:
      earside import --plan old_recordings
      earside import old_recordings
    """
    from desk.importing.bulk import Wanted, import_all

    if not paths and not again:
        raise click.UsageError("Name files or folders, or read all again with --again.")
    wanted = Wanted(
        paths,
        data=data,
        model=model,
        vocabulary=vocabulary,
        plan_only=plan_only,
        retry=retry,
        again=again,
        copy=not no_copy,
        cluster=cluster,
        workers=workers,
    )
    if import_all(wanted):
        click.get_current_context().exit(1)


COMMANDS = (import_,)
