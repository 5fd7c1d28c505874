"""A store of 100,000 invented visits, and how long the desk's questions to it take.

    python tests/benchmarks/bench_store.py [--visits 100000] [--folder DIR]

With --folder the store is kept there and used again. Prints one line a question: median and 95th percentile
in milliseconds of 40 calls with different arguments, each on a connection opened for it as a page does.
"""

from __future__ import annotations

import argparse
import random
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, get_args

from shared import record
from shared.record import (
    After,
    Before,
    Ear,
    Extent,
    Instrument,
    Notice,
    Plan,
    Procedure,
    Recall,
    Value,
    Visit,
    Wax,
)
from shared.store import Change, Store
from shared.transcript import Transcript, Word

_PER_RECORDING = 8
_FIRST_DAY = datetime(2021, 1, 4, 9, tzinfo=UTC)
_WORDS = """right left ear canal wax hard soft brown dark drum intact removed millimetres suction forceps hook deep
    on the no bleeding today patient well advised keep dry narrow flaking skin pressure hearing aid check""".split()  # noqa: SIM905


def main() -> None:
    """Make the store if need be, then ask."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--visits", type=int, default=100_000)
    arguments.add_argument("--folder", type=Path)
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        folder = given.folder or Path(passing)
        with Store(folder) as store:
            have = sum(vars(store.counts()).values())
        if not have:
            started = time.perf_counter()
            fill(folder, given.visits)
            size = (folder / "earside.db").stat().st_size / 1e6
            print(f"{given.visits} visits made in {time.perf_counter() - started:.0f} s, {size:.0f} MB")
        for name, question in questions(folder).items():
            times = []
            for _ in range(40):
                at = time.perf_counter()
                with Store(folder) as store:
                    question(store)
                times.append((time.perf_counter() - at) * 1000)
            times.sort()
            print(f"{name:42} median {statistics.median(times):7.1f} ms   p95 {times[37]:7.1f} ms")


def fill(folder: Path, visits: int) -> None:
    """Make some visits through the store, past its public door that syncs the disk for each; then copy them,
    each time as other patients on other days, until there are enough. The copies' history is not chained."""
    chance = random.Random(4)
    with Store(folder) as store:
        store.set_person("Ann Example", "clinician")
        store._db.execute("PRAGMA synchronous = OFF")
        first = min(visits, _FIRST)
        with store._writing():
            for number in range(0, first, _PER_RECORDING):
                _recording(store, chance, number, min(_PER_RECORDING, first - number))
        for guard in store._rows(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'findings%'"
        ):
            store._db.execute(f"DROP TRIGGER {guard['name']}")  # the copied visits are signed already
        for copy in range(1, -(-visits // first)):
            with store._writing():
                for table, columns in _COPIED.items():
                    names = [c.name for c in store._db.table(table).columns]
                    if table == "words_fts":
                        names = ["rowid", "text"]
                    values = ", ".join(
                        columns.get(n, n).format(v=copy * first, r=copy * _MANY) for n in names
                    )
                    store._db.execute(
                        f"INSERT INTO {table} ({', '.join(names)}) SELECT {values} FROM {table} "
                        f"WHERE {'rowid' if table == 'words_fts' else names[0]} <= {_UP_TO[table].format(v=first)}"
                    )


_FIRST, _MANY = 2000, 1_000_000
_LATER = "strftime('%Y-%m-%dT%H:%M:%fZ', {0}, '+' || ({{v}} * 26) || ' minutes')"
_COPIED = {
    "recordings": {"id": "id + {r}", "sha256": "NULL", "started": _LATER.format("started")},
    "transcripts": {"id": "id + {r}", "recording_id": "recording_id + {r}"},
    "visits": {
        "id": "id + {v}",
        "recording_id": "recording_id + {r}",
        "transcript_id": "transcript_id + {r}",
        "patient_reference": "CAST((CAST(patient_reference AS INTEGER) + {v}) % 40000 AS TEXT)",
        "when_at": _LATER.format("when_at"),
    },
    "findings": {"id": "id + {r}", "visit_id": "visit_id + {v}", "when_at": _LATER.format("when_at")},
    "entries": {"seq": "seq + {r}", "visit_id": "visit_id + {v}"},
    "words_fts": {"rowid": "rowid + {v}"},
}
_UP_TO = {**dict.fromkeys(_COPIED, str(_MANY - 1)), "visits": "{v}", "words_fts": "{v}"}


def _recording(store: Any, chance: random.Random, number: int, count: int) -> None:
    day = _FIRST_DAY + timedelta(minutes=number * 26)
    at = day.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    text, words, made = "", [], []
    for n in range(count):
        start = len(text)
        for word in chance.choices(_WORDS, k=120):
            begins = len(words) * 0.4
            words.append(
                Word(
                    chars=(len(text), len(text) + len(word)), seconds=(begins, begins + 0.3), probability=0.9
                )
            )
            text += f"{word} "
        made.append(_visit(chance, number + n, text, start))
    transcript = Transcript(text=text, words=tuple(words), duration=len(words) * 0.4, model="base")
    row = {"sha256": f"{number:064x}", "name": f"session{number}.wav", "bytes": 1, "kind": "sound", "status": "read",
           "started": at, "started_from": "dictation", "added": at}  # fmt: skip
    recording = store._db.table("recordings").insert(row).last_pk
    transcript_id = store._add_transcript(recording, transcript, at)
    for ordinal, visit in enumerate(made, 1):
        visit_id = store._new_visit(recording, transcript_id, ordinal, visit, at)
        if chance.random() < 0.98:  # a clinic signs nearly all
            row = store._row(visit_id)
            after = store._state(row) | {"status": "signed"}
            store._enter(row, after, kind="sign", who="Ann Example", at=at, content={"what": "signed"})


def _visit(chance: random.Random, number: int, text: str, start: int) -> Visit:
    def said(kind: Any) -> Value[Any]:
        at = chance.randrange(start, len(text) - 12)
        return Value(value=chance.choice(get_args(kind)) if get_args(kind) else kind, heard=text[at : at + 9],
                     chars=(at, at + 9), seconds=(at / 15, at / 15 + 0.5), confidence=0.9)  # fmt: skip

    ears = [
        Ear(
            side=said(side),
            before=Before(
                occlusion=said(record.Occlusion),
                wax=[
                    Wax(
                        where=said(record.Layer),
                        consistency=[said(record.Consistency)],
                        colour=[said(record.Colour)],
                    )
                ],
                depth=[said(record.Depth)],
            ),
            procedure=Procedure(
                methods=[said(record.Method)], instruments=[Instrument(name=said(record.InstrumentName))]
            ),
            removed_mm=[said(chance.randrange(3, 30))],
            after=After(clearance=said(record.Clearance), drum=[said(record.Drum)]),
            complications_denied=[said(record.DeniedComplication)],
        )
        for side in ("right", "left")
    ]  # fmt: skip
    notice = Notice(kind="complications_unsaid", weight=20, must_decide=chance.random() < 0.2, message="Said nothing.",
                    guidance="common practice, no source")  # fmt: skip
    return Visit(
        patient_reference=said(f"{number % 40_000}"),
        ears=ears,
        plan=Plan(recall=Recall(number=said(6), unit=said(record.IntervalUnit))),
        extent=Extent(chars=(start, len(text)), seconds=(start / 15, len(text) / 15), confidence=0.9),
        notices=[notice],
    )


def questions(folder: Path) -> dict[str, Callable[[Store], Any]]:
    """What the pages ask, each with other arguments every time."""
    chance = random.Random(5)
    with Store(folder) as store:
        latest = store.visits(limit=1).rows[0]
    last = datetime.fromisoformat(latest.when)

    def day() -> dict[str, datetime]:
        start = last - timedelta(days=chance.randrange(1500))
        return {"since": start, "until": start + timedelta(days=1)}

    def far(store: Store) -> None:
        page = store.visits(since=None, until=last - timedelta(days=chance.randrange(1500)))
        store.visits(until=last, after=page.next)

    def change(store: Store) -> None:
        row = next(r for r in store.visits("waiting", after=None, limit=200).rows if chance.random() < 0.1)
        stored = store.visit(row.id)
        store.change(
            row.id, Change("accept", "accepted", stored.visit), "Ann Example", revision=stored.revision
        )

    drums, colours = get_args(record.Drum), get_args(record.Colour)
    return {
        "nothing but open the store": lambda s: None,
        "one day": lambda s: s.visits(**day()),
        "latest": lambda s: s.visits(),
        "a page far down": far,
        "waiting for checking": lambda s: s.visits("waiting"),
        "something to decide": lambda s: s.visits("undecided"),
        "signed": lambda s: s.visits("signed"),
        "counts": lambda s: s.counts(),
        "a patient": lambda s: s.visits(patient=f"{chance.randrange(40_000)}"),
        "a patient's first digit": lambda s: s.visits(patient=f"{chance.randrange(10)}"),
        "a word in nearly all": lambda s: s.visits(words=chance.choice(_WORDS)),
        "a word in none": lambda s: s.visits(words="perforation"),
        "three words, one month": lambda s: s.visits(
            words=" ".join(chance.choices(_WORDS, k=3)), since=last - timedelta(days=30)
        ),
        "a finding": lambda s: s.visits(field="after.drum", value=chance.choice(drums)),
        "a finding in one ear": lambda s: s.visits(field="before.wax.colour", value=chance.choice(colours), ear="left"),
        "a finding, waiting": lambda s: s.visits("waiting", field="after.drum", value=chance.choice(drums)),
        "a finding never seen": lambda s: s.visits(field="before.foreign_body", value="bead"),
        "any value of a field": lambda s: s.visits(field="after.drum"),
        "a finding and a word": lambda s: s.visits(words="bleeding", field="after.drum", value=chance.choice(drums)),
        "search with the words around": lambda s: s.search(" ".join(chance.choices(_WORDS, k=2)), limit=50),
        "open a visit": lambda s: s.visit(chance.randrange(1, latest.id)),
        "its history and signatures": lambda s: s.history(chance.randrange(1, latest.id)),
        "change a visit (write, synced)": change,
    }  # fmt: skip


if __name__ == "__main__":
    main()
