"""What the practice decided for itself: when the desk locks, how long recordings are kept, its standing notice.

Each change is an entry of the history, with who and when.
"""

from __future__ import annotations

import json
from collections.abc import Iterator

from shared.errors import BadInput
from shared.store import chain, schema
from shared.store.base import MACHINE, Base

LOCK_MINUTES = 10
"""Ours; no source."""
MOST_LOCK_MINUTES = 240
MOST_DAYS = 36_500
_LONGEST = 300


class Rules(Base):
    """The part of the store that knows the practice's rules."""

    def lock_minutes(self) -> int:
        """After how many minutes without anybody at it the desk locks, where there are accounts."""
        return int(self._rule("lock_minutes") or LOCK_MINUTES)

    def set_lock_minutes(self, minutes: int, *, by: str = MACHINE) -> None:
        """Change it. Raises BadInput."""
        if not 1 <= minutes <= MOST_LOCK_MINUTES:
            raise BadInput(f"it can be 1 to {MOST_LOCK_MINUTES} minutes", where="locking")
        self._set_rule("lock_minutes", str(minutes), f"the desk locks after {minutes} minutes", by)

    def keep_days(self) -> int | None:
        """How many days recordings are kept after signing; 0: deleted at signing; None: kept."""
        kept = self._rule("keep_days")
        return int(kept) if kept else None

    def set_keep_days(self, days: int | None, *, by: str = MACHINE) -> None:
        """Change it. Raises BadInput."""
        if days is not None and not 0 <= days <= MOST_DAYS:
            raise BadInput(f"it can be 0 to {MOST_DAYS} days", where="recordings")
        told = (
            "recordings are kept after signing"
            if days is None
            else f"recordings are deleted {days} days after signing"
            if days
            else "recordings are deleted at signing"
        )
        self._set_rule("keep_days", "" if days is None else str(days), told, by)

    def standing_notice(self) -> str:
        """What the practice's standing notice on recording is called, "" if it has none."""
        return self._rule("notice")

    def set_standing_notice(self, name: str, *, by: str = MACHINE) -> None:
        """Change it. Raises BadInput."""
        name = " ".join(name.split())
        if len(name) > _LONGEST or not name.isprintable():
            raise BadInput(f"its name can have up to {_LONGEST} characters", where="standing notice")
        told = f"the standing notice on recording is “{name}”" if name else "there is no standing notice"
        self._set_rule("notice", name, told, by)

    def _rule(self, name: str) -> str:
        found = self._rows("SELECT value FROM rules WHERE name = ?", name)
        return str(found[0]["value"]) if found else ""

    def _set_rule(self, name: str, value: str, what: str, by: str) -> None:
        with self._writing():
            if self._rule(name) == value:
                return
            self._execute("INSERT OR REPLACE INTO rules (name, value) VALUES (?, ?)", name, value)
            content = {"what": what, "rule": name, "value": value}
            chain.append(self._db, visit=None, kind="rule", who=by, at=schema.now(), content=content)

    def _verify_rules(self) -> Iterator[str]:
        said = {}
        for row in self._rows("SELECT content FROM entries WHERE kind = 'rule' ORDER BY seq"):
            content = json.loads(row["content"])
            said[content["rule"]] = content["value"]
        there = {row["name"]: row["value"] for row in self._rows("SELECT name, value FROM rules")}
        for name in sorted(said.keys() | there.keys()):
            if said.get(name) != there.get(name):
                yield f"the practice's rule {name!r} is not what the history says"
