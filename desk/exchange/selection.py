"""Which visits are exported, one at a time, so that a hundred thousand take no more memory than one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from desk.exchange import standing
from desk.exchange.standing import Standing
from shared.store import Entry, Store, StoredVisit, VisitRow
from shared.store.rows import LOCKED, folded

_A_PAGE = 500


@dataclass(frozen=True)
class Chosen:
    """A visit with its history and how it stands."""

    stored: StoredVisit
    entries: tuple[Entry, ...]
    standing: Standing


@dataclass(frozen=True)
class Selection:
    """What is asked for. visits: these numbers only, all if none. since, until: of visits that start in [since,
    until), with their zone. patient: the whole reference, in any case and spacing."""

    visits: Sequence[int] = ()
    since: datetime | None = None
    until: datetime | None = None
    patient: str | None = None
    signed_only: bool = False


def chosen(store: Store, asked: Selection) -> Iterator[Chosen]:
    """The visits asked for, the latest first, or in the order of their numbers as given. Raises BadInput for a number
    that there is not."""
    for number in asked.visits or _numbers(store, asked):
        stored, entries = store.visit(number), store.history(number)
        if not asked.signed_only or stored.locked:
            yield Chosen(stored, entries, standing.of(stored, entries))


def _numbers(store: Store, asked: Selection) -> Iterator[int]:
    wanted = folded(asked.patient) if asked.patient is not None else None
    for row in rows(store, since=asked.since, until=asked.until):
        if asked.signed_only and row.status not in LOCKED:
            continue
        if wanted is None or (row.patient_reference is not None and folded(row.patient_reference) == wanted):
            yield row.id


def rows(store: Store, *, since: datetime | None = None, until: datetime | None = None) -> Iterator[VisitRow]:
    """Every visit that stands, the latest first, a page at a time."""
    after = None
    while True:
        page = store.visits(since=since, until=until, after=after, limit=_A_PAGE)
        yield from page.rows
        if (after := page.next) is None:
            return
