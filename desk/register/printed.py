"""Recalls and the register in the terminal, and their files."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from typing import cast

import click
from rich import box
from rich.table import Table

from desk import identity, saving
from desk.lines import clean
from desk.listing import console
from desk.register import due, figures, recall_files, telling
from desk.register.due import Due
from desk.register.words import HEADINGS, MOVES, RULES, period
from shared.store import Store, data_folder
from shared.store.recalls import Outcome

_LONGEST = 200


def recall(*, everything: bool, ics: Path | None, csv: Path | None, data: Path | None) -> None:
    """Print the list, or write it to files."""
    now = datetime.now().astimezone()
    with Store(data or data_folder()) as store:
        found = due.by_state(due.recalls(store, now.date()))
    states = list(found) if everything else due.OPEN
    listed = [one for state in states for one in found[state]]
    if ics:
        saving.save(ics, recall_files.calendar_text(listed, now))
        undated = sum(one.day is None for one in listed)
        click.echo(f"{ics}: {len(listed) - undated} recalls; {undated} without a day are not in it.")
    if csv:
        saving.save(csv, recall_files.table_text(listed).encode())
        click.echo(f"{csv}: {len(listed)} recalls.")
    if ics or csv:
        return
    for state in states:
        if found[state]:
            _print_recalls(HEADINGS[state], found[state])
    if not listed:
        click.echo("Nobody is to be seen again: no recall is open.")
    click.echo(RULES)
    if any(one.moved_mm is not None for one in listed):
        click.echo(MOVES)


def mark(visit: int, what: str, *, until: date | None, by: str, data: Path | None) -> None:
    """Mark what became of a recall."""
    with Store(data or data_folder()) as store:
        by = identity.proved(store, by)
        store.mark_recall(visit, cast(Outcome, what), by, until=until)
        click.echo(f"Visit {visit}: {store.history(visit)[-1].what}, marked by {store.person(by).name}.")


def register(
    since: date | None,
    until: date | None,
    *,
    drafts: bool,
    csv: Path | None,
    pictures_in: Path | None,
    data: Path | None,
) -> None:
    """Print the register, or write it to files."""
    now = datetime.now().astimezone()
    since, until = period(since, until, now.date())
    with Store(data or data_folder()) as store:
        made = figures.register(store, since, until, today=now.date(), drafts=drafts)
    if csv:
        saving.save(csv, telling.table_text(made).encode())
        click.echo(f"{csv}: the register from {since} to {until}.")
    if pictures_in:
        from desk.register.pictures import pictures  # noqa: PLC0415  (slow to load)

        drawn = pictures(made)
        if not drawn:
            click.echo(f"No picture drawn: nothing counts from {since} to {until}.")
        for name, draw in drawn.items():
            saving.save(pictures_in / f"{name}.svg", draw())
            click.echo(f"{pictures_in / name}.svg: {telling.picture(name, made)}")
    if not (csv or pictures_in):
        _print_register(made, now)


def _print_recalls(heading: str, found: Sequence[Due]) -> None:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, title=f"{heading}: {len(found)}")
    table.title_justify, table.title_style = "left", "bold"
    moves = any(one.moved_mm is not None for one in found)
    for column in ("Day", "Patient", "After", "Seen", "Visit", "Record", *["Canal skin moves"] * moves):
        table.add_column(column, overflow="fold")
    for one in found[:_LONGEST]:
        moved = [f"{one.moved_mm:.0f} mm" if one.moved_mm is not None else ""] * moves
        record = f"checked by {one.said.checked_by}" if one.checked else "draft, not yet checked"
        postponed = f" (postponed by {one.said.by})" if one.said.outcome == "postponed" else ""
        cells = (
            f"{one.day or 'not known'}{postponed}",
            one.said.patient_reference or "no reference",
            one.interval,
            str(one.seen or "not known"),
            str(one.said.visit),
            record,
            *moved,
        )
        table.add_row(*map(clean, cells))
    console(width=1000).print(table)
    if len(found) > _LONGEST:
        click.echo(f"... and {len(found) - _LONGEST} more: write them all with --csv FILE.")
    click.echo()


def _print_register(made: figures.Register, now: datetime) -> None:
    screen = console(width=110)
    screen.print(f"Register from {made.since} to {made.until}", style="bold")
    for sentence in (*telling.counted(made), telling.made(now), telling.HOW):
        screen.print(sentence)
    for part in made.tables:
        _print_shares(part)
    for words, told in (
        ("Time per ear", telling.times(made.seconds)),
        ("Length", telling.lengths(made.lengths)),
    ):
        screen.print(f"\n{words}", style="bold")
        screen.print(told)
    for chart in made.charts():
        table = _table(f"{chart.heading}: {100 * chart.centre:.1f} % in all", "Month", "n", chart.of, "Share")
        table.add_column("95 % interval")
        table.add_column("Limits")
        for month, share, low, high, beyond in chart.rows():
            limits = f"{100 * low:.1f} to {100 * high:.1f} %" + (", beyond" if beyond else "")
            numbers = (str(share.n), str(share.of), telling.percent(share), telling.interval(share))
            table.add_row(month, *numbers, limits)
        screen.print(table)


def _print_shares(part: figures.Table) -> None:
    screen = console(width=110)
    if not part.lines:
        screen.print(f"\n{part.heading}", style="bold")
        screen.print("None was said.")
        return
    table = _table(f"{part.heading} ({part.of})", "", "n", "of", "Share", "95 % interval")
    doubtful = any(line.doubtful for line in part.lines)
    if doubtful:
        table.add_column("Said with doubt, not counted", justify="right")
    for line in part.lines:
        share = line.share
        numbers = (str(share.n), str(share.of), telling.percent(share), telling.interval(share))
        table.add_row(line.words, *numbers, *[str(line.doubtful or "")] * doubtful)
    screen.print(table)
    if part.note:
        screen.print(part.note)


def _table(title: str, *columns: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, title=f"\n{title}")
    table.title_justify, table.title_style = "left", "bold"
    for n, column in enumerate(columns):
        table.add_column(column, overflow="fold", justify="right" if 0 < n < 4 else "left")
    return table
