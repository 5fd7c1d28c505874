"""Keeping what was read from a recording, and the recording itself.

One recording is one transaction: after a crash at any moment it is there as a whole, or not at all.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from shared.errors import BadInput, StoreError
from shared.naming import readable
from shared.record import Visit
from shared.store import chain, rows, schema, sounds, standing
from shared.store.base import MACHINE, Base
from shared.store.faults import faults
from shared.transcript import Transcript

_RECORDING = """SELECT id, name, kind, status, reason, tries, path, sound IS NOT NULL sound, bytes, seconds,
    started, started_from, added FROM recordings"""


class Readings(Base):
    """The part of the store that takes readings in."""

    def keep(
        self,
        recording: rows.Recording,
        transcript: Transcript,
        visits: Sequence[Visit],
        *,
        replace: bool = False,
        keep_sound: bool = False,
    ) -> rows.Kept:
        """Keep what was read from one recording; its earlier drafts give way.

        A visit that a person has changed or signed stays as it is; `replace` overrides that, but never for signed
        ones. The others of its recording give way if the new reading has the same bounds for those that stay
        (see `standing`); else all stay, and so they do where a visit was erased, which must not come back.
        What was replaced stays in the database, with its history, marked `replaced`.
        keep_sound: also keep a copy of the file at `recording.path`.
        Raises StoreError, and BadInput for a recording that was erased; then nothing of it was kept (but perhaps the
        copy, which the next call finds).
        """
        known = self._known(recording)
        if known and known["erased"]:
            raise BadInput("was erased, at a patient's request", where=recording.name, remedy="Leave it out.")
        copy = self._keep_sound(recording) if keep_sound and not (known and known["sound_erased"]) else None
        at = schema.now()
        with self._writing():
            recording_id = self._recording(recording, transcript, at)
            if copy:
                self._execute("UPDATE recordings SET sound = ? WHERE id = ?", copy, recording_id)
            return self._read_anew(recording_id, transcript, visits, recording.clinician, at, replace=replace)

    def _read_anew(
        self,
        recording_id: int,
        transcript: Transcript,
        visits: Sequence[Visit],
        clinician: str | None,
        at: str,
        *,
        replace: bool,
    ) -> rows.Kept:
        before = self._standing(recording_id)
        ids = tuple(row["id"] for row in before)
        stay = [row for row in before if self._stays(row, replace=replace)]
        give_way = [row for row in before if row not in stay]
        same_words = self.last_transcript(recording_id) == transcript
        slack = 0.0 if same_words else standing.SLACK_SECONDS
        beside = standing.beside([_visit(row) for row in stay], visits, slack=slack)
        if stay and (beside is None or not (beside or give_way) or self._erased_in(recording_id)):
            return rows.Kept(recording_id, ids, "left")
        fresh = [(n, *_entered_before(visit, give_way, slack, clinician)) for n, visit in beside or ()]
        if same_words and [row["record"] for row in give_way] == [rows.record_json(v) for _, v, _ in fresh]:
            return rows.Kept(recording_id, ids, "unchanged")
        for row in give_way:
            after = self._state(row) | {"status": "replaced"}
            what = {"what": "gave way to a later reading of the recording"}
            self._enter(row, after, kind="replaced", who=MACHINE, at=at, content=what)
        transcript_id = self._transcript(recording_id, transcript, at)
        among = standing.places([(_visit(row), row["place"]) for row in stay], [v for _, v, _ in fresh])
        taken = {row["ordinal"] for row in stay}
        spare = itertools.count(max([len(visits), *taken]) + 1)
        made = []
        for (n, visit, by), place in zip(fresh, among, strict=True):
            number = next(spare) if n in taken else n
            new = self._new_visit(recording_id, transcript_id, number, visit, at, clinician=by, place=place)
            made.append(new)
        self._execute("DELETE FROM words_fts WHERE rowid = ?", -recording_id)
        now = tuple(row["id"] for row in self._standing(recording_id))
        if not now and transcript.text.strip():
            self._execute("INSERT INTO words_fts (rowid, text) VALUES (?, ?)", -recording_id, transcript.text)
        outcome: rows.Outcome = "partly" if stay else "replaced" if ids else "new"
        return rows.Kept(recording_id, now, outcome, tuple(made))

    def wait(self, recording: rows.Recording) -> int:
        """Note that a recording is to be read; one that is known stays as it is. Returns its id."""
        with self._writing():
            known = self._known(recording)
            return int(known["id"]) if known else self._add(recording, "waiting", schema.now())

    def fail(self, recording: rows.Recording, reason: str) -> int:
        """Note that reading a recording failed, and why; one that was read already stays read. Returns its id."""
        with self._writing():
            known = self._known(recording)
            number = known["id"] if known else self._add(recording, "failed", schema.now())
            self._execute(
                """UPDATE recordings SET status = 'failed', reason = ?, tries = tries + 1
                WHERE id = ? AND status IN ('waiting', 'failed')""",
                reason,
                number,
            )
            return int(number)

    def recordings(self, status: str | None = None, *, limit: int = 1000) -> list[rows.RecordingRow]:
        """Recordings, the latest first; those of one status only if one is given."""
        asked = ("WHERE status = ?", status) if status else ("WHERE ? IS NULL", None)
        return [
            _recording_row(row)
            for row in self._rows(f"{_RECORDING} {asked[0]} ORDER BY id DESC LIMIT ?", asked[1], limit)
        ]

    def known(self, sha256: str) -> rows.RecordingRow | None:
        """The recording with these bytes; None if there is none."""
        return next((_recording_row(r) for r in self._rows(f"{_RECORDING} WHERE sha256 = ?", sha256)), None)

    def last_transcript(self, recording_id: int) -> Transcript | None:
        """What was heard of a recording when it was last read; None if it has not been."""
        latest = "SELECT max(id) id FROM transcripts WHERE recording_id = ? AND NOT of_visit"
        (row,) = self._rows(latest, recording_id)
        return self.transcript(row["id"]) if row["id"] else None

    def recording(self, recording_id: int) -> rows.RecordingRow:
        """One recording. Raises BadInput if there is none."""
        found = self._rows(f"{_RECORDING} WHERE id = ?", recording_id)
        if not found:
            raise BadInput("there is no such recording", where=f"recording {recording_id}")
        return _recording_row(found[0])

    def sound(self, recording_id: int) -> Path | None:
        """The file that can be played for a recording: the copy that is kept, else the file where it lay when
        it was read, if it is still there and as large as it was; None if there is neither, or it was deleted."""
        found = self._rows(
            "SELECT sound, path, bytes FROM recordings WHERE id = ? AND sound_erased IS NULL", recording_id
        )
        for row in found:
            if kept := sounds.place_of(self.folder, row["sound"] or ""):
                return kept
            lay = Path(row["path"] or "")
            if lay.is_file() and lay.stat().st_size == row["bytes"]:
                return lay
        return None

    def transcript(self, transcript_id: int) -> Transcript:
        """A transcript as it was kept. Raises StoreError if there is none."""
        found = self._rows("SELECT * FROM transcripts WHERE id = ?", transcript_id)
        if not found:
            raise StoreError("there is no such transcript", where=f"transcript {transcript_id}")
        row = {key: value for key, value in found[0].items() if key in Transcript.model_fields}
        return Transcript.model_validate(row | {k: json.loads(row[k]) for k in ("words", "settings")})

    def _keep_sound(self, recording: rows.Recording) -> str | None:
        if recording.path is None or recording.kind != "sound":
            return None
        with faults(sounds.folder(self.folder)):
            return sounds.keep(self.folder, recording.path, recording.sha256)

    def _standing(self, recording_id: int) -> list[dict[str, Any]]:
        """The visits of a recording that stand, in its order."""
        return self._rows(
            "SELECT * FROM visits WHERE recording_id = ? AND status <> 'replaced' ORDER BY place",
            recording_id,
        )

    def _stays(self, row: dict[str, Any], *, replace: bool) -> bool:
        """Whether a visit is not the machine's alone any more."""
        if row["status"] != "draft":
            return True
        by_people = "SELECT 1 FROM entries WHERE visit_id = ? AND who <> ? LIMIT 1"
        return not replace and bool(self._rows(by_people, row["id"], MACHINE))

    def _erased_in(self, recording_id: int) -> bool:
        erased = "SELECT 1 FROM visits WHERE recording_id = ? AND erased IS NOT NULL LIMIT 1"
        return bool(self._rows(erased, recording_id))

    def _known(self, recording: rows.Recording) -> dict[str, Any] | None:
        """The recording's row: by its bytes, or by its path if nobody could read them."""
        found = []
        if recording.sha256:
            found = self._rows("SELECT * FROM recordings WHERE sha256 = ?", recording.sha256)
        if not found and recording.path:
            found = self._rows(
                "SELECT * FROM recordings WHERE sha256 IS NULL AND path = ?", readable(recording.path)
            )
        return found[0] if found else None

    def _add(self, recording: rows.Recording, status: str, at: str) -> int:
        row = {
            "sha256": recording.sha256 or None,
            "name": readable(recording.name),
            "bytes": recording.bytes,
            "kind": recording.kind,
            "status": status,
            "path": readable(recording.path) if recording.path else None,
            "started": recording.started,
            "started_from": recording.started_from,
            "added": at,
        }
        return _inserted(self._db.table("recordings").insert(row))

    def _recording(self, recording: rows.Recording, transcript: Transcript, at: str) -> int:
        known = self._known(recording)
        number = known["id"] if known else self._add(recording, "waiting", at)
        started, how = _start(recording, transcript, at)
        if known and known["started"] and recording.started is None:
            started, how = known["started"], known["started_from"]  # a copy's file time says less
        now_known = {
            "sha256": recording.sha256 or None,
            "seconds": transcript.duration,
            "status": "read" if transcript.text.strip() else "no_speech",
            "reason": None,
            "tries": (known["tries"] if known else 0) + 1,
            "started": started,
            "started_from": how,
        }
        if recording.path:
            now_known["path"] = readable(recording.path)
        self._db.table("recordings").update(number, now_known)
        return int(number)

    def _transcript(self, recording_id: int, transcript: Transcript, at: str) -> int:
        """The transcript's id; the recording's latest if it is the same."""
        latest = "SELECT max(id) id FROM transcripts WHERE recording_id = ? AND NOT of_visit"
        for row in self._rows(latest, recording_id):
            if row["id"] and self.transcript(row["id"]) == transcript:
                return int(row["id"])
        return self._add_transcript(recording_id, transcript, at)

    def _add_transcript(
        self, recording_id: int, transcript: Transcript, at: str, *, of_visit: bool = False
    ) -> int:
        values = transcript.model_dump(mode="json")
        values |= {key: json.dumps(values[key], ensure_ascii=False) for key in ("words", "settings")}
        row = {"recording_id": recording_id, **values, "added": at, "of_visit": int(of_visit)}
        return _inserted(self._db.table("transcripts").insert(row))

    def _new_visit(
        self,
        recording_id: int,
        transcript_id: int,
        ordinal: int,
        visit: Visit,
        at: str,
        *,
        clinician: str | None = None,
        place: float | None = None,
    ) -> int:
        (recording,) = self._rows("SELECT started, started_from FROM recordings WHERE id = ?", recording_id)
        state = {
            "record": visit.model_dump(mode="json", exclude_none=True),
            "status": "draft",
            "transcript": transcript_id,
            "when": _later(recording["started"] or at, visit),
            "when_from": recording["started_from"] or "reading",
        }
        if clinician:
            state["clinician"] = clinician
        what = "read from the recording"
        return self._begin(
            recording_id, ordinal, state, kind="read", who=MACHINE, at=at, what=what, place=place
        )

    def _begin(
        self,
        recording_id: int,
        ordinal: int,
        state: dict[str, Any],
        *,
        kind: str,
        who: str,
        at: str,
        what: str,
        place: float | None = None,
    ) -> int:
        """A new visit in this state, its history begun."""
        visit = Visit.model_validate(state["record"])
        start = visit.extent.chars[0] if visit.extent else ordinal
        row = {
            "recording_id": recording_id,
            "transcript_id": state["transcript"],
            "ordinal": ordinal,
            "place": place if place is not None else start,
            "status": state["status"],
            "when_at": state["when"],
            "when_from": state["when_from"],
            "clinician": state.get("clinician"),
            **rows.visit_columns(visit),
            "added": at,
        }
        visit_id = _inserted(self._db.table("visits").insert(row))
        content = {"what": what, "start": state, "state": chain.digest(state)}
        content |= self._words(state["transcript"])
        chain.append(self._db, visit=visit_id, kind=kind, who=who, at=at, content=content)
        self._look_up(visit_id)
        return visit_id


def _visit(row: dict[str, Any]) -> Visit:
    return Visit.model_validate_json(row["record"])


def _entered_before(
    visit: Visit, give_way: Sequence[dict[str, Any]], slack: float, clinician: str | None
) -> tuple[Visit, str | None]:
    """A visit of a new reading and its clinician, with what was entered with the recording for the visit in whose
    place it comes: a list may not lie beside the recording any more."""
    for row in give_way:
        old = _visit(row)
        if standing.matches(old, visit, slack=slack):
            reference = old.patient_reference
            if visit.patient_reference is None and reference and reference.origin == "entered":
                visit = visit.model_copy(update={"patient_reference": reference})
            return visit, clinician or row["clinician"]
    return visit, clinician


def _recording_row(row: dict[str, Any]) -> rows.RecordingRow:
    return rows.RecordingRow(**{**row, "sound": bool(row["sound"])})


def _start(recording: rows.Recording, transcript: Transcript, at: str) -> tuple[str, rows.TimeFrom]:
    """When the recording begins. A file's own time is that of its end."""
    if recording.started:
        return rows.normal(recording.started), recording.started_from or "metadata"
    if recording.modified:
        ended = datetime.fromisoformat(recording.modified)
        return rows.iso(ended - timedelta(seconds=transcript.duration or 0)), "file_time"
    return at, "reading"


def _later(started: str, visit: Visit) -> str:
    seconds = visit.extent.seconds[0] if visit.extent and visit.extent.seconds else 0.0
    return rows.iso(datetime.fromisoformat(started) + timedelta(seconds=seconds)) if seconds else started


def _inserted(table: Any) -> int:
    return int(table.last_pk)
