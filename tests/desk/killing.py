"""Kill a program that listens, and see what is left: for the test of it and the benchmark."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import listening_child
from listening_script import Script

from desk import keeping
from dictate.journal import BYTES_A_SECOND
from dictate.read import read
from extract.reader import Reader
from shared.store import Store

CHILD = Path(listening_child.__file__)
ROOT = CHILD.parents[2]


@dataclass(frozen=True)
class Killed:
    """One killing. when: seconds after it began to listen. taken, kept: bytes of sound. visits: in the store
    after the next start. moment: what it was at."""

    when: float
    moment: str
    taken: int
    kept: int
    visits: int

    @property
    def lost_seconds(self) -> float:
        """Sound that was taken and is not there."""
        return (self.taken - self.kept) / BYTES_A_SECOND


def kill_once(
    data: Path, chance: random.Random, reader: Callable[[], Reader], *, seconds: float = 12, speed: float = 6
) -> Killed:
    """Let a program listen, kill it at a random moment, finish what it left.

    Raises AssertionError if the sound that is left is not what was dictated, or no record comes of it.
    """
    command = [sys.executable, str(CHILD), str(data), str(seconds), str(speed)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=ROOT) as child:
        assert child.stdout
        first = child.stdout.readline()  # it listens
        wait = chance.uniform(0, 1.15 * seconds / speed)  # also while it finishes
        time.sleep(wait)
        child.kill()
        said = (first + child.stdout.read()).split()
    taken = max(int(line) for line in said if line.isdigit())
    over = taken >= round(seconds * BYTES_A_SECOND)
    moment = "after the end" if said[-1] == b"finished" else "finishing" if over else "speaking"
    left_over = keeping.unfinished(data)
    assert len(left_over) <= 1
    sounds = [found.path for found in left_over] or list((data / "recordings").glob("*.wav"))
    kept = read(sounds[0]).samples.tobytes() if sounds else b""
    assert kept == listening_child.sound(seconds)[: len(kept)], "what is left is not what was dictated"
    for found in left_over:
        keeping.finish(data, found.id, model="base", hearer=Script(), reader=reader)
    assert keeping.unfinished(data) == []
    with Store(data) as store:
        visits = len(store.visits().rows)
    # The first of the words are said in the first two seconds.
    assert visits or len(kept) < 2.5 * BYTES_A_SECOND, "no record was made of what is left"
    return Killed(wait, moment, taken, len(kept), visits)
