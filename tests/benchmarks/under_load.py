"""Four dictations at once into one desk while visits are checked there: is all sound kept, and how long does it take?

    python tests/benchmarks/under_load.py [MINUTES] [SECONDS] [--real]

MINUTES: how long (1); an hour is a soak. SECONDS: how long each dictation is (30); one follows another. The sound comes
in real time, a tenth of a second a message, as the page sends it. --real: with the real recogniser and real speech.
"""

from __future__ import annotations

import http.cookiejar
import json
import os
import re
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "desk"))

import numpy as np
from listening_script import WORDS, said
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from dictate.journal import BYTES_A_SECOND
from dictate.read import read
from shared.store import Store

HERE = Path(__file__).parent
KEY = "the-key"
AT_ONCE = 4
_TRIES = 20
_PIECE = BYTES_A_SECOND // 10
_AT = struct.Struct("<Q")


@dataclass
class Figures:
    """What a run came to. safe: seconds from sending a tenth of a second of sound to hearing that it is on the disk;
    asked: seconds of each page or change while checking; ended: seconds from the end of a dictation to its visits.
    memory: MB of the server, minute by minute. refused: changes that could not be made with this visit (signed, or with
    that value); broken: lines that broke and were taken up again."""

    dictations: int = 0
    seconds: float = 0.0
    lost: list[str] = field(default_factory=list)
    safe: list[float] = field(default_factory=list)
    asked: list[float] = field(default_factory=list)
    ended: list[float] = field(default_factory=list)
    changes: int = 0
    refused: int = 0
    broken: int = 0
    memory: list[float] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def lines(self) -> list[str]:
        """As lines to be read."""
        return [
            f"{self.dictations} dictations, {self.seconds / 60:.1f} minutes of sound, {AT_ONCE} at once; "
            f"{len(self.lost)} not kept as sent; {self.changes} changes while checking, {self.refused} refused; "
            f"{self.broken} lines broken and taken up again; {len(self.faults)} faults",
            f"sound on the disk after {_spread(self.safe)}",
            f"a page or change while checking {_spread(self.asked)}",
            f"from the end of a dictation to its visits {_spread(self.ended)}",
            f"memory of the server: {self.memory[0]:.0f} MB at first, {self.memory[-1]:.0f} at the end, "
            f"most {max(self.memory):.0f}; load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors",
        ]


def _spread(found: Sequence[float]) -> str:
    marks = statistics.quantiles(found, n=100) if len(found) > 1 else [*found] * 100
    return f"p50 {marks[49]:.3f} s, p95 {marks[94]:.3f} s, most {max(found):.3f} s ({len(found)})"


def run(minutes: float, seconds: float, *, real: bool = False) -> Figures:
    """Serve, dictate, check, compare."""
    figures = Figures()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        with Store(folder) as store:
            store.set_person("Ann Example", "clinician")
        command = [sys.executable, str(HERE / "load_server.py"), place, KEY, *(["--real"] if real else [])]
        env = {**os.environ, "PYTHONPATH": str(HERE.parents[1])}
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env) as server:
            assert server.stdout
            try:
                desk = _Browser(int(server.stdout.readline()))
                until = time.monotonic() + 60 * minutes
                talkers = [
                    threading.Thread(target=_dictate, args=(desk, folder, n, until, seconds, figures, real))
                    for n in range(AT_ONCE)
                ]
                others = [
                    threading.Thread(target=_check, args=(desk, folder, until, figures), daemon=True),
                    threading.Thread(target=_watch, args=(server.pid, until, figures), daemon=True),
                ]
                for thread in [*talkers, *others]:
                    thread.start()
                for thread in talkers:
                    thread.join()
                figures.memory.append(_memory(server.pid))
            finally:
                server.terminate()
        with Store(folder) as store:
            figures.faults += store.verify().faults
    return figures


class _Browser:
    """One browser: its cookie, and requests."""

    def __init__(self, port: int) -> None:
        self.host, self._jar = f"127.0.0.1:{port}", http.cookiejar.CookieJar()
        self._opener = urllib.request.build_opener(
            urllib.request.ProxyHandler({}), urllib.request.HTTPCookieProcessor(self._jar)
        )
        self._opener.addheaders = [("Origin", f"http://{self.host}")]
        self.ask(f"/?key={KEY}")
        self.ask("/people/now", name="Ann Example")
        self.cookies = "; ".join(f"{c.name}={c.value}" for c in self._jar)

    def ask(self, path: str, /, **form: str) -> str:
        """A page, or what comes of a form."""
        sent = urllib.parse.urlencode(form).encode() if form else None
        page: str = self._opener.open(f"http://{self.host}{path}", sent, timeout=120).read().decode()
        return page


def _sound(number: int, seconds: float, *, real: bool) -> bytes:
    """A dictation like no other."""
    length = round(seconds * BYTES_A_SECOND) // 2 * 2
    if real:
        samples = read(HERE.parents[1] / "sample_audio" / "both_ears.opus").samples
        whole = np.resize(np.roll(samples, -number * 16_000 * 7), length // 2)
    else:
        whole = np.resize(np.frombuffer(said(*WORDS), "<i2"), length // 2)
    noise = np.random.default_rng(number).integers(-30, 31, length // 2)
    return np.clip(whole.astype(int) + noise, -32768, 32767).astype("<i2").tobytes()


def _dictate(
    desk: _Browser, folder: Path, lane: int, until: float, seconds: float, figures: Figures, real: bool
) -> None:
    number = lane
    while time.monotonic() < until:
        pcm = _sound(number, seconds, real=real)
        try:
            visits, ended = _Talk(desk, pcm, figures).whole()
        except Exception as fault:
            figures.faults.append(f"dictation {number}: {fault!r}")
            return
        figures.ended.append(ended)
        figures.dictations += 1
        figures.seconds += seconds
        if not visits or _kept(folder, visits[0]) != pcm:
            figures.lost.append(f"dictation {number}")
        number += AT_ONCE


def _kept(folder: Path, visit: int) -> bytes:
    with Store(folder) as store:
        place = store.sound(store.visit(visit).recording_id)
    return place.read_bytes()[44:] if place else b""


class _Talk:
    """One dictation, as the page does it: what is not safe yet is held, and sent again if the line breaks."""

    def __init__(self, desk: _Browser, pcm: bytes, figures: Figures) -> None:
        self._desk, self._pcm, self._figures = desk, pcm, figures
        self._sent: list[tuple[int, float]] = []  # where each piece ends, and when it was sent first
        self._id, self._at, self._done = "", 0, dict[str, Any]()
        self._began, self._ended = time.monotonic(), 0.0

    def whole(self) -> tuple[list[int], float]:
        """Dictate it; the ids of its visits, and how long they took at the end. Raises RuntimeError."""
        for _ in range(_TRIES):
            with suppress(ConnectionClosed, OSError, TimeoutError):
                self._line()
            if self._done:
                break
            self._figures.broken += 1
            time.sleep(1)
        if self._done.get("is") != "finished":
            raise RuntimeError(str(self._done or "no answer"))
        return self._done["visits"], self._done["at"] - self._ended

    def _line(self) -> None:
        with connect(
            f"ws://{self._desk.host}/listen/sound",
            additional_headers={"Cookie": self._desk.cookies},
            origin=f"http://{self._desk.host}",  # type: ignore[arg-type]
            max_size=None,
            proxy=None,
            open_timeout=60,
            ping_interval=None,  # as a browser: it waits
        ) as line:
            line.send(json.dumps({"do": "go on", "id": self._id} if self._id else {"do": "begin"}))
            state = json.loads(line.recv(60))
            while state["is"] != "on":
                if state["is"] in ("finished", "fault"):
                    self._done = {**state, "at": time.monotonic()}
                    return
                state = json.loads(line.recv(60))
            self._id, self._at = state["id"], state["bytes"]
            hearing = threading.Thread(target=self._hear, args=(line,))
            hearing.start()
            while self._at < len(self._pcm):
                time.sleep(max(self._began + self._at / BYTES_A_SECOND - time.monotonic(), 0))
                piece = self._pcm[self._at : self._at + _PIECE]
                line.send(_AT.pack(self._at) + piece)
                self._at += len(piece)
                if not self._sent or self._sent[-1][0] < self._at:
                    self._sent.append((self._at, time.monotonic()))
            self._ended = self._ended or time.monotonic()
            line.send(json.dumps({"do": "end", "bytes": len(self._pcm)}))
            hearing.join(600)

    def _hear(self, line: Any) -> None:
        with suppress(ConnectionClosed):
            for text in line:
                told = json.loads(text)
                if told["is"] == "safe":
                    now = time.monotonic()
                    while self._sent and self._sent[0][0] <= told["bytes"]:
                        self._figures.safe.append(now - self._sent.pop(0)[1])
                elif told["is"] in ("finished", "fault"):
                    self._done = {**told, "at": time.monotonic()}
                    return


def _check(desk: _Browser, folder: Path, until: float, figures: Figures) -> None:
    """Open the list and the visits there are, change one, take it back, sign some."""
    turn = 0
    while time.monotonic() < until:
        turn += 1
        try:
            page = _timed(desk, figures, "/")
            found = re.findall(r"/visits/(\d+)", page)
            if found:
                _work(desk, figures, found[turn % len(found)], turn)
        except urllib.error.HTTPError as fault:
            if fault.code in (400, 409):  # what cannot be done with this visit is refused
                figures.refused += 1
            else:
                figures.faults.append(f"checking: {fault.code} {fault.url} {fault.read()[-300:]!r}")
        except OSError as fault:
            if time.monotonic() < until:
                figures.faults.append(f"checking: {fault!r}")
        time.sleep(0.3)


def _work(desk: _Browser, figures: Figures, visit: str, turn: int) -> None:
    def revision() -> str:
        page = _timed(desk, figures, f"/visits/{visit}")
        held = re.search(r'name="revision" value="(\d+)"', page)
        return held[1] if held else "0"

    side = ("left", "right")[turn % 2]
    _timed(desk, figures, f"/visits/{visit}/correct", revision=revision(), path="ears[0].side", value=side)
    _timed(desk, figures, f"/visits/{visit}/undo", revision=revision())
    figures.changes += 2
    if turn % 7 == 0:
        _timed(desk, figures, f"/visits/{visit}/sign", revision=revision(), reason="a trial")
        figures.changes += 1


def _timed(desk: _Browser, figures: Figures, path: str, /, **form: str) -> str:
    began = time.monotonic()
    try:
        return desk.ask(path, **form)
    finally:
        figures.asked.append(time.monotonic() - began)


def _watch(pid: int, until: float, figures: Figures) -> None:
    while time.monotonic() < until:
        figures.memory.append(_memory(pid))
        time.sleep(min(60, max(until - time.monotonic(), 0.1)))


def _memory(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    return int(re.findall(r"VmRSS:\s+(\d+)", status)[0]) / 1024


if __name__ == "__main__":
    asked = [a for a in sys.argv[1:] if a != "--real"]
    came = run(
        float(asked[0]) if asked else 1, float(asked[1]) if asked[1:] else 30, real="--real" in sys.argv
    )
    print("\n".join([*came.lines(), *came.lost, *came.faults]))
    if came.lost or came.faults:
        sys.exit(1)
