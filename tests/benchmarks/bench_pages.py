"""How long the desk's pages take over a store of 100,000 invented visits.

    python tests/benchmarks/bench_pages.py [--visits 100000] [--folder DIR]

With --folder the store is kept there and used again. Prints one line a page: median and 95th percentile in
milliseconds of 40 requests with different arguments, through the guard and the whole application, from the
request to the last byte of the answer. Exits with 1 if a page's 95th percentile is over 100 ms;
a change, which waits for the disk, is timed beside them.
"""

from __future__ import annotations

import argparse
import random
import re
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
from bench_store import fill

from desk.web.app import application
from shared.store import Store

HOST, KEY, MOST_MS, CALLS = "127.0.0.1:8700", "key", 100, 40
CHANGE = "accept all of a visit, or undo it"


def main() -> int:
    """Make the store if need be, then ask for every page."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--visits", type=int, default=100_000)
    arguments.add_argument("--folder", type=Path)
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        folder = given.folder or Path(passing)
        with Store(folder) as store:
            empty = not store.visits(limit=1).rows
        if empty:
            fill(folder, given.visits)
        return ask(folder)


def ask(folder: Path) -> int:
    """Ask for every page, print the times; 1 if one is too slow."""
    app = application(folder, key=KEY, hosts=(HOST,))
    app.state.bench.rereader()
    browser = TestClient(app, base_url=f"http://{HOST}", follow_redirects=False)
    browser.headers["origin"] = f"http://{HOST}"
    browser.get("/", params={"key": KEY})
    with Store(folder) as store:
        person = next(p.name for p in store.people() if p.role == "clinician")
        waiting = [row.id for row in store.visits("waiting", limit=CALLS).rows]
    browser.post("/people/now", data={"name": person})
    slow = 0
    for name, request in requests(browser, waiting, folder).items():
        times = []
        for n in range(CALLS):
            at = time.perf_counter()
            request(n)
            times.append((time.perf_counter() - at) * 1000)
        p95 = sorted(times)[CALLS * 95 // 100 - 1]
        slow += p95 > MOST_MS and name != CHANGE
        print(f"{name:36} median {statistics.median(times):6.1f} ms   p95 {p95:6.1f} ms")
    return 1 if slow else 0


def requests(browser: TestClient, waiting: list[int], folder: Path) -> dict[str, Callable[[int], None]]:
    """Each page, and what it is asked for the n-th time."""
    chance = random.Random(5)
    deep: list[str] = ["/?which=standing"]

    def get(address: str) -> str:
        answer = browser.get(address)
        assert answer.status_code == 200, (address, answer.status_code)
        return answer.text

    def on(_: int) -> None:
        page = get(deep[-1])
        if more := re.search(r'href="(/\?[^"]*after=[^"]*)"', page):
            deep.append(more[1].replace("&amp;", "&"))

    def change(n: int) -> None:
        with Store(folder) as store:  # what the page before would have said
            stored = store.visit(waiting[n])
        act = "undo" if stored.undo else "accept"
        sent = {"path": "", "revision": str(stored.revision)}
        answer = browser.post(f"/visits/{stored.id}/{act}", data=sent)
        assert answer.status_code == 303, answer.text

    values = (
        "after.drum=perforated",
        "before.wax.colour=black",
        "complications=bleeding",
        "plan.advice=keep_dry",
    )
    words = ("flaking", "narrow pressure", "hearing aid", "forceps", "brown drum")
    return {
        "the list": lambda _: get("/") and None,
        "what waits": lambda _: get("/?which=waiting") and None,
        "what is undecided": lambda _: get("/?which=undecided") and None,
        "by reference": lambda _: get(f"/?patient={chance.randrange(10, 40_000)}") and None,
        "by finding": lambda n: get(f"/?finding={values[n % 4]}") and None,
        "by finding and ear": lambda n: get(f"/?finding={values[n % 4]}&ear=left") and None,
        "by words": lambda n: get(f"/?words={words[n % 5]}") and None,
        "by words and finding": lambda n: get(f"/?words={words[n % 5]}&finding={values[n % 4]}") and None,
        "by dates": lambda n: get(f"/?since=2022-{n % 12 + 1:02}-01&until=2022-{n % 12 + 1:02}-28") and None,
        "page after page": on,
        "recordings to look after": lambda _: get("/recordings") and None,
        "a visit": lambda _: get(f"/visits/{chance.randrange(1, 2000)}") and None,
        "one patient over time": lambda _: get(f"/patient?ref={chance.randrange(10, 40_000)}") and None,
        "its history": lambda _: get(f"/visits/{chance.randrange(1, 2000)}/history") and None,
        CHANGE: change,
    }


if __name__ == "__main__":
    sys.exit(main())
