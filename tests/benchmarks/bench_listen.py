"""How the listening engine keeps up: latency, processor time, memory, and whether it gives the file's record.

    python tests/benchmarks/bench_listen.py sample [NAME...]    sample recordings in real time
    python tests/benchmarks/bench_listen.py hour [MINUTES]      an hour as fast as it is taken, memory watched
    python tests/benchmarks/bench_listen.py hour --scripted     the same with a scripted recogniser: a minute or so

With the real recogniser, unless scripted.
"""

from __future__ import annotations

import os
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).parents[1] / "desk"))

from listening_child import OneVisit
from listening_script import Script

from desk.listening import Listening, Parts
from dictate import read
from dictate.events import Behind, Event, Utterance, WordsSoFar
from dictate.hear import transcribe
from dictate.journal import BYTES_A_SECOND
from dictate.quick import Quick
from extract.reader import Reader
from shared.store import Store

SAMPLES = Path(__file__).parents[2] / "sample_audio"
PIECE = BYTES_A_SECOND // 10
USUAL = ("right_ear.opus", "both_ears.opus", "suction_hiss.flac", "three_patients.ogg")


class Watch:
    """Reads the events of a listening in a thread of its own, with the moment each came."""

    def __init__(self, listening: Listening) -> None:
        self.seen: list[tuple[float, Event]] = []
        self._listening = listening
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        for event in self._listening.events:
            if isinstance(event, WordsSoFar | Utterance | Behind):
                self.seen.append((time.monotonic(), event))

    def join(self) -> None:
        """Wait for the last event."""
        self._thread.join()


def _quickest(quick: Quick, sound: npt.NDArray[np.float32]) -> float:
    """The best of five guesses, in seconds: what other programs take of the processor matters least there."""
    took = []
    for _ in range(5):
        before = time.monotonic()
        quick(sound)
        took.append(time.monotonic() - before)
    return min(took)


def sample(names: list[str]) -> None:
    """Feed sample recordings in real time; compare with the file; print what it took."""
    reader = Reader()
    parts = Parts.usual()
    assert parts.quick
    parts.hearer().hear(np.zeros(16_000, np.float32))  # both loaded before the clock starts
    parts.quick(np.zeros(16_000, np.float32))
    print(f"load of the machine before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    speech = read.read(SAMPLES / USUAL[0])
    for seconds in (4, 10, 20):
        took = _quickest(parts.quick, speech.floats(0, seconds * read.RATE))
        print(f"a guess at {seconds} s of speech takes {took:.2f} s (best of five)")
    for name in names:
        with tempfile.TemporaryDirectory() as folder:
            _one(name, Path(folder), Parts(parts.hearer, parts.quick, lambda: reader), reader)


def _one(name: str, data: Path, parts: Parts, reader: Reader) -> None:
    recording = read.read(SAMPLES / name)
    pcm = recording.samples.tobytes()
    listening = Listening.start(data, parts=parts)
    watch, began, cpu = Watch(listening), time.monotonic(), time.process_time()
    slowest = 0.0
    for at in range(0, len(pcm), PIECE):
        time.sleep(max(began + (at + PIECE) / BYTES_A_SECOND - time.monotonic(), 0))
        before = time.monotonic()
        listening.feed(pcm[at : at + PIECE])
        slowest = max(slowest, time.monotonic() - before)
    busy = (time.process_time() - cpu) / recording.seconds
    before = time.monotonic()
    ids = listening.finish()
    ending = time.monotonic() - before
    watch.join()
    with Store(data) as store:
        kept = [store.visit(i).visit.plain() for i in ids]
        words = [w.seconds[1] for w in store.transcript(store.visit(ids[0]).transcript).words if w.seconds]
    of_file = [v.plain() for v in reader.read(transcribe(SAMPLES / name))]
    so_far = [v.plain() for v in listening.so_far.visits]
    print(f"\n{name}: {recording.seconds:.0f} s in real time")
    print(f"  the record kept is {'the same as' if kept == of_file else 'NOT that of'} the file's")
    print(
        f"  words so far, after a word was said: {_percentiles(_latencies(words, watch, began, WordsSoFar))}"
    )
    print(
        f"  the utterance, after a word was said: {_percentiles(_latencies(words, watch, began, Utterance))}"
    )
    late = max((e.seconds for _, e in watch.seen if isinstance(e, Behind)), default=0)
    print(f"  processor time {busy:.2f} s a second; finishing took {ending:.1f} s; most behind {late} s; "
          f"feed took {1000 * slowest:.0f} ms at most")  # fmt: skip
    print(f"  of the record so far, {_alike(so_far, kept)} values are as in the record kept "
          "(what was not heard yet when it ended is not in it)")  # fmt: skip


def _latencies(words: list[float], watch: Watch, began: float, kind: type[Any]) -> list[float]:
    """For each word, how long after its end the first event came that covers it."""
    told = [(at - began, e.start, e.end) for at, e in watch.seen if isinstance(e, kind)]
    found = []
    for end in words:
        covering = [at for at, first, last in told if first <= end <= last and at >= end]
        found += [min(covering) - end] if covering else []
    return found


def _percentiles(values: list[float]) -> str:
    if not values:
        return "none came"
    p50, p95 = np.percentile(values, [50, 95])
    return f"p50 {p50:.2f} s, p95 {p95:.2f} s ({len(values)})"


def _alike(one: list[dict[str, Any]], other: list[dict[str, Any]]) -> str:
    a, b = {*map(str, _values(one, ""))}, {*map(str, _values(other, ""))}
    return f"{len(a & b)} of {len(a | b)}"


def _values(node: Any, path: str) -> list[tuple[str, Any]]:
    if isinstance(node, dict):
        return [v for key, value in node.items() for v in _values(value, f"{path}.{key}")]
    if isinstance(node, list) and any(isinstance(item, dict) for item in node):
        return [v for i, item in enumerate(node) for v in _values(item, f"{path}[{i}]")]
    return [(path, item) for item in node] if isinstance(node, list) else [(path, node)]


def hour(minutes: float, *, scripted: bool) -> None:
    """Feed sample recordings over and over, faster than real time, and watch the memory."""
    parts = Parts(hearer=Script, quick=None, reader=OneVisit) if scripted else Parts.usual()
    names = [p for p in sorted(SAMPLES.iterdir()) if p.suffix in {".opus", ".ogg", ".flac", ".mp3"}]
    sounds = [read.read(path).samples.tobytes() for path in names]
    with tempfile.TemporaryDirectory() as folder:
        listening = Listening.start(Path(folder), parts=parts)
        watch, began, cpu, fed, marks = Watch(listening), time.monotonic(), time.process_time(), 0, []
        while fed < minutes * 60 * BYTES_A_SECOND:
            for sound in sounds:
                for at in range(0, len(sound), PIECE):
                    # Far ahead is no use: what waits is on disk, but the memory is to be that of the work.
                    while not scripted and listening.seconds - _heard(watch) > 120:
                        time.sleep(0.05)
                    listening.feed(sound[at : at + PIECE])
                fed += len(sound)
                if fed / BYTES_A_SECOND / 60 >= 5 * len(marks):
                    marks.append((fed / BYTES_A_SECOND / 60, _memory()))
                    print(f"  {marks[-1][0]:5.1f} min of sound: {marks[-1][1]:.0f} MB", flush=True)
        listening.settle()
        took = time.monotonic() - began
        told = sum(isinstance(e, Utterance) for _, e in watch.seen)
        size = listening.confirmed
        listening.leave()
    settled = [memory for minute, memory in marks if minute >= 10] or [marks[-1][1]]
    print(f"{fed / BYTES_A_SECOND / 60:.0f} minutes of sound in {took / 60:.1f} minutes; "
          f"processor time {time.process_time() - cpu:.0f} s; {told} utterances")  # fmt: skip
    print(f"memory from the tenth minute on: {min(settled):.0f} to {max(settled):.0f} MB")
    print(f"on disk: {size / 1e6:.0f} MB, all of it {'kept' if size == fed else 'NOT kept'}")
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")


def _heard(watch: Watch) -> float:
    return max((e.end for _, e in watch.seen[-50:] if isinstance(e, Utterance)), default=0.0)


def _memory() -> float:
    """Resident memory in MB, by the system's own count (Linux)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


if __name__ == "__main__":
    task, *more = sys.argv[1:] or ["sample"]
    if task == "hour":
        numbers = [float(a) for a in more if a != "--scripted"]
        hour(numbers[0] if numbers else 60, scripted="--scripted" in more)
    else:
        sample(more or list(USUAL))
