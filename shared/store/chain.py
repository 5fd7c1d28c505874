"""The history as a chain: each entry holds the hash of the one before, so that none can change unseen.

An entry's hash covers who, when, which visit, what sort, the hash of its content and the hash before it.
It does not cover the content directly: a content that had to be erased leaves its hash, and the chain holds.
The content has a random `salt`, so that nobody can guess an erased content by hashing guesses.
SHA-256 (FIPS 180-4) over JSON with sorted keys, no spaces, UTF-8.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Iterator
from typing import Any

from sqlite_utils import Database

START = "0" * 64
"""What stands before the first entry."""

Step = tuple[list[str | int], Any, Any]
"""One difference between two states: its place, what was there and what is there now (None: nothing)."""


def canonical(data: Any) -> str:
    """One JSON text for equal data."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def digest(data: Any) -> str:
    """SHA-256 of the canonical JSON."""
    return hashlib.sha256(canonical(data).encode()).hexdigest()


def hashed(content: str) -> str:
    """SHA-256 of a content as it stands."""
    return hashlib.sha256(content.encode()).hexdigest()


def append(db: Database, *, visit: int | None, kind: str, who: str, at: str, content: dict[str, Any]) -> int:
    """Put an entry at the end of the chain and return its number; call inside a write transaction."""
    last = db.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone() or (0, START)
    seq, previous = last[0] + 1, last[1]
    text = canonical({**content, "salt": secrets.token_hex(8)})
    row = {
        "seq": seq,
        "visit_id": visit,
        "kind": kind,
        "who": who,
        "at": at,
        "content_hash": hashed(text),
        "previous": previous,
    }
    db.execute(
        """INSERT INTO entries (seq, visit_id, kind, who, at, content, content_hash, previous, hash)
        VALUES (:seq, :visit_id, :kind, :who, :at, :content, :content_hash, :previous, :hash)""",
        {**row, "content": text, "hash": digest(row)},
    )
    return int(seq)


def faults(db: Database) -> Iterator[str]:
    """What does not hold in the chain, each as one line that names the entry. What was lost to damage, as a later
    entry says, is none: see `losses`."""
    previous, expected = START, 1
    lost = losses(db)
    erased = dict(db.execute("SELECT visit_id, max(seq) FROM entries WHERE kind = 'erase' GROUP BY visit_id"))
    for row in db.query("SELECT * FROM entries ORDER BY seq"):
        seq, content, stated = row["seq"], row.pop("content"), row.pop("hash")
        known = seq > expected and _within(expected, seq - 1, lost)
        if seq != expected and not known:
            yield f"entry {expected}" + (f" to {seq - 1}" if seq > expected + 1 else "") + ": missing"
        if row["previous"] != previous and not known:
            yield f"entry {seq}: does not follow the one before it"
        if not states(row, stated):
            yield f"entry {seq}: who, when or what sort was changed"
        if content is None:
            if erased.get(row["visit_id"], 0) < seq:
                yield f"entry {seq}: its content is gone without an entry that says so"
        elif not isinstance(content, str) or hashed(content) != row["content_hash"]:
            yield f"entry {seq}: its content was changed"
        previous, expected = stated, seq + 1


def states(row: dict[str, Any], hash_: Any) -> bool:
    """Whether an entry, without its content, has this hash."""
    try:
        return bool(digest(row) == hash_)
    except TypeError:  # a damaged or falsified row can hold bytes, which no entry has
        return False


def _within(first: int, last: int, gaps: list[tuple[int, int, int]]) -> bool:
    """Whether the gaps cover all numbers from first to last. Numbers are not gone through one by one: a damaged or
    falsified entry can bear any."""
    for start, end, _ in sorted(gaps):
        if start <= first <= end:
            first = end + 1
    return first > last


def losses(db: Database) -> list[tuple[int, int, int]]:
    """The first and last entry of every gap that damage made, and the entry that says so; an entry that does not
    say it as Earside does is left out, and found by its hash."""
    found = []
    for seq, content in db.execute("SELECT seq, content FROM entries WHERE kind = 'mend'").fetchall():
        try:
            gaps = [(int(first), int(last)) for first, last in json.loads(content).get("lost", ())]
        except (TypeError, ValueError, AttributeError):
            continue
        found += [(first, last, seq) for first, last in gaps if first <= last < seq]
    return found


def differences(before: Any, after: Any, place: tuple[str | int, ...] = ()) -> list[Step]:
    """What changes `before` into `after`. Neither may hold None, which stands for "nothing there"."""
    if type(before) is type(after) and before == after and canonical(before) == canonical(after):
        return []
    if isinstance(before, dict) and isinstance(after, dict):
        keys = sorted(before.keys() | after.keys())
        return [s for k in keys for s in differences(before.get(k), after.get(k), (*place, k))]
    if isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        return [
            s
            for i, (b, a) in enumerate(zip(before, after, strict=True))
            for s in differences(b, a, (*place, i))
        ]
    return [(list(place), before, after)]


def applied(state: Any, steps: list[Step], *, backwards: bool = False) -> Any:
    """A copy of the state with the steps taken, or taken back. Raises ValueError if they do not fit it."""
    out = json.loads(json.dumps(state))
    for place, before, after in reversed(steps) if backwards else steps:
        old, new = (after, before) if backwards else (before, after)
        if not place:
            if out != old:
                raise ValueError("the steps do not fit this state")
            out = json.loads(json.dumps(new))
            continue
        node = out
        for key in place[:-1]:
            node = node[key]
        key = place[-1]
        there = node.get(key) if isinstance(node, dict) else node[key]
        if there != old:
            raise ValueError("the steps do not fit this state")
        if new is None:
            del node[key]
        else:
            node[key] = json.loads(json.dumps(new))
    return out
