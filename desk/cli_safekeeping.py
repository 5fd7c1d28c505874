"""The commands for keeping the store safe: back up, restore, mend. `desk.safekeeping` does the work."""
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path

import click

from desk import options

_FILE = click.Path(path_type=Path)


@click.command()
@click.argument("file", type=_FILE)
@click.option("--check", is_flag=True, help="Only check a backup made before: read all of it and compare.")
@options.data
def backup(*, file: Path, check: bool, data: Path | None) -> None:
    """Put everything into one backup file.

    Visits, history, recordings, unfinished dictations and your own words, while work goes on. A protected store's
    backup is protected too. FILE must not be there yet; keep it on another disk.

    \b
    Example:
      earside backup /media/stick/monday.zip
      earside backup --check /media/stick/monday.zip
    """
    from desk.progress import bar
    from desk.safekeeping import archive
    from desk.shell import say
    from shared.store import data_folder

    if check:
        found = archive.check(file)
        say(f"Nothing in it is damaged: {_told(found)}")
        return
    with bar(file.name) as progress:
        found = archive.make(data or data_folder(), file, progress)
    say(f"Backed up and compared: {_told(found)}")


@click.command()
@click.argument("file", type=_FILE)
@click.option(
    "--replace", is_flag=True, help="Move the data folder that is there aside; nothing of it is lost."
)
@options.data
def restore(*, file: Path, replace: bool, data: Path | None) -> None:
    """Get everything back from a backup.

    Every file is compared with the backup, and the history is verified, before anything is put in place.

    \b
    Example:
      earside restore --data trial /media/stick/monday.zip
      earside restore --replace /media/stick/monday.zip
    """
    from desk.safekeeping.restoring import restore as get_back
    from desk.shell import say
    from shared.store import data_folder

    place = data or data_folder()
    done = get_back(file, place, replace=replace)
    for fault in done.faults:
        say(fault)
    say(f"Restored into {place}: {_told(done.manifest)}")
    if done.faults:
        say("Its history did not hold when it was backed up either; see above, and: earside verify")
    if done.aside:
        say(f"What was there before is in {done.aside}")


@click.command()
@click.argument("to", type=_FILE)
@options.data
def mend(*, to: Path, data: Path | None) -> None:
    """Save what can be read of a damaged store.

    TO is a new folder; the damaged store stays as it is. Whatever is lost is named. A backup is better: see first
    what `earside backup --check` says of the last one.

    \b
    Example:
      earside mend saved
      earside list --data saved
    """
    from desk.safekeeping.mending import mend as save
    from desk.shell import say
    from shared.store import data_folder

    done = save(data or data_folder(), to)
    for line in done.lost:
        say(f"Lost: {line}")
    say(f"{done.visits} visits saved into {to}. Look through them: earside list --data {to}")


def _told(found: object) -> str:
    from desk.safekeeping.archive import Manifest

    assert isinstance(found, Manifest)
    return (
        f"{len(found.files)} files, {found.bytes / 1e6:.1f} MB, {found.entries} entries of the history, "
        f"made {found.made}. The last hash is {found.head}"
    )


COMMANDS = (backup, restore, mend)
