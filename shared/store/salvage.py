"""Reading past the damaged pages of a database: all rows of the history's tables that can still be read.

What a failing disk gives is believed only if it could be a row of its table: a page can hold rows of another one, or
noise. Time and memory stay within what the file holds, whatever stands in it.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shared.errors import StoreError
from shared.store import opening, schema

Row = dict[str, Any]

AS_THEY_ARE = ("people", "accounts", "rules", "recordings", "transcripts", "erasing")
BY_ENTRY = ("signatures", "edits", "recalls", "agreements")
_TABLES = (*AS_THEY_ARE, "entries", "visits", *BY_ENTRY)
_TYPES = {"INTEGER": (int,), "REAL": (int, float), "TEXT": (str,), "": (int, float, str)}
_JSON = {"transcripts": {"words": list, "settings": dict}}
_FARTHEST = 1 << 40
_LONGEST_VALUE = 1 << 27
"""Bytes; the words of a day of dictation take less than a tenth of it. A damaged length could ask for a gigabyte."""


@dataclass(frozen=True)
class _Column:
    name: str
    types: tuple[type, ...]
    needed: bool


def lengthen(copy: Path) -> None:
    """Fill up a file that was cut off to the length its header states, without which nothing of it is read (SQLite,
    "Database File Format", 1.3: page size at byte 16, pages at 28). A protected one's header cannot be read."""
    with copy.open("r+b") as file:
        head = file.read(32)
        if head.startswith(b"SQLite format 3"):
            size, pages = int.from_bytes(head[16:18], "big"), int.from_bytes(head[28:32], "big")
            whole = pages * (65536 if size == 1 else size)
            if copy.stat().st_size < whole < 1 << 40:
                file.truncate(whole)


def read(db: Any, like: Any, source: Path) -> tuple[dict[str, list[Row]], list[str]]:
    """All rows of the tables of the history that can be read, and in which tables some cannot.

    like: a new, empty database, which has the tables as they must be. source: what messages name.
    Raises StoreError if the list of tables cannot be read, or is another.
    """
    if hasattr(db, "setlimit"):  # SQLCipher's pages are authenticated: nothing in them is noise
        db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST_VALUE)
    found, lost = dict[str, list[Row]](), list[str]()
    try:
        version = db.execute("PRAGMA user_version").fetchone()[0]
        same = all(_columns(db, table) == _columns(like, table) for table in _TABLES)
    except opening.DATABASE_FAULTS as fault:
        raise _hopeless(source) from fault
    if version != len(schema.MIGRATIONS) or not same:
        raise _hopeless(source)
    for table in _TABLES:
        columns, whole = _columns(like, table), True
        found[table] = []
        for row in _rows(db, table):
            if row is None or not _could_be(table, row, columns):
                whole = False
            else:
                found[table].append({c.name: value for c, value in zip(columns, row, strict=True)})
        if not whole:
            lost.append(f"{table}: some rows cannot be read")
    return found, lost


def _hopeless(source: Path) -> StoreError:
    return StoreError(
        "not even its list of tables can be read",
        where=str(source),
        remedy="Restore the last backup: earside restore. The recordings beside it can be read again: earside import",
    )


def _columns(db: Any, table: str) -> list[_Column]:
    return [
        _Column(name, _TYPES.get(type_, ()), bool(needed or key))
        for _, name, type_, needed, _, key in db.execute(f"PRAGMA table_info({table})").fetchall()
    ]


def _could_be(table: str, row: tuple[Any, ...], columns: list[_Column]) -> bool:
    """Whether a row holds what its table can hold."""
    for column, value in zip(columns, row, strict=True):
        if column.needed if value is None else not isinstance(value, column.types):
            return False
        if shape := _JSON.get(table, {}).get(column.name):
            try:
                if not isinstance(json.loads(value), shape):
                    return False
            except (ValueError, RecursionError):
                return False
    return True


def _rows(db: Any, table: str) -> Iterator[tuple[Any, ...] | None]:
    """The rows of a table by number; None where some cannot be read, and on behind them.

    A damaged page can hold numbers in any order, and a page that was written in another's place leads to rows that
    have come already: each number counts once, and what is read next begins with one that has not come yet, so that
    it ends.
    """
    at, come = -1, set[int]()
    while at < _FARTHEST:
        try:
            for number, *row in db.execute(
                f"SELECT rowid, * FROM {table} WHERE rowid > ? ORDER BY rowid", (at,)
            ):
                if number in come:
                    break
                come.add(number)
                yield tuple(row)
            else:
                return
        except opening.DATABASE_FAULTS:
            pass
        yield None
        at = _behind(db, table, at, come)


def _behind(db: Any, table: str, at: int, come: set[int]) -> int:
    """The least number behind which stands a row that has not come yet, or none; a search in the tree goes straight
    to its page."""

    def reads(number: int) -> bool:
        try:
            found = db.execute(
                f"SELECT rowid, * FROM {table} WHERE rowid > ? ORDER BY rowid LIMIT 1", (number,)
            ).fetchone()
        except opening.DATABASE_FAULTS:
            return False
        return found is None or found[0] not in come

    step = 1
    while not reads(at + step) and at + step < _FARTHEST:
        step *= 2
    low, high = at + step // 2, at + step
    while low + 1 < high:
        middle = (low + high) // 2
        low, high = (low, middle) if reads(middle) else (middle, high)
    return high
