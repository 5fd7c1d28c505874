"""Try every door for a long time (one command; what fails is printed with its input, and tried no further).

python tests/fuzz/long_run.py [MINUTES] [DOOR...]
"""

from __future__ import annotations

import random
import sys
import time
import traceback
from collections import defaultdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "desk"))
sys.path.insert(0, str(Path(__file__).parent))

from doors import DOORS
from trying import Hang, Tried, attempt


def main(minutes: float, names: list[str]) -> None:
    """Go round the doors until the time is up."""
    began, round_ = time.monotonic(), 0
    tried, spent, failed = defaultdict[str, Tried](Tried), defaultdict[str, float](float), set[str]()
    start = random.SystemRandom().randrange(2**32)
    print(f"starting number {start}", flush=True)
    while time.monotonic() - began < 60 * minutes and len(failed) < len(names):
        round_ += 1
        for name in names:
            at = time.monotonic()
            if name in failed or at - began > 60 * minutes:
                continue
            try:
                attempt(DOORS[name], examples=150, start=start + round_, tried=tried[name])
            except (Exception, Hang):
                failed.add(name)
                print(f"--- {name}, starting number {start + round_}\n{traceback.format_exc()}", flush=True)
            spent[name] += time.monotonic() - at
        if round_ % 10 == 0:
            tell(tried, spent, began)
    tell(tried, spent, began)
    if failed:
        sys.exit(f"failed: {', '.join(sorted(failed))}")


def tell(tried: dict[str, Tried], spent: dict[str, float], began: float) -> None:
    """How far it is."""
    print(f"{(time.monotonic() - began) / 60:.1f} minutes, {sum(t.inputs for t in tried.values())} inputs")
    for name, one in tried.items():
        print(f"  {name}: {one.inputs} inputs in {spent[name] / 60:.1f} minutes; slowest {one.slowest:.1f} s, "
              f"memory grown by at most {one.grown:.0f} MB", flush=True)  # fmt: skip


if __name__ == "__main__":
    asked = sys.argv[1:]
    main(float(asked[0]) if asked else 60, asked[1:] or list(DOORS))
