"""Erasing what is held of a patient, at their request. What stays is a tombstone: that, when and by whom.

The entries of an erased visit lose their content and keep their hashes, so the chain holds; `verify` names each.
What is gone is gone from the file as well: freed pages are overwritten with zeros, and the journal is emptied.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from shared.errors import BadInput, NotAllowed
from shared.store import chain, rows, schema
from shared.store.checking_tables import STANDING
from shared.store.faults import faults
from shared.store.lists import Lists
from shared.store.retention import Retention


@dataclass(frozen=True)
class Held:
    """What is held of one patient.

    visits: those that stand. recordings: those they were said in. others: visits of other patients in the same
    recordings; unsigned: those of them that nobody has signed.
    """

    visits: tuple[int, ...]
    recordings: tuple[int, ...]
    others: tuple[int, ...]
    unsigned: tuple[int, ...]


@dataclass
class Erased:
    """What was erased, and what could not be: one line each."""

    visits: list[int] = field(default_factory=list)
    recordings: list[int] = field(default_factory=list)
    left: list[str] = field(default_factory=list)


class Erasure(Retention, Lists):
    """The part of the store that erases."""

    def held(self, reference: str) -> Held:
        """What is held under a patient's reference (as `rows.folded` has it). Raises BadInput if nothing is."""
        visits = self.of_patient(reference)
        if not visits:
            raise BadInput(
                "nothing is held under this reference",
                where=reference or "patient",
                remedy="See: earside list",
            )
        recordings = sorted({self._row(number)["recording_id"] for number in visits})
        others = [
            row
            for recording in recordings
            for row in self._rows(
                f"SELECT id, status FROM visits WHERE recording_id = ? AND {STANDING} ORDER BY id", recording
            )
            if row["id"] not in visits
        ]
        return Held(
            tuple(visits),
            tuple(recordings),
            tuple(row["id"] for row in others),
            tuple(row["id"] for row in others if row["status"] not in rows.LOCKED),
        )

    def erase_recordings(self, reference: str, who: str, why: str) -> Erased:
        """Delete the sound of a patient's visits; the records stay. Raises NotAllowed if one of the recordings
        holds a visit that is not signed, or `who` is no clinician; BadInput without a reason."""
        name, held = self._eraser(who, why), self.held(reference)
        drafts = [n for n in held.visits if self._row(n)["status"] not in rows.LOCKED]
        self._all_signed([*drafts, *held.unsigned])
        done, at = Erased(), schema.now()
        with self._writing():
            for number in held.recordings:
                if self._rows("SELECT 1 FROM recordings WHERE id = ? AND sound_erased IS NULL", number):
                    told = "its recording was erased at the patient's request"
                    self._let_sound_go(number, name, told, why.strip(), at)
                    done.recordings.append(number)
        done.left += self._elsewhere(held.recordings)
        self.sweep()
        return done

    def erase_patient(self, reference: str, who: str, why: str) -> Erased:
        """Erase everything that is held of a patient: records, words, history, sound. Other patients in the same
        recordings keep their records and words, and lose the sound. Raises as `erase_recordings`; drafts of the
        patient's own need not be signed."""
        name, held = self._eraser(who, why), self.held(reference)
        self._all_signed(held.unsigned)
        done, at = Erased(left=self._elsewhere(held.recordings)), schema.now()
        self._execute("PRAGMA secure_delete = ON")
        try:
            with self._writing():
                for number in held.recordings:
                    self._erase_recording(number, held, name, why.strip(), at, done)
                self._execute("INSERT INTO words_fts (words_fts) VALUES ('optimize')")
        finally:
            self._execute("PRAGMA secure_delete = OFF")
        with faults(self.path):
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        self.sweep()
        return done

    # --- underneath

    def _eraser(self, who: str, why: str) -> str:
        person = self._worker(who)
        if person.role != "clinician":
            raise NotAllowed(
                f"{person.name} is here as {person.role}; only a clinician may erase",
                where="erasing",
                remedy="Have a clinician do it.",
            )
        if not why.strip():
            raise BadInput("it needs a reason", where="erasing", remedy="Say why; name nobody in it.")
        return person.name

    @staticmethod
    def _all_signed(numbers: Iterable[int]) -> None:
        if numbers := list(numbers):
            raise NotAllowed(
                f"the recording also holds what nobody has signed (visit {', '.join(map(str, numbers))})",
                where="erasing",
                remedy="Check and sign that first: it could not be checked by ear any more.",
            )

    def _elsewhere(self, recordings: Iterable[int]) -> list[str]:
        """Files that are not ours to delete."""
        left = [
            f"{row['path']}: the file that was taken in, if it is still there"
            for number in recordings
            for row in self._rows("SELECT path FROM recordings WHERE id = ? AND path IS NOT NULL", number)
        ]
        older = sorted(self.folder.glob("earside*-before-*"))
        return left + [f"{copy}: the store as it was before an upgrade" for copy in older]

    def _erase_recording(self, number: int, held: Held, who: str, why: str, at: str, done: Erased) -> None:
        """One recording of the patient: their visits, whatever gave way, and words that nobody else's visit has."""
        rest = [
            row
            for row in self._rows(f"SELECT * FROM visits WHERE recording_id = ? AND {STANDING}", number)
            if row["id"] not in held.visits
        ]
        self._let_sound_go(number, who, "its recording was erased with another patient's", why, at)
        gone = [
            row
            for row in self._rows("SELECT * FROM visits WHERE recording_id = ? AND erased IS NULL", number)
            if row["id"] not in {r["id"] for r in rest}
        ]
        for other in rest:
            if any(set(p.together) & {row["id"] for row in gone} for p in self._past(other["id"])):
                done.left.append(f"visit {other['id']}: its history holds words from before it was divided")
        for row in gone:
            self._erase_visit(row["id"], who, why, at)
            done.visits.append(row["id"])
        for row in self._rows("SELECT id, text FROM transcripts WHERE recording_id = ?", number):
            self._erase_words(row, [r for r in rest if r["transcript_id"] == row["id"]])
        if not rest:
            self._execute(
                "UPDATE recordings SET name = 'erased', path = NULL, reason = NULL, erased = ? WHERE id = ?",
                at,
                number,
            )
            self._execute("DELETE FROM words_fts WHERE rowid = ?", -number)
        done.recordings.append(number)

    def _erase_visit(self, number: int, who: str, why: str, at: str) -> None:
        content = {"what": "everything held of this visit was erased", "why": why}
        entry = chain.append(self._db, visit=number, kind="erase", who=who, at=at, content=content)
        self._execute("UPDATE entries SET content = NULL WHERE visit_id = ? AND seq < ?", number, entry)
        self._execute(
            """UPDATE visits SET status = 'replaced', erased = ?, record = ?, patient_reference = NULL, ears = '',
            to_check = 0, to_decide = 0, char_start = NULL, char_end = NULL, second_start = NULL, second_end = NULL,
            when_at = ?, when_from = 'reading', clinician = NULL WHERE id = ?""",
            at,
            rows.NOTHING,
            at,
            number,
        )
        for table in ("findings", "notices", "edits", "recalls", "agreements"):
            self._execute(f"DELETE FROM {table} WHERE visit_id = ?", number)
        self._execute("UPDATE signatures SET reason = NULL WHERE visit_id = ?", number)
        self._execute("DELETE FROM words_fts WHERE rowid = ?", number)

    def _erase_words(self, row: dict[str, Any], rest: list[dict[str, Any]]) -> None:
        """Leave of a transcript only the stretches of the visits that stay; their places in it stay as well."""
        spans = [(r["char_start"], r["char_end"]) for r in rest]
        if any(start is None for start, _ in spans):
            spans = [(0, len(row["text"]))]  # a visit that is all of the recording
        text = "".join(c if any(a <= n < b for a, b in spans) else " " for n, c in enumerate(row["text"]))
        words = [
            word.model_dump(mode="json")
            for word in self.transcript(row["id"]).words
            if any(a <= word.chars[0] and word.chars[1] <= b for a, b in spans)
        ]
        self._db.table("transcripts").update(
            row["id"], {"text": text if spans else "", "words": chain.canonical(words), "source": ""}
        )
