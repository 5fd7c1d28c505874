"""Kill a listening program at random moments and see what is left (one command, no arguments needed).

    python tests/benchmarks/kill_listening.py [TIMES] [SPEED]

SPEED: how much faster than spoken the sound comes; 1 is real time.
"""

from __future__ import annotations

import collections
import os
import random
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "desk"))

from killing import kill_once
from listening_script import find

from dictate import speech
from extract.reader import Reader


def main(times: int = 100, speed: float = 4) -> None:
    """Kill, look, tell."""
    speech.find = find
    reader, chance = Reader(), random.Random(7)
    lost, moments = [], collections.Counter[str]()
    for _ in range(times):
        with tempfile.TemporaryDirectory() as data:
            killed = kill_once(Path(data), chance, lambda: reader, seconds=10, speed=speed)
        moments[killed.moment] += 1
        lost.append(max(killed.lost_seconds, 0.0))
    lost.sort()
    print(f"{times} times killed, sound coming {speed:g} times faster than spoken: "
          + ", ".join(f"{count} {moment}" for moment, count in moments.items()))  # fmt: skip
    print(f"sound taken and not there afterwards: median {lost[times // 2]:.3f} s, most {lost[-1]:.3f} s")
    print(
        "every recording that was left was found, what was in it was what was dictated, and became a record"
    )
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    if lost[-1] > 1.0:
        sys.exit("more than a second was lost")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
