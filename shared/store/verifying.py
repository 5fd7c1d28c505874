"""Whether the tables that are looked up say what the history says: the part of `verify` beyond chain and replay.

Each line names the visit and the entry. What the history does not tell, and so cannot be checked: a recording's name
and where it lay, where in the words an agreement was heard, and how often a password was mistyped.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from shared.record import Visit
from shared.store import chain, rows, said
from shared.store.opening import DATABASE_FAULTS

Ask = Callable[..., list[dict[str, Any]]]
"""SQL and its values to rows."""

_OF_WORDS = ("text", "words")
CLOCK_SECONDS = 60
"""So far the clock may go back unremarked: two programs that wait for each other write a few seconds out of turn."""


def words_mark(row: dict[str, Any]) -> str:
    """What an entry holds of the words that a visit was read from, so that they cannot be changed unseen."""
    return chain.digest({name: row[name] for name in _OF_WORDS})


def whole(name: str, part: Iterator[str]) -> Iterator[str]:
    """What a part of the checking finds; what no Earside writes (other sorts of values, texts in another form) is one
    more fault of it, not the end of all checking."""
    try:
        yield from part
    except DATABASE_FAULTS:
        raise
    except (ValueError, TypeError, KeyError, IndexError, AttributeError):
        yield f"{name}: something stands there that Earside does not write"


def faults(ask: Ask) -> Iterator[str]:
    """What does not hold."""
    gone = {r["visit_id"] for r in ask("SELECT DISTINCT visit_id FROM entries WHERE content IS NULL")}
    recalls = _stated(ask, gone, "recall", "recalls", lambda r: said.recall(r["what"], r["until"]))
    agreements = _stated(
        ask, gone, "agreement", "agreements", lambda r: (said.agreement(r["what"], r["notice"]), r["heard"])
    )
    yield from whole("visits' signatures", _signatures(ask, gone))
    yield from whole("visits' recalls", recalls)
    yield from whole("visits' agreements", agreements)
    yield from whole("what was put right in visits", _edits(ask))
    yield from whole("the words of visits", _words(ask))
    for row in ask("SELECT id FROM visits ORDER BY id"):
        yield from whole(f"visit {row['id']}", _looked_up(ask, row["id"]))
    counted = Counter(row["status"] for row in ask("SELECT status FROM visits"))
    for row in ask("SELECT status, n FROM tallies"):
        if counted.pop(row["status"], 0) != row["n"]:
            yield f"the count of {row['status']} visits is not right"
    yield from (f"the count of {status} visits is missing" for status in counted)


def notes(ask: Ask) -> Iterator[str]:
    """What is no fault of the history, but worth knowing: where the computer's clock had gone back."""
    late = """SELECT e.seq, e.at, p.at before FROM entries e JOIN entries p ON p.seq = e.seq - 1
        WHERE e.kind <> 'upgrade' AND (julianday(p.at) - julianday(e.at)) * 86400 > ? ORDER BY e.seq"""
    for row in ask(late, CLOCK_SECONDS):
        before, at = (str(row[name])[:16] for name in ("before", "at"))
        yield (
            f"entry {row['seq']}: the clock had gone back, from {before} to {at} (UTC); "
            "times from here on may be wrong, or those before"
        )


def _differ(what: str, told: dict[int, Any], there: Iterable[tuple[int, int, Any]]) -> Iterator[str]:
    """told: by entry, its visit and more. there: rows by entry and visit."""
    left = dict(told)
    for entry, visit, found in there:
        if entry not in left:
            yield f"visit {visit}: {what} stands there that no entry says, or twice (entry {entry})"
        elif left.pop(entry) != (visit, found):
            yield f"visit {visit}, entry {entry}: {what} is not what was entered"
    yield from (f"visit {visit}, entry {entry}: {what} is missing" for entry, (visit, _) in left.items())


def _signatures(ask: Ask, gone: set[int]) -> Iterator[str]:
    told = {}
    for row in ask("SELECT seq, visit_id, who, at, content FROM entries WHERE kind = 'sign'"):
        content = json.loads(row["content"] or "{}")
        more = (content.get("role"), content.get("why") or None)
        told[row["seq"]] = (row["visit_id"], (row["who"], row["at"], *(more if row["content"] else ())))
    there = (
        (
            r["entry"],
            r["visit_id"],
            (r["who"], r["at"], *(() if r["visit_id"] in gone else (r["role"], r["reason"]))),
        )
        for r in ask("SELECT * FROM signatures ORDER BY id")
    )
    yield from _differ("a signature", told, there)


def _stated(
    ask: Ask, gone: set[int], kind: str, table: str, shown: Callable[[dict[str, Any]], Any]
) -> Iterator[str]:
    """A table whose rows are entries of one kind, each in words in its entry."""
    told = {}
    for row in ask("SELECT seq, visit_id, who, at, content FROM entries WHERE kind = ?", kind):
        if row["visit_id"] not in gone:
            content = json.loads(row["content"])
            what = (content["what"], content.get("heard")) if kind == "agreement" else content["what"]
            told[row["seq"]] = (row["visit_id"], (row["who"], row["at"], what))
    there = (
        (r["entry"], r["visit_id"], (r["who"], r["at"], shown(r)))
        for r in ask(f"SELECT * FROM {table} ORDER BY entry")
    )
    yield from _differ(f"a row of {table}", told, there)


def _edits(ask: Ask) -> Iterator[str]:
    told: dict[int, tuple[int, list[Any]]] = {}
    undone: dict[int, bool] = {}
    for row in ask("SELECT seq, visit_id, kind, content FROM entries WHERE content IS NOT NULL ORDER BY seq"):
        content = json.loads(row["content"])
        if made := content.get("edits"):
            told[row["seq"]] = (row["visit_id"], sorted((_edit(e) for e in made), key=repr))
        if row["kind"] in ("undo", "redo"):
            undone[content["of"]] = row["kind"] == "undo"
    there: dict[int, tuple[int, list[Any]]] = {}
    for row in ask("SELECT * FROM edits"):
        there.setdefault(row["entry"], (row["visit_id"], []))[1].append(_edit(row))
        if bool(row["undone"]) != undone.get(row["entry"], False):
            yield f"visit {row['visit_id']}, entry {row['entry']}: what was undone is not what the history says"
    found = ((entry, visit, sorted(edits, key=repr)) for entry, (visit, edits) in there.items())
    yield from _differ("what was put right", told, found)


def _edit(edit: dict[str, Any]) -> tuple[Any, ...]:
    heard = " ".join(edit["heard"].lower().split()) if edit["heard"] else edit["heard"]
    return edit["field"], edit["ear"], edit["before"], edit["after"], heard


def _words(ask: Ask) -> Iterator[str]:
    """The words that visits were read from; not of recordings of which somebody's were erased."""
    erased = {
        r["recording_id"]
        for r in ask(
            "SELECT DISTINCT v.recording_id FROM entries e JOIN visits v ON v.id = e.visit_id WHERE e.kind = 'erase'"
        )
    }
    told = {}
    for row in ask("SELECT seq, visit_id, content FROM entries WHERE content LIKE '%\"words\":%'"):
        content = json.loads(row["content"])
        if mark := content.get("words"):
            told[mark["transcript"]] = (row["seq"], row["visit_id"], mark["sha256"])
    for number, (entry, visit, mark) in told.items():
        there = ask("SELECT recording_id, text, words FROM transcripts WHERE id = ?", number)
        if not there:
            yield f"visit {visit}, entry {entry}: the words it was read from are missing"
        elif there[0]["recording_id"] not in erased and words_mark(there[0]) != mark:
            yield f"visit {visit}, entry {entry}: the words it was read from were changed"


def _looked_up(ask: Ask, number: int) -> Iterator[str]:
    """What a visit can be found by, held against its record, which the replay has vouched for."""
    (row,) = ask("SELECT * FROM visits WHERE id = ?", number)
    # What an earlier form of the store held was carried over as it was.
    if row["erased"] is not None or ask(
        "SELECT 1 FROM entries WHERE visit_id = ? AND kind = 'upgrade'", number
    ):
        return
    visit, stands = Visit.model_validate_json(row["record"]), row["status"] != "replaced"
    if any(row[name] != value for name, value in rows.visit_columns(visit).items() if name != "record"):
        yield f"visit {number}: what it can be found by is not what its record says"
    for table, made in (
        ("findings", rows.finding_rows(number, visit, row["when_at"])),
        ("notices", rows.notice_rows(number, visit)),
    ):
        there = [
            {k: v for k, v in r.items() if k != "id"}
            for r in ask(f"SELECT * FROM {table} WHERE visit_id = ?", number)
        ]
        if sorted(map(_plain, there)) != sorted(map(_plain, made if stands else [])):
            yield f"visit {number}: its {table} are not what its record says"


def _plain(row: dict[str, Any]) -> str:
    return repr(sorted((k, int(v) if isinstance(v, bool) else v) for k, v in row.items()))
