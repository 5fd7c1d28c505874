"""How long it takes to export a store of invented visits, and in how much memory.

    python tests/benchmarks/bench_export.py [--visits 100000] [--folder DIR]

With --folder the store of `bench_store.py` is kept there and used again. Prints one line an export: seconds, megabytes
written, and the most memory the process had by then; the number of rows is said beside it.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from pathlib import Path

import bench_store

from desk import handing_on
from desk.exchange import over_time
from desk.exchange.selection import Selection, rows
from shared.store import Store


def main() -> None:
    """Make the store if need be, then export it in every form."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--visits", type=int, default=100_000)
    arguments.add_argument("--folder", type=Path)
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        folder = given.folder or Path(passing) / "data"
        with Store(folder) as store:
            have = sum(1 for _ in rows(store))
        if not have:
            bench_store.fill(folder, given.visits)
        for number, (what, ending) in enumerate(
            (w, e) for w in ("visits", "findings") for e in ("csv", "jsonl", "xlsx")
        ):
            to = Path(passing) / f"{number}.{ending}"
            started = time.perf_counter()
            handing_on.export(what, Selection(), to=to, data=folder, as_json=False)
            _say(f"{what} {ending}", started, to.stat().st_size)
        started = time.perf_counter()
        handing_on.export("fhir", Selection(), to=Path(passing) / "fhir", data=folder, as_json=False)
        _say("fhir", started, sum(f.stat().st_size for f in os.scandir(Path(passing) / "fhir")))
        started = time.perf_counter()
        with Store(folder) as store:
            found = over_time.of(store, next(r.patient_reference or "" for r in rows(store)))
        _say(f"one patient, {len(found.visits)} visits", started, 0)


def _say(name: str, started: float, size: int) -> None:
    took = time.perf_counter() - started
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{name:28} {took:8.1f} s   {size / 1e6:8.1f} MB   memory at most {peak:.0f} MB", flush=True)


if __name__ == "__main__":
    main()
