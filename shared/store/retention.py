"""How long recordings are kept: as the practice decided, and never deleted before all visits in them are signed.

A sound is deleted in three steps, so that a crash between them leaves none behind: the history says so and its
name is put down in `erasing`, in one transaction; the file is removed; the name is taken off. Whoever opens the
desk next, or deletes the next sound, goes on with what was left over.
"""

from __future__ import annotations

import contextlib
import os
from datetime import UTC, datetime, timedelta
from typing import Any

from shared.store import chain, rows, schema, sounds
from shared.store.agreements import Agreements
from shared.store.base import MACHINE
from shared.store.checking_tables import LOCKED, STANDING

_DUE = f"""SELECT r.id FROM recordings r WHERE r.sound IS NOT NULL AND (? IS NULL OR r.id = ?)
    AND EXISTS (SELECT 1 FROM visits v WHERE v.recording_id = r.id AND v.{STANDING})
    AND NOT EXISTS (SELECT 1 FROM visits v WHERE v.recording_id = r.id AND v.{STANDING} AND v.status NOT IN {LOCKED})
    AND (SELECT max(s.at) FROM signatures s JOIN visits v ON v.id = s.visit_id WHERE v.recording_id = r.id) <= ?"""


class Retention(Agreements):
    """The part of the store that deletes sounds."""

    def sign(self, visit_id: int, who: str, *, revision: int, reason: str = "") -> rows.StoredVisit:
        """As `Changes.sign`; then the sound goes, if it is to be deleted at signing."""
        signed = super().sign(visit_id, who, revision=revision, reason=reason)
        if self.keep_days() == 0:
            with contextlib.suppress(OSError):  # it is signed; the next look deletes it
                self.delete_due_sounds(recording=signed.recording_id)
        return signed

    def due_sounds(self, *, now: datetime | None = None, recording: int | None = None) -> list[int]:
        """The recordings whose sound the practice's rule says to delete."""
        days = self.keep_days()
        if days is None:
            return []
        latest = rows.iso((now or datetime.now(UTC)) - timedelta(days=days))
        return [row["id"] for row in self._rows(_DUE, recording, recording, latest)]

    def delete_due_sounds(self, *, now: datetime | None = None, recording: int | None = None) -> int:
        """Delete them; returns how many. Raises OSError if a file cannot be removed; then it is tried again."""
        days, count = self.keep_days(), 0
        told = "at signing" if days == 0 else f"{days} days after signing"
        for number in self.due_sounds(now=now, recording=recording):
            with self._writing():
                if number in self.due_sounds(now=now, recording=number):  # amended meanwhile: it stays
                    self._let_sound_go(number, MACHINE, f"its recording was deleted {told}", "", schema.now())
                    count += 1
        self.sweep()
        return count

    def sweep(self) -> None:
        """Remove the files that are still to be deleted. Raises OSError."""
        for row in self._rows("SELECT name FROM erasing"):
            while place := sounds.place_of(self.folder, row["name"]):  # the plain one and the sealed one
                place.unlink()
                schema.flush(place.parent)
            with self._writing():
                self._execute("DELETE FROM erasing WHERE name = ?", row["name"])

    def _let_sound_go(self, recording: int, who: str, what: str, why: str, at: str) -> None:
        """Say in the history of each visit that the sound is deleted, and put it down to be; call inside a
        transaction."""
        (held,) = self._rows("SELECT sound FROM recordings WHERE id = ?", recording)
        for row in self._rows(f"SELECT * FROM visits WHERE recording_id = ? AND {STANDING}", recording):
            content: dict[str, Any] = {"what": what, "why": why, "steps": []}
            content["state"] = chain.digest(self._state(row))
            chain.append(self._db, visit=row["id"], kind="sound", who=who, at=at, content=content)
        if held["sound"]:
            # A copy of the same bytes is only ever one recording's, as its hash is unique.
            self._execute("INSERT OR IGNORE INTO erasing (name) VALUES (?)", os.path.basename(held["sound"]))
        self._execute("UPDATE recordings SET sound = NULL, sound_erased = ? WHERE id = ?", at, recording)
