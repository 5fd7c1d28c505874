"""Kill every command that writes at random moments, and see what is left (no arguments needed).

    python tests/trust/killing_commands.py [TIMES] [STARTING NUMBER] [--protected]

After each kill the store must open and hold together (SQLite's own integrity check, the foreign keys, `verify` with
its replay of every visit), every entry of the history that was there before must still be there, what was acknowledged
must be there, and a file that was being written must be whole or absent. Then it goes on with the same store.
--protected: with a store that is encrypted from the beginning.
Importing and listening are killed by tests/desk/importing/test_import_killed.py and tests/benchmarks/kill_listening.py.
"""

from __future__ import annotations

import collections
import json
import os
import random
import select
import signal
import sys
import tempfile
import time
import wave
import zipfile
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from desk import checked, work
from desk.cli import cli
from desk.letters.docx import FILE
from desk.safekeeping import archive
from desk.web.app import application
from dictate import hear
from extract.reader import Reader
from shared.protecting import key_file, unlocking
from shared.protecting.key_file import WrongPassphrase
from shared.store import Store, opening
from shared.store.copying import database
from shared.transcript import Transcript

ANN, BEN = "Ann Example", "Ben Sample"
HOST, KEY = "127.0.0.1:8701", "the-key"


@dataclass(frozen=True)
class Act:
    """A command to be killed. enters: whether it adds to the history. makes: a file or folder that it writes, and
    how that is looked at; nobody looks while it is not acknowledged unless it is there."""

    kind: str
    do: Callable[[], object]
    enters: bool = False
    makes: Path | None = None
    look: Callable[[Path], object] = Path.read_bytes


class Shop:
    """A store in use, and what can be done to it next."""

    def __init__(self, folder: Path, chance: random.Random, *, protected: bool = False) -> None:
        self.folder, self.data, self.chance = folder, folder / "data", chance
        self.secret, self.other = (_secret(folder / name, name) for name in ("passphrase", "another"))
        os.environ[unlocking.VARIABLE] = str(self.secret)
        self.number = 40  # one digit would be no reference
        _prepare(Reader())
        os.environ["EARSIDE_DATA"] = str(self.data)
        if protected:
            run(_earside("protect", "--passphrase-file", str(self.secret)), None)
            assert unlocking.vault(
                self.data
            )  # held from now on: kills are to fall on the work, not on Argon2id
        for name, role in ((ANN, "clinician"), (BEN, "assistant")):
            run(_earside("people", name, "--role", role), None)
        for _ in range(6):
            run(_earside("extract", str(self._text())), None)

    def _new(self, ending: str) -> Path:
        self.number += 1
        place = self.folder / "made" / f"{self.number}{ending}"
        place.parent.mkdir(exist_ok=True)
        return place

    def _text(self, *, alone: bool = False) -> Path:
        place, chance = self._new(".txt"), self.chance
        text = (
            f"Patient {self.number}. Consent given. Right ear, blocked with hard brown wax. Microsuction. "
            f"{chance.randrange(2, 30)} millimetres removed. The drum is intact. "
            f"See again in {chance.randrange(1, 9)} months. "
        )
        other = f"Next patient {self.number}00. Left ear, soft wax, a little bleeding."
        place.write_text(text if alone else text + other)
        return place

    def _wave(self) -> Path:
        place = self._new(".wav")
        with wave.open(str(place), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(16_000)
            file.writeframes(self.chance.randbytes(64_000))
        return place

    def _opens(self, copy: Path) -> None:
        """With the one passphrase or the other."""
        text, opened = unlocking.read_key_file(copy), 0
        for secret in (self.secret, self.other):
            with suppress(WrongPassphrase):
                key_file.open_with_passphrase(text, unlocking.passphrase_in(secret), copy)
                opened += 1
        assert opened == 1

    def _visit(self, *statuses: str) -> Any:
        with Store(self.data) as store:
            found = [v for v in store.visits(limit=500).rows if v.status in statuses]
        return self.chance.choice(found) if found else None

    def _copy(self) -> Path:
        """A copy of the store, for what is done to a whole store."""
        copy = self._new("")
        archive.make(self.data, copy.with_suffix(".zip"))
        run(_earside("restore", str(copy.with_suffix(".zip")), "--data", str(copy)), None)
        return copy

    def act(self, kind: str) -> Act | None:
        """An act of a kind; None if there is nothing to do it to."""
        chance, draft, signed = self.chance, self._visit("draft"), self._visit("signed", "amended")
        d = str(draft.id) if draft else ""
        by = ("--by", ANN)

        def entering(*arguments: str) -> Act:
            return Act(kind, _earside(*arguments), enters=True)

        match kind:
            case "extract text":
                return entering("extract", str(self._text()))
            case "extract sound":
                return entering("extract", str(self._wave()))
            case "correct" if d:
                return entering(
                    "correct", d, "ears[0].side", chance.choice(["left", "right", "unstated"]) + "?", *by
                )
            case "add" if d:
                return entering(
                    "correct", d, "ears[0].after.drum", chance.choice(["dull", "retracted"]), "--add", *by
                )
            case "accept" if d:
                return entering("correct", d, "--accept", *by)
            case "undo" if d:
                for side in ("left", "right"):  # one of the two is a change
                    run(_earside("correct", d, "ears[0].side", side, *by), None)
                with Store(self.data) as store:
                    can = store.visit(draft.id).undo
                return entering("correct", d, "--undo", *by) if can else None
            case "sign" if d:
                return entering("sign", d, "--reason", "a trial", *by)
            case "amend" if signed:
                return entering("amend", str(signed.id), "--reason", "a trial", *by)
            case "people":
                return entering(
                    "people", f"Person {self.number}", "--role", chance.choice(["assistant", "auditor"])
                )
            case "recall" if d:
                with Store(self.data) as store:
                    due = [r.visit for r in store.recalls()]
                return entering("recall", str(chance.choice(due)), "--done", *by) if due else None
            case "agreement" if d:
                return entering("agreement", d, chance.choice(["agreed", "declined"]), *by)
            case "policy":
                return entering("policy", "--recordings", str(chance.randrange(5, 5000)), *by)
            case "erase":
                run(_earside("extract", str(self._text(alone=True))), None)
                reference = f"{self.number}"
                return entering("erase", reference, "--everything", "--yes", "--reason", "a trial", *by)
            case "erase sound":
                place = self._wave()
                run(_earside("extract", str(place)), None)
                with Store(self.data) as store:
                    (number,) = store.held(place.stem).visits
                run(_earside("sign", str(number), "--reason", "a trial", *by), None)
                return entering("erase", place.stem, "--recordings", "--yes", "--reason", "a trial", *by)
            case "desk" if draft:
                return Act(kind, _at_the_desk(self.data, draft.id, draft.revision), enters=True)
            case "export":
                place = self._new(chance.choice([".xlsx", ".csv", ".jsonl"]))
                look = (lambda p: zipfile.ZipFile(p).testzip()) if place.suffix == ".xlsx" else Path.read_text
                return Act(kind, _earside("export", "findings", "--to", str(place)), makes=place, look=look)
            case "papers" if d:
                place = self._new("")
                return Act(kind, _earside("record", d, "--into", str(place)), makes=place, look=_whole_papers)
            case "template":
                place = self.data / FILE
                look = zipfile.ZipFile
                return Act(kind, _earside("letter-template", "--replace"), makes=place, look=look)
            case "transcribe":
                place = self._new("")
                act = _earside("transcribe", "--save", str(place), str(self._wave()))
                return Act(kind, act, makes=place, look=_whole_json)
            case "held" if draft and draft.patient_reference:
                place = self._new(".zip")
                act = _earside("held", draft.patient_reference, "--to", str(place))
                return Act(kind, act, makes=place, look=lambda p: zipfile.ZipFile(p).testzip())
            case "mend":
                place = self._new("")
                return Act(kind, _earside("mend", str(place)), makes=place, look=_holds)
            case "protect" if unlocking.vault(self.data) is None:
                copy, there = self._copy(), entries(self.data)
                act = _earside("protect", "--passphrase-file", str(self.secret), "--data", str(copy))
                return Act(kind, act, makes=copy, look=lambda p: _is(p, there))
            case "passphrase":
                copy = self._copy()
                if unlocking.vault(self.data) is None:
                    run(_earside("protect", "--passphrase-file", str(self.secret), "--data", str(copy)), None)
                act = _earside(
                    "protect", "--change", "--passphrase-file", str(self.other), "--data", str(copy)
                )
                return Act(kind, act, makes=copy, look=self._opens)
            case "backup":
                place = self._new(".zip")
                return Act(kind, _earside("backup", str(place)), makes=place, look=archive.check)
            case "restore":
                file, to = self._new(".zip"), self._new("")
                archive.make(self.data, file)
                return Act(kind, _earside("restore", str(file), "--data", str(to)), makes=to, look=_holds)
        return None


KINDS = ("extract text", "extract sound", "correct", "add", "accept", "undo", "sign", "amend", "people", "recall",
         "agreement", "policy", "erase", "erase sound", "desk", "export", "papers", "template",
         "transcribe", "held", "mend", "protect", "passphrase", "backup", "restore")  # fmt: skip


def _prepare(reader: Reader) -> None:
    """What is slow and writes nothing is made beforehand, so that kills fall where something is written."""

    def transcribe(path: str, **_: Any) -> Transcript:
        text = f"Patient {Path(path).stem}. Right ear, hard wax. Microsuction. The drum is intact."
        return Transcript(text=text, source=path, duration=2.0, model="base")

    hear.transcribe = transcribe  # type: ignore[assignment]
    work._reader = lambda vocabulary=None: reader
    checked.Reader = Reader  # type: ignore[attr-defined]
    Reader.__new__ = lambda cls, *_: reader  # type: ignore[assignment,method-assign]
    Reader.__init__ = lambda self, *_: None  # type: ignore[assignment,method-assign]


def _earside(*arguments: str) -> Callable[[], object]:
    return lambda: cli(arguments, prog_name="earside", standalone_mode=False)


def _at_the_desk(data: Path, visit: int, revision: int) -> Callable[[], object]:
    def do() -> None:
        from starlette.testclient import TestClient  # noqa: PLC0415

        app = application(data, key=KEY, hosts=(HOST,))
        client = TestClient(app, base_url=f"http://{HOST}", follow_redirects=False)
        client.headers["origin"] = f"http://{HOST}"
        client.get("/", params={"key": KEY})
        client.post("/people/now", data={"name": ANN})
        seen = {"revision": str(revision), "when": f"2026-01-{1 + revision % 28:02}T{visit % 24:02}:00"}
        assert client.post(f"/visits/{visit}/seen-by", data=seen).status_code == 303

    return do


def _whole_papers(folder: Path) -> None:
    for paper in folder.glob("[!.]*"):
        assert paper.read_bytes().rstrip().endswith(b"%%EOF")


def _whole_json(folder: Path) -> None:
    for file in folder.glob("[!.]*"):
        json.loads(file.read_text())


def _secret(place: Path, words: str) -> Path:
    place.write_text(f"correct horse battery {words}\n")
    place.chmod(0o600)
    return place


def _is(data: Path, there: list[tuple[int, str]]) -> None:
    """Plain or protected, it holds, and is the store it was; what a crash left of the other is gone."""
    unlocking.forget()
    _holds(data)
    assert entries(data) == there
    assert sorted(p.name for p in data.glob("earside*.db")) == [database(data).name]


def _holds(data: Path) -> None:
    with Store(data) as store:
        assert store.verify().faults == ()


def entries(data: Path) -> list[tuple[int, str]]:
    """The chain as it stands, after SQLite's own checks. Raises AssertionError."""
    with closing(opening.connect(database(data), unlocking.vault(data))) as db:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []
        return db.execute("SELECT seq, hash FROM entries ORDER BY seq").fetchall()


def run(do: Callable[[], object], kill_after: float | None) -> tuple[bool, float]:
    """Do it in a process of its own, killed after so many seconds unless None; whether it was acknowledged, and how
    long it took."""
    reading, writing = os.pipe()
    began = time.monotonic()
    if (child := os.fork()) == 0:
        code = 1
        try:
            null = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(null, stream)
            code = 0 if do() in (None, 0) else 1
            if not code:
                os.write(writing, b"done")
        finally:
            os._exit(code)
    os.close(writing)
    if kill_after is not None:
        select.select([reading], [], [], kill_after)  # readable as soon as it is done or has failed
        os.kill(child, signal.SIGKILL)
    with os.fdopen(reading, "rb") as told:
        done = told.read() == b"done"
    os.waitpid(child, 0)
    return done, time.monotonic() - began


def kill(shop: Shop, act: Act, took: float) -> str:
    """Kill an act at a random moment of the time it takes, about so many seconds, and look; how far it was.
    Raises AssertionError."""
    before = entries(shop.data)
    done, _ = run(act.do, shop.chance.uniform(0.1, 1.1) * took)
    _holds(shop.data)
    after = entries(shop.data)
    assert after[: len(before)] == before, f"{act.kind}: entries that were there are gone"
    if act.enters and done:
        assert len(after) > len(before), f"{act.kind}: what was acknowledged is not there"
    if act.makes and act.makes.exists():
        act.look(act.makes)
    assert not done or act.makes is None or act.makes.exists(), f"{act.kind}: the file is not there"
    return "acknowledged" if done else "kept" if len(after) > len(before) else "nothing of it"


def main(
    times: int = 300, start: int = 8, kinds: tuple[str, ...] = KINDS, *, protected: bool = False
) -> dict[str, collections.Counter[str]]:
    """Kill so many times, each kind in turn; what was left, by kind."""
    told: dict[str, collections.Counter[str]] = {kind: collections.Counter() for kind in kinds}
    took: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        shop = Shop(Path(folder), random.Random(start), protected=protected)
        kinds = tuple(kind for kind in kinds if kind != "protect" or not protected)
        turn = 0
        while sum(map(sum, (c.values() for c in told.values()))) < times:
            kind = kinds[turn % len(kinds)]
            turn += 1
            act = shop.act(kind)
            if act is None:
                run(_earside("extract", str(shop._text())), None)
                continue
            if kind not in took:
                done, took[kind] = run(act.do, None)
                assert done, f"{kind} does not work"
                continue
            told[kind][left := kill(shop, act, took[kind])] += 1
            # What else the machine does changes how long it takes: kills are to fall before the end and about it.
            took[kind] *= 0.8 if left == "acknowledged" else 1.15
    return told


if __name__ == "__main__":
    numbers = (int(a) for a in sys.argv[1:] if a != "--protected")
    came = main(*numbers, protected="--protected" in sys.argv)
    for kind, left in came.items():
        print(f"{kind}: {sum(left.values())} kills, {dict(left)}")
    print(f"{sum(sum(c.values()) for c in came.values())} kills; the store opened and verified after each, "
          "nothing acknowledged was lost, no file was half there")  # fmt: skip
