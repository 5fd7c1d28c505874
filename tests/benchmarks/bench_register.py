"""How long the register and the recall list take over a store of 100,000 invented visits.

    python tests/benchmarks/bench_register.py --folder DIR [--visits 100000]

DIR is a store of `bench_store.py --folder DIR`, made if it is not there. Prints seconds of processor time for
each, once with the file cold in this process and once again.
"""

from __future__ import annotations

import argparse
import time
from datetime import date, timedelta
from pathlib import Path

from bench_store import fill

from desk.register import due, figures, pictures
from shared.store import Store


def main() -> None:
    """Make the store if need be, then count."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--folder", type=Path, required=True)
    arguments.add_argument("--visits", type=int, default=100_000)
    given = arguments.parse_args()
    with Store(given.folder) as store:
        if not sum(vars(store.counts()).values()):
            fill(given.folder, given.visits)
        last = date.fromisoformat(store.visits(limit=1).rows[0].when[:10])
        for name, days in (("all of them", 36_500), ("a year", 365), ("three months", 91)):
            for _ in range(2):
                at = time.process_time()
                made = figures.register(store, last - timedelta(days=days), last, today=last)
                counted = time.process_time() - at
                print(f"register, {name:14} {made.counts['visits']:7} visits {counted:7.2f} s")
        at = time.process_time()
        drawn = [draw() for draw in pictures.pictures(made).values()]
        print(f"{len(drawn)} pictures of three months {time.process_time() - at:.2f} s")
        at = time.process_time()
        print(f"recall list {len(due.recalls(store, last)):18} recalls {time.process_time() - at:6.2f} s")


if __name__ == "__main__":
    main()
