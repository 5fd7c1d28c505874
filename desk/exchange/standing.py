"""How a visit stands: draft or signed, since when, and who checked it. Every output says so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shared.store import Entry, StoredVisit
from shared.store.rows import LOCKED, Status

STATES: dict[Status, str] = {
    "draft": "DRAFT, not signed",
    "amending": "DRAFT amendment, not signed",
    "signed": "signed",
    "amended": "signed, amended",
    "replaced": "replaced by a later reading",
}


@dataclass(frozen=True)
class Standing:
    """state: in words. at: when it was signed, or last changed if it is not; UTC, ISO 8601. checked_by: who
    signed it, None if nobody has checked it as it stands. reason: of the amendment, "" if none."""

    status: Status
    at: str
    checked_by: str | None
    reason: str

    @property
    def state(self) -> str:
        """Draft or signed, in words."""
        return STATES[self.status]

    @property
    def made(self) -> str:
        """How the record came about."""
        return f"made from dictation, {f'checked by {self.checked_by}' if self.checked_by else 'not yet checked'}"


def of(stored: StoredVisit, entries: Sequence[Entry]) -> Standing:
    """How a visit stands after its history."""
    signed = next((e for e in reversed(entries) if e.kind == "sign"), None)
    amended = next((e for e in reversed(entries) if e.kind == "amend"), None)
    reason = amended.why if amended and stored.status in ("amending", "amended") else ""
    if stored.status in LOCKED and signed:
        return Standing(stored.status, signed.at, signed.who, reason)
    return Standing(stored.status, entries[-1].at if entries else stored.added, None, reason)
