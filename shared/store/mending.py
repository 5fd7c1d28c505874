"""What can still be read of a damaged database, put into a new one; what is lost is said.

Rows are read past the damaged pages. The history comes first: an entry counts only if its hashes hold, and a visit is
what its entries come to. Where entries of a visit are gone, its row stands for it, and an entry of kind "mend" begins
its history anew; another names all that were lost, so that `verify` can tell damage that was said from tampering that
was not. A signature whose entry is gone counts no more: the visit is open to be signed again.
"""

from __future__ import annotations

import json
import shutil
from collections import defaultdict
from collections.abc import Collection
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shared.errors import StoreError
from shared.protecting import key_file, unlocking
from shared.record import Visit
from shared.store import chain, opening, rows, said, salvage, schema, verifying
from shared.store.base import MACHINE
from shared.store.salvage import Row
from shared.store.store import Store


@dataclass(frozen=True)
class Mended:
    """What came of it. visits: how many are there again. lost: one line for each thing that is not."""

    visits: int
    lost: tuple[str, ...]


def mend(folder: Path, to: Path) -> Mended:
    """Make a new store in the empty folder `to` of what can be read in `folder`, which stays as it is.

    Raises StoreError if not even its list of tables can be read, or the new one cannot be written; as
    `unlocking.vault`.
    """
    vault = unlocking.vault(folder)
    source = folder / opening.file_name(vault)
    if not source.is_file():
        raise StoreError("there is no store", where=str(folder), remedy="Choose the data folder with --data.")
    if vault:
        shutil.copy2(folder / key_file.NAME, to / key_file.NAME)
        unlocking.hold(to, vault)
    copy = to / "damaged.db"
    for ending in ("", "-wal"):
        if (there := Path(f"{source}{ending}")).exists():
            shutil.copyfile(there, f"{copy}{ending}")
    salvage.lengthen(copy)
    with Store(to) as store:
        try:
            with closing(opening.connect(copy, vault)) as db:
                found, lost = salvage.read(db, store._db, source)
        finally:
            for ending in ("", "-wal", "-shm"):
                Path(f"{copy}{ending}").unlink(missing_ok=True)
        return _Mending(store, found, lost).done()


class _Mending:
    """Fills a new store. Everything is one transaction."""

    def __init__(self, store: Store, found: dict[str, list[Row]], lost: list[str]) -> None:
        self._store, self._db, self._found, self._lost = store, store._db, found, lost
        self._at, self._whole = schema.now(), False
        self._entries = {e["seq"]: e for e in found["entries"] if _holds(e)}
        self._of: dict[int, list[Row]] = defaultdict(list)
        self._marks: dict[int, str] = {}
        for _, entry in sorted(self._entries.items()):
            if entry["visit_id"] is not None:
                self._of[entry["visit_id"]].append(entry)
            if entry["content"] and (words := json.loads(entry["content"]).get("words")):
                self._marks[words["transcript"]] = words["sha256"]

    def done(self) -> Mended:
        """Put in what there is, say what there is not."""
        self._db.execute("PRAGMA foreign_keys = OFF")
        guards = list(
            self._db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        )
        with self._store._writing():
            for name, _ in guards:
                self._db.execute(f"DROP TRIGGER {name}")
            for table in salvage.AS_THEY_ARE:
                self._put(table, self._found[table])
            self._put("entries", list(self._entries.values()))
            self._gaps()
            visits = [self._visit(number) for number in self._numbers()]
            for table in salvage.BY_ENTRY:
                if gone := sum(row["entry"] not in self._entries for row in self._found[table]):
                    self._lost.append(f"{table}: {gone} that no entry of the history stands for")
            for entry in self._entries.values():
                self._beside(entry)
            self._recordings()
            self._people()
            self._look_up()
            for _, sql in guards:
                self._db.execute(sql)
            if broken := self._db.execute("PRAGMA foreign_key_check").fetchall():
                raise StoreError(
                    f"{len(broken)} loose ends", where=str(self._store.path), remedy="Ask for help."
                )
        found = self._store.verify()
        return Mended(len(visits), (*self._lost, *found.faults))

    def _put(self, table: str, there: list[Row]) -> None:
        """Put in rows; one that comes twice in a damaged table counts once."""
        for row in there:
            names = ", ".join(row)
            places = ", ".join(f":{name}" for name in row)
            self._db.execute(f"INSERT OR IGNORE INTO {table} ({names}) VALUES ({places})", row)

    def _enter(self, visit: int | None, what: str, **more: Any) -> None:
        chain.append(
            self._db, visit=visit, kind="mend", who=MACHINE, at=self._at, content={"what": what, **more}
        )

    def _gaps(self) -> None:
        """Say which entries are gone."""
        gaps = _missing(self._entries)
        self._enter(None, "saved from a damaged store", lost=gaps)
        self._whole = not gaps and not any(line.startswith("entries:") for line in self._lost)
        self._lost += [
            f"entries {a} to {b} of the history" if a < b else f"entry {a} of the history" for a, b in gaps
        ]

    def _numbers(self) -> list[int]:
        """The visits there are. A row without an entry is one whose entries are gone; if none is, it is damage."""
        there = self._of.keys() | (set() if self._whole else {row["id"] for row in self._found["visits"]})
        self._lost += [
            f"visits {a} to {b}: all of them" if a < b else f"visit {a}: all of it"
            for a, b in _missing(there)
        ]
        return sorted(there)

    def _visit(self, number: int) -> int:
        """Put in a visit, from its entries or its row, or empty if neither is whole; its number."""
        row = next((r for r in self._found["visits"] if r["id"] == number), None)
        if row and row["erased"]:
            self._put("visits", [row])
            return number
        state = self._replayed(number)
        stands = self._stands(row) if row else None
        # Where entries are gone, they may be this visit's last: then its row knows more.
        anew = state is None or (stands is not None and stands != state and not self._whole)
        if anew:
            state = stands
        if state is None:
            # Its entries are there, and need something to be entries of.
            (words_id,) = self._db.execute("SELECT coalesce(max(id), 0) + 1 FROM transcripts").fetchone()
            record = Visit().model_dump(mode="json", exclude_none=True)
            state = {
                "record": record,
                "status": "replaced",
                "transcript": words_id,
                "when": self._at,
                "when_from": "reading",
            }
            self._lost.append(f"visit {number}: its record")
        elif anew:
            self._lost.append(f"visit {number}: a part of its history")
            signed = any(e["kind"] == "sign" for e in self._of[number][-1:])
            if state["status"] in rows.LOCKED and not signed:
                state = state | {"status": "amending"}
                self._lost.append(f"visit {number}: its signature; check it and sign it again")
        words, other = self._words_of(number, row, state)
        self._put("visits", [self._row(number, row, state)])
        if anew or other:
            self._enter(
                number,
                "what it is was saved from a damaged store",
                start=state,
                state=chain.digest(state),
                words=words,
            )
        return number

    def _stands(self, row: Row) -> Any:
        """The state that a visit's row holds; None if its record is not whole."""
        try:
            state = self._store._state(row)
            Visit.model_validate(state["record"])
        except (ValueError, KeyError, TypeError):
            return None
        return state

    def _replayed(self, number: int) -> Any:
        """The state that a visit's entries come to; None if they do not follow on each other from its beginning."""
        state: Any = None
        try:
            for entry in sorted(self._of[number], key=lambda e: int(e["seq"])):
                content = json.loads(entry["content"])
                state = content["start"] if "start" in content else chain.applied(state, content["steps"])
                if chain.digest(state) != content["state"]:
                    return None
        except (ValueError, KeyError, IndexError, TypeError):
            return None
        return state

    def _words_of(self, number: int, row: Row | None, state: Any) -> tuple[dict[str, Any], bool]:
        """The mark of the words that a visit rests on, and whether they are others than the history says: what
        damage left of them, or an empty text in their place."""
        held = self._db.execute(
            "SELECT text, words FROM transcripts WHERE id = ?", [state["transcript"]]
        ).fetchone()
        if held is None:
            recording = row["recording_id"] if row else self._recording(number)
            empty = {
                "text": "",
                "words": "[]",
                "source": "",
                "language": "en",
                "settings": "{}",
                "of_visit": 0,
            }
            about = {"id": state["transcript"], "recording_id": recording, "added": self._at}
            self._put("transcripts", [about | empty])
            self._lost.append(f"visit {number}: the words it was read from")
        text, words = held or ("", "[]")
        mark = verifying.words_mark({"text": text, "words": words})
        other = held is not None and self._marks.get(state["transcript"], mark) != mark
        if other:
            self._lost.append(
                f"visit {number}: some of the words it was read from, which are not as they were"
            )
        return {"transcript": state["transcript"], "sha256": mark}, held is None or other

    def _recording(self, number: int) -> int:
        """The recording of a visit of which neither row nor words are there: one that says so."""
        at = self._db.execute("SELECT coalesce(max(id), 0) + 1 FROM recordings").fetchone()[0]
        about = {"id": at, "name": f"lost, of visit {number}", "added": self._at}
        self._put("recordings", [about | {"bytes": 0, "kind": "sound", "status": "read"}])
        return int(at)

    def _recordings(self) -> None:
        """Recordings that are gone while their words or visits are there: rows that say so."""
        there = "SELECT recording_id id FROM transcripts UNION SELECT recording_id FROM visits"
        for (number,) in self._db.execute(f"{there} EXCEPT SELECT id FROM recordings").fetchall():
            about = {"id": number, "name": "lost", "added": self._at, "bytes": 0}
            self._put("recordings", [about | {"kind": "sound", "status": "read"}])
            self._lost.append(f"recording {number}: its name and where its sound is")

    def _row(self, number: int, row: Row | None, state: Any) -> Row:
        visit = Visit.model_validate(state["record"])
        held = self._db.execute(
            "SELECT recording_id FROM transcripts WHERE id = ?", [state["transcript"]]
        ).fetchone()
        unknown = 1000 + number  # which it had in its recording is not known
        base = row or {
            "id": number,
            "recording_id": held[0],
            "ordinal": unknown,
            "place": visit.extent.chars[0] if visit.extent else number,
            "revision": len(self._of[number]) or 1,
            "added": self._at,
        }
        if self._db.execute(
            "SELECT 1 FROM visits WHERE recording_id = ? AND ordinal = ?",
            [base["recording_id"], base["ordinal"]],
        ).fetchone():
            base = base | {"ordinal": unknown}  # a damaged row has another's
        return (
            base
            | rows.visit_columns(visit)
            | {
                "transcript_id": state["transcript"],
                "status": state["status"],
                "when_at": state["when"],
                "when_from": state["when_from"],
                "clinician": state.get("clinician"),
            }
        )

    def _beside(self, entry: Row) -> None:
        """Put down again what an entry says beside the record: a signature, what was put right, a recall, an answer."""
        if entry["visit_id"] is None or entry["content"] is None:
            return
        content, number = json.loads(entry["content"]), entry["seq"]
        about = {"entry": number, "visit_id": entry["visit_id"]}
        made = about | {"who": entry["who"], "at": entry["at"]}
        match entry["kind"]:
            case "sign":
                self._put("signatures", [made | {"role": content["role"], "reason": content["why"] or None}])
            case "recall":
                what = next(w for w in ("done", "declined", "open", "postponed") if w in content["what"])
                until = content["what"].rpartition(" ")[2] if what == "postponed" else None
                self._put("recalls", [made | {"what": what, "until": until}])
            case "agreement":
                row = next((r for r in self._found["agreements"] if r["entry"] == number), None)
                told = {said.agreement(w, None): w for w in ("agreed", "declined", "open")}
                what = told.get(content["what"], "notice")
                notice = content["what"].partition("“")[2].rstrip("”") if what == "notice" else None
                answer = made | {"what": what, "notice": notice, "heard": content.get("heard")}
                self._put("agreements", [row or answer])
            case "undo" | "redo":
                undone = int(entry["kind"] == "undo")
                self._db.execute("UPDATE edits SET undone = ? WHERE entry = ?", [undone, content["of"]])
        for edit in content.get("edits", ()):
            heard = " ".join(edit["heard"].lower().split()) if edit["heard"] else edit["heard"]
            self._put("edits", [about | edit | {"heard": heard}])

    def _people(self) -> None:
        """People and rules are what the history says last; what it does not say any more is entered as it stands."""
        general = {n: e for n, e in sorted(self._entries.items()) if e["visit_id"] is None and e["content"]}
        told = {number: json.loads(entry["content"]) for number, entry in general.items()}
        for number, content in told.items():
            kind = general[number]["kind"]
            if kind == "person":
                row = {"name": content["person"], "role": content["role"], "active": int(content["active"])}
                self._put("people", [row | {"added": general[number]["at"]}])
                self._db.execute("UPDATE people SET role = :role, active = :active WHERE name = :name", row)
            elif kind == "rule":
                there = [content["rule"], content["value"]]
                self._db.execute("INSERT OR REPLACE INTO rules VALUES (?, ?)", there)
        seen = {
            name for (name,) in self._db.execute("SELECT clinician FROM visits WHERE clinician IS NOT NULL")
        }
        for name in sorted((seen | {e["who"] for e in self._entries.values()}) - {MACHINE}):
            if not self._db.execute("SELECT 1 FROM people WHERE name = ?", [name]).fetchone():
                self._put("people", [{"name": name, "role": "auditor", "active": 0, "added": self._at}])
                self._lost.append(f"{name}: what they may do; set it again")
        entered = {content["person"].casefold() for content in told.values() if "role" in content}
        for name, role, active in self._db.execute("SELECT name, role, active FROM people").fetchall():
            if name.casefold() not in entered:
                now = {"person": name, "role": role, "active": bool(active)}
                self._say("person", f"{name} is here as {role}, saved from a damaged store", **now)
        rules = {content["rule"] for content in told.values() if "rule" in content}
        for name, value in self._db.execute("SELECT name, value FROM rules").fetchall():
            if name not in rules:
                self._say("rule", f"{name}: {value}, saved from a damaged store", rule=name, value=value)
        for fault in [f for f in self._store._verify_people() if "password" in f]:
            name = fault.partition(":")[0]
            self._db.execute("DELETE FROM accounts WHERE name = ?", [name])
            self._say("account", f"{name} has no password any more", person=name)
            self._lost.append(f"{name}: the password; set another")

    def _say(self, kind: str, what: str, **more: Any) -> None:
        chain.append(
            self._db, visit=None, kind=kind, who=MACHINE, at=self._at, content={"what": what, **more}
        )

    def _look_up(self) -> None:
        """All that is made of the history to find it by."""
        self._db.execute("DELETE FROM tallies")
        self._db.execute("INSERT INTO tallies SELECT status, count(*) FROM visits GROUP BY status")
        for (number,) in self._db.execute("SELECT id FROM visits WHERE erased IS NULL").fetchall():
            self._store._look_up(number)
        self._db.execute(
            """INSERT INTO words_fts (rowid, text) SELECT -t.recording_id, t.text FROM transcripts t WHERE t.text <> ''
            AND t.id = (SELECT max(id) FROM transcripts WHERE recording_id = t.recording_id) AND NOT EXISTS
            (SELECT 1 FROM visits v WHERE v.recording_id = t.recording_id AND v.status <> 'replaced')"""
        )


def _missing(there: Collection[int]) -> list[tuple[int, int]]:
    """The gaps between 1 and the highest number, each from its first to its last. What is cut off the end cannot be
    known."""
    gaps, last = [], 0
    for number in sorted(there):
        if number > last + 1:
            gaps.append((last + 1, number - 1))
        last = max(number, last)
    return gaps


def _holds(entry: Row) -> bool:
    """Whether an entry is what it was when it was made."""
    head = {k: v for k, v in entry.items() if k not in ("content", "hash")}
    content = entry["content"]
    whole = content is None or chain.hashed(content) == entry["content_hash"]
    return whole and chain.states(head, entry["hash"])
