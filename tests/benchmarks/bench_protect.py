"""What protecting costs: the same store plain and protected, the same work on both, and the ratios.

    python tests/benchmarks/bench_protect.py [--visits 2000] [--minutes 10]

Reading and changing visits, lists and search; keeping recordings of so many minutes with their sound, and reading
that sound again; a command from its start to its end, with the passphrase from a file; and protecting itself. Prints
medians in milliseconds; each question on a connection opened for it, as a page does, plain and protected in turn.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import wave
from collections.abc import Callable
from pathlib import Path
from typing import Any

from bench_store import fill

from dictate.read import read
from shared.protecting import unlocking
from shared.record import Ear, Plan, Value, Visit
from shared.store import Change, Recording, Store, protecting
from shared.transcript import Transcript

ANN = "Ann Example"
ROOT = Path(__file__).parents[2]
PASSPHRASE = "four quiet otters swim"


def main() -> None:
    """Make both stores, then measure."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--visits", type=int, default=2000)
    arguments.add_argument("--minutes", type=int, default=10)
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        folder = Path(passing)
        plain, protected = folder / "plain", folder / "protected"
        fill(plain, given.visits)
        sounds = [_sound(folder / f"{n}.wav", given.minutes, n) for n in range(20)]
        _keep(plain, sounds[0])
        shutil.copytree(plain, protected)
        size = sum(p.stat().st_size for p in protected.rglob("*") if p.is_file()) / 1e6
        at = time.perf_counter()
        protecting.protect(protected, PASSPHRASE, show=lambda key: None, progress=lambda size: None)
        print(f"protecting {size:.0f} MB, {given.visits} visits: {time.perf_counter() - at:.1f} s")
        secret = folder / "secret"
        secret.write_text(PASSPHRASE)
        os.environ[unlocking.VARIABLE] = str(secret)
        print(f"{'':44}{'plain':>10}{'protected':>12}{'ratio':>8}")
        with Store(plain) as store:
            drafts = [row.id for row in store.visits(limit=200).rows if row.status == "draft"]
        for name, times, work in _works(sounds, given.visits, drafts):
            _compare(name, (plain, protected), times, work)


def _works(
    sounds: list[Path], visits: int, drafts: list[int]
) -> list[tuple[str, int, Callable[[Path, int], object]]]:
    """Name, how often, and what is done in a folder the so-manieth time."""
    chance = random.Random(1)
    order = [chance.randrange(1, visits) for _ in range(200)]
    return [
        ("read a visit", 100, lambda folder, n: _asked(folder, lambda s: s.visit(order[n]))),
        ("the list, its latest 50", 40, lambda folder, n: _asked(folder, lambda s: s.visits(limit=50))),
        ("search for a word", 40, lambda folder, n: _asked(folder, lambda s: s.search("hook deep"))),
        (
            "change a visit, synced to the disk",
            60,
            lambda folder, n: _asked(folder, _changed(drafts[n % len(drafts)])),
        ),
        ("keep a recording with its sound", 8, lambda folder, n: _keep(folder, sounds[1 + n])),
        ("read its sound", 8, lambda folder, n: _asked(folder, lambda s: read(s.sound(_last(s))))),
        ("verify all of it", 3, lambda folder, n: _asked(folder, lambda s: s.verify())),
        ("`earside list --limit 1`, start to end", 5, _command),
    ]


def _compare(name: str, folders: tuple[Path, Path], times: int, work: Callable[[Path, int], object]) -> None:
    took: tuple[list[float], list[float]] = ([], [])
    for n in range(times):
        for folder, measured in zip(folders, took, strict=True):
            at = time.perf_counter()
            work(folder, n)
            measured.append((time.perf_counter() - at) * 1000)
    plain, protected = map(statistics.median, took)
    print(f"{name:44}{plain:9.1f} {protected:11.1f} {protected / plain:7.2f}", flush=True)


def _asked(folder: Path, question: Callable[[Any], object]) -> None:
    with Store(folder) as store:
        question(store)


def _changed(number: int) -> Callable[[Any], object]:
    def change(store: Any) -> None:
        visit = store.visit(number)
        record = visit.visit.model_copy(deep=True)
        plan = record.plan or Plan()
        plan.advice = [] if plan.advice else [Value(value="keep_dry", origin="entered")]
        record.plan = plan
        store.change(number, Change("correct", "advice", record), ANN, revision=visit.revision)

    return change


def _last(store: Any) -> int:
    return max(r.id for r in store.recordings() if store.sound(r.id))


def _sound(place: Path, minutes: int, number: int) -> Path:
    with wave.open(str(place), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        for n in range(minutes):
            file.writeframes(random.Random(100 * number + n).randbytes(60 * 32_000))
    return place


def _keep(folder: Path, sound: Path) -> None:
    side = Value[Any](value="right", heard="Right ear", chars=(0, 9))
    with Store(folder) as store:
        transcript = Transcript.from_text("Right ear, hard wax. " + sound.name)
        store.keep(Recording.of(sound, "sound"), transcript, [Visit(ears=[Ear(side=side)])], keep_sound=True)


def _command(folder: Path, _: int) -> None:
    command = [sys.executable, "-m", "desk.cli", "list", "--limit", "1", "--data", str(folder)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run(command, env=env, capture_output=True, check=True)


if __name__ == "__main__":
    main()
