"""Speed, memory and words of Earside beside other programs on the same weights, sound and two processors.

    python tests/benchmarks/bench_peers.py --peers PEERS/bin/python [--run NAME] [--rounds 3] [--lock FILE] [--write]

PEERS is an environment with openai-whisper, torch and pywhispercpp (README.md beside this file); the weights are
written for them by peer_weights.py. Without --peers those two are left out. Two recordings of each of three kinds
(long_dictations.py) go through every system of peers.py, one system after the other, each in a process of its own; two
kinds also through our hearing with each safeguard switched off; and all of that --rounds times. What was measured is
kept in the folder of corpus.py under the name of the run, so that it goes on where it was stopped; ratios are only
taken within one run, and a run is of one version of our hearing and import. --lock: a file that is locked while
something is timed, for whoever else measures on this machine.
--write puts the tables into docs/speed.md.

A figure is the median of its rounds, a ratio the median of those within a round. Words are compared as in
bench_noise.py; recall of the trade's words is taken over the whole dictation.
"""

from __future__ import annotations

import argparse
import fcntl
import hashlib
import json
import os
import re
import subprocess
import sys
import tempfile
import wave
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

import jiwer
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from bench_noise import plain as as_compared  # noqa: E402
from bench_noise import table, term_recall, trade_words, write  # noqa: E402
from corpus import FOLDER  # noqa: E402
from long_dictations import KINDS, Dictation, dictations  # noqa: E402
from peers import PEERS, SAFEGUARDS, SYSTEMS, WITHOUT  # noqa: E402
from sounds import RATE  # noqa: E402

from dictate import weights  # noqa: E402

DOC = ROOT / "docs" / "speed.md"
OURS, HEARING = "ours, import", "ours, hearing alone"
PLAIN = "faster-whisper, beam 5"
AIMS = (
    ("dense", PLAIN, 2.4),
    ("dense", "whisper.cpp, 16-bit, beam 5", 3.5),
    ("dense", "openai-whisper, beam 5", 9.0),
    ("half pauses", PLAIN, 3.0),
    ("half hiss", PLAIN, 3.0),
)
"""Kind of dictation, program, and how many times as fast as it ours is meant to be."""
SWITCHED_OFF_IN = ("dense", "half hiss")
"""Dictations in which each safeguard is switched off."""
WORSE, MEGABYTES = 0.003, 2_000
"""How much higher than plain faster-whisper's our word error rate may be, and how much memory ours may take."""


@dataclass(frozen=True)
class Figures:
    """What a system took of one kind. speeds: times real time, of each round; the others: the rounds' medians,
    but the most memory, and the most that other programs took, processor seconds a second."""

    speeds: tuple[float, ...]
    cpu: float
    mb: int
    others: float
    errors: float
    recall: float


class Run:
    """All that was measured under one name, kept in a file.

    Raises ValueError if our hearing was another when it was begun.
    """

    def __init__(self, place: Path) -> None:
        self._place = place
        today = version()
        kept = json.loads(place.read_text(encoding="utf-8")) if place.exists() else {"of": today, "held": {}}
        if kept["of"] != today:
            raise ValueError(f"{place} is of another version of the hearing: give the run another name")
        self._of: str = kept["of"]
        self._held: dict[str, list[dict[str, Any]]] = kept["held"]

    def rounds(self, kind: str, system: str) -> list[dict[str, Any]]:
        """What each round gave, as peers.py prints it."""
        return self._held.get(f"{kind}: {system}", [])

    def keep(self, kind: str, system: str, given: dict[str, Any]) -> None:
        """Write one round down. Raises ValueError if our hearing is another by now."""
        if version() != self._of:
            raise ValueError("the hearing was changed while it was measured")
        self._held.setdefault(f"{kind}: {system}", []).append(given)
        self._place.parent.mkdir(parents=True, exist_ok=True)
        part = self._place.with_suffix(".part")
        part.write_text(json.dumps({"of": self._of, "held": self._held}), encoding="utf-8")
        part.rename(self._place)


def version() -> str:
    """Of the code and the words that decide what is heard, and how fast."""
    code = [*(ROOT / "dictate").glob("*.py"), *(ROOT / "desk" / "importing").glob("*.py")]
    files = [*sorted(code), ROOT / "shared" / "vocabulary" / "prompt.yaml"]
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()[:12]


@contextmanager
def alone(lock: Path | None) -> Iterator[None]:
    """While nobody else holds the lock."""
    if lock is None:
        yield
        return
    with lock.open("a") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def measure(system: str, spoken: Sequence[Dictation], by: Path, lock: Path | None) -> dict[str, Any]:
    """One system on the recordings of one kind, run by a Python. Raises CalledProcessError if it fails."""
    with tempfile.TemporaryDirectory() as passing:
        paths = [Path(passing) / f"dictation_{number}.wav" for number, _ in enumerate(spoken)]
        for path, one in zip(paths, spoken, strict=True):
            with wave.open(str(path), "wb") as file:
                file.setnchannels(1)
                file.setsampwidth(2)
                file.setframerate(RATE)
                file.writeframes((np.clip(one.sound, -1, 1) * 32767).astype("<i2").tobytes())
        call = [by, Path(__file__).with_name("peers.py"), system, _folder(), *paths]
        with alone(lock):
            told = subprocess.run(call, stdout=subprocess.PIPE, text=True, check=True).stdout
    return dict(json.loads(told.splitlines()[-1])) | {"load": os.getloadavg()[0]}


def _folder() -> Path:
    return FOLDER / "peers" / f"weights-{weights.BASE_SHA256[:12]}"


def prepare(python: Path) -> None:
    """Write the weights for the peers, unless they are there."""
    if not (_folder() / "ggml-f16.bin").exists():
        writer = Path(__file__).with_name("peer_weights.py")
        subprocess.run([str(python), str(writer), str(weights.find("base")), str(_folder())], check=True)


def figures(
    run: Run, kind: str, system: str, spoken: Sequence[Dictation], terms: frozenset[str]
) -> Figures | None:
    """What was measured of a system, None if nothing."""
    if not (rounds := run.rounds(kind, system)):
        return None
    length = seconds(spoken)
    said, found = (
        as_compared(" ".join(text for one in spoken for text in one.texts)),
        [as_compared(r["text"]) for r in rounds],
    )
    return Figures(
        tuple(length / r["seconds"] for r in rounds),
        median(r["cpu"] for r in rounds),
        max(r["mb"] for r in rounds),
        max(r["others"] / r["seconds"] for r in rounds),
        median(jiwer.wer(said, its) for its in found),
        median(term_recall([said], [its], terms) for its in found),
    )


Found = dict[tuple[str, str], Figures]
Recordings = dict[str, list[Dictation]]
"""By kind."""


def seconds(spoken: Sequence[Dictation]) -> float:
    """Of all the recordings."""
    return sum(len(one.sound) for one in spoken) / RATE


def faster(run: Run, kind: str, ours: str, theirs: str) -> list[float]:
    """How many times as fast ours was, in each round that has both: the machine is not as fast in every minute, and
    what is measured in one round lies near together."""
    pairs = zip(run.rounds(kind, ours), run.rounds(kind, theirs), strict=False)
    return [its["seconds"] / own["seconds"] for own, its in pairs]


def spread(values: Sequence[float], form: str = ".2f") -> str:
    """The median, and between what it lies if there are several."""
    if not values:
        return "-"
    bounds = f" ({min(values):{form}} to {max(values):{form}})" if len(values) > 1 else ""
    return f"{median(values):{form}}{bounds}"


def compared(run: Run, found: Found) -> str:
    """Every system on every dictation."""
    rows = []
    for kind in KINDS:
        for system in SYSTEMS:
            if (its := found.get((kind, system))) is None or system.startswith(WITHOUT):
                continue
            rows.append(
                [
                    kind,
                    system,
                    spread(its.speeds, ".1f"),
                    spread(faster(run, kind, OURS, system)) if system != OURS else "-",
                    f"{its.cpu:.0f}",
                    f"{its.mb:,}",
                    f"{its.errors:.3f}",
                    f"{its.recall:.3f}",
                ]
            )
    heads = ["sound", "program", "times real time", "ours is faster by", "processor s", "most MB"]
    return table([*heads, "word errors", "term recall"], rows)


def aims(run: Run, found: Found) -> str:
    """What is reached of what is aimed at, and by how much."""
    rows = []
    for kind, system, aim in AIMS:
        if ratios := faster(run, kind, OURS, system):
            row = [f"{kind}: times as fast as {system}", f"{aim:g}", spread(ratios)]
            rows.append([*row, _verdict(median(ratios), aim)])
    for kind in KINDS:
        ours, theirs = found.get((kind, OURS)), found.get((kind, PLAIN))
        if ours and theirs:
            apart = ours.errors - theirs.errors
            met = "reached" if apart <= WORSE else "not reached"
            rows.append([f"{kind}: word errors less plain's", f"+{WORSE} at most", f"{apart:+.3f}", met])
    if most := max((f.mb for (_, system), f in found.items() if system == OURS), default=0):
        met = "reached" if most < MEGABYTES else "not reached"
        rows.append(["most memory, MB", f"under {MEGABYTES:,}", f"{most:,}", met])
    return table(["what", "aim", "measured", ""], rows)


def _verdict(ratio: float, aim: float) -> str:
    return (
        f"reached, {ratio / aim - 1:.0%} over"
        if ratio >= aim
        else f"not reached, {1 - ratio / aim:.0%} short"
    )


def safeguards(run: Run, found: Found) -> str:
    """What each safeguard of our hearing costs, and what would be heard without it."""
    rows = []
    for kind in KINDS:
        whole = found.get((kind, HEARING))
        for name in ("", *SAFEGUARDS):
            its = found.get((kind, WITHOUT + name)) if name else whole
            if its is None or whole is None:
                continue
            costs = [1 - 1 / ratio for ratio in faster(run, kind, WITHOUT + name, HEARING)] if name else []
            row = [kind, name or "(nothing switched off)", spread(costs, "+.0%"), spread(its.speeds, ".1f")]
            rows.append([*row, f"{its.errors:.3f}", f"{its.recall:.3f}"])
    heads = ["sound", "safeguard", "share of the time", "times real time without", "word errors without"]
    return table([*heads, "term recall without"], rows)


def conditions(run: Run, found: Found, spoken: Recordings) -> str:
    """What was compared, on what, and how quiet the machine was."""
    rounds = [r for kind, system in found for r in run.rounds(kind, system)]
    programs = sorted({f"{name} {its}" for r in rounds for name, its in r["programs"].items()})
    counts = {len(run.rounds(kind, system)) for kind, system in found}
    load = max(r["load"] for r in rounds)
    with Path("/proc/cpuinfo").open(encoding="utf-8") as told:
        processor = next((line.split(":")[1].strip() for line in told if "model name" in line), "unknown")
    lengths = ", ".join(f"{kind} {seconds(its):.0f} s" for kind, its in spoken.items())
    busy = max(f.others for f in found.values())
    return (
        f"{', '.join(programs)}; two processors of an {processor}; {lengths}. Rounds: {min(counts)} to "
        f"{max(counts)}. Other programs took what was left of the processors, at most {busy:.2f} "
        f"seconds a second, with a load of up to {load:.1f}."
    )


def due(run: Run, rounds: int, only: str, *, peers: bool) -> Iterator[tuple[str, str]]:
    """Kinds and systems still to be measured. only: an expression found in both. peers: whether theirs too."""
    for number in range(rounds):
        for kind in KINDS:
            for system in SYSTEMS:
                off = system.startswith(WITHOUT) and kind not in SWITCHED_OFF_IN
                if off or (system in PEERS and not peers) or not re.search(only, f"{kind}: {system}"):
                    continue
                if len(run.rounds(kind, system)) <= number:
                    yield kind, system


def main() -> None:
    """Measure what is missing, print the tables, and write them down if asked."""
    asked = argparse.ArgumentParser(
        description="Earside beside other programs on the same weights and sound."
    )
    asked.add_argument("--peers", type=Path, help="the Python of the peers' environment")
    asked.add_argument("--half", choices=("tune", "report"), default="report")
    asked.add_argument("--run", default="run", help="the name under which it is kept")
    asked.add_argument("--rounds", type=int, default=3)
    asked.add_argument(
        "--only",
        default="",
        help="those in whose dictation and system, as in dense: ours, this expression is",
    )
    asked.add_argument("--lock", type=Path, help="a file to lock while something is timed")
    asked.add_argument("--write", action="store_true", help=f"into {DOC.relative_to(ROOT)}")
    args = asked.parse_args()
    run = Run(FOLDER / "peers" / f"{args.run}.{args.half}.json")
    spoken = {kind: dictations(kind, args.half) for kind in KINDS}
    if args.peers:
        prepare(args.peers)
    for kind, system in due(run, args.rounds, args.only, peers=bool(args.peers)):
        by = args.peers if system in PEERS else Path(sys.executable)
        given = measure(system, spoken[kind], by, args.lock)
        run.keep(kind, system, given)
        print(f"{kind}: {system}: {given['seconds']:.1f} s", file=sys.stderr, flush=True)
    terms = trade_words()
    found = {
        (kind, system): its
        for kind, recordings in spoken.items()
        for system in SYSTEMS
        if (its := figures(run, kind, system, recordings, terms))
    }
    told = {
        "conditions": conditions(run, found, spoken),
        "compared": compared(run, found),
        "aims": aims(run, found),
        "safeguards": safeguards(run, found),
    }
    for name, text in told.items():
        print(f"{name}\n\n{text}\n")
    if args.write:
        write(told, DOC)


if __name__ == "__main__":
    main()
