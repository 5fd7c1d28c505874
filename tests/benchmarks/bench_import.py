"""What an import costs as it grows: per hour of recording up to 1,000 hours, per file, and in one very long file.

    python tests/benchmarks/bench_import.py hours [--hours 1000] [--folder DIR]
    python tests/benchmarks/bench_import.py files [--files 5000] [--folder DIR]
    python tests/benchmarks/bench_import.py long [--hours 12] [--folder DIR]

hours: invented transcripts, six minutes each at 150 words a minute, made of tests/dictations in ever new orders; each
is read and kept as an import does it, in one process. Milliseconds for each hour of recording, a line for each
tenth of the way, and the memory then. The dictations come back again and again, which helps a reader that
remembers words. With --folder it goes on where it stopped. files: so many recordings of two seconds each through
the import with its worker processes, the recogniser scripted, then the same call again. long: one recording
through it, likewise: decoding, finding speech, reading and keeping are real. Its sound is the teaching sample over
and over. --folder: where the work is done.
"""

from __future__ import annotations

import argparse
import pickle
import random
import resource
import sys
import tempfile
import time
import wave
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import yaml

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "desk" / "importing")]

import folder as made  # noqa: E402
import scripted  # noqa: E402

from desk.importing import work  # noqa: E402
from desk.importing.bulk import Wanted, import_all  # noqa: E402
from desk.importing.look import Looked  # noqa: E402
from desk.importing.work import Done, Job  # noqa: E402
from dictate import read  # noqa: E402
from shared.store import Recording, Store  # noqa: E402
from shared.transcript import Transcript, Word  # noqa: E402
from shared.vocabulary import load  # noqa: E402

WORDS_A_SECOND, SECONDS = 2.5, 360.0


def hours(where: Path, many: int) -> None:
    """Transcripts to kept visits."""
    vocabulary = pickle.dumps(load())
    work.work(_job(vocabulary, Transcript(text="Right ear.", duration=1.0)))  # so that the reader is made
    texts = [
        d["text"]
        for place in sorted((ROOT / "tests" / "dictations").glob("*.yaml"))
        for d in yaml.safe_load(place.read_text(encoding="utf-8"))
    ]
    step = max(many // 10, 1)
    print(
        f"{'hours':>6}{'reading':>10}{'keeping':>10}{'by the clock':>14}{'visits':>9}{'MB':>6}{'store, MB':>11}"
    )
    with Store(where / "data") as store:
        before = len(store.recordings(limit=sys.maxsize // 2))
        spent, visits = [0.0, 0.0, 0.0], 0
        for n in range(before + 1, round(many * 3600 / SECONDS) + 1):
            heard = _transcript(texts, random.Random(n))
            clock, start = time.perf_counter(), time.process_time()
            done = work.work(_job(vocabulary, heard))
            assert isinstance(done, Done), done
            found, between = done.visits(), time.process_time()
            store.keep(Recording(f"{n:064x}", f"{n}.m4a", 1, "sound"), done.transcript, found)
            took = (between - start, time.process_time() - between, time.perf_counter() - clock)
            spent = [a + b for a, b in zip(spent, took, strict=True)]
            visits += len(found)
            if n % round(step * 3600 / SECONDS) == 0:
                hours = (n - before) * SECONDS / 3600
                reading, keeping, by_clock = (1000 * s / hours for s in spent)
                size = (where / "data" / "earside.db").stat().st_size / 1e6
                print(
                    f"{n * SECONDS / 3600:6.0f}{reading:10.0f}{keeping:10.0f}{by_clock:14.0f}{visits:9,}"
                    f"{_mb():6.0f}{size:11.0f}",
                    flush=True,
                )
                before, spent, visits = n, [0.0, 0.0, 0.0], 0


def _transcript(texts: Sequence[str], chance: random.Random) -> Transcript:
    said: list[str] = []
    while len(said) < WORDS_A_SECOND * SECONDS:
        said += [*chance.choice(texts).split(), "Next", "patient."]
    at, words = 0, list[Word]()
    for n, word in enumerate(said):
        seconds = (n / WORDS_A_SECOND, (n + 0.9) / WORDS_A_SECOND)
        sure = round(chance.uniform(0.5, 1), 3)
        words.append(Word(chars=(at, at + len(word)), seconds=seconds, probability=sure))
        at += len(word) + 1
    return Transcript(
        text=" ".join(said), words=tuple(words), duration=len(said) / WORDS_A_SECOND, model="base"
    )


def _job(vocabulary: bytes, heard: Transcript) -> Job:
    looked = Looked("/nowhere", "0" * 64, 1, 0, heard.duration, None, None)
    return Job(looked, "base", vocabulary, heard)


def files(where: Path, many: int) -> None:
    """Many small ones."""
    here = where / "files"
    here.mkdir()
    sound = read.read(made.SAMPLES / "half_pauses.ogg").samples[:32_000].copy()
    for n in range(many):
        sound[0] = n % 30_000  # no two the same
        sound[1] = n // 30_000
        _write(here / f"запись 録音 {n:05}.wav", [sound])
    for what in ("first", "again"):
        at = time.perf_counter()
        import_all(Wanted([here], data=where / "data", hear=made.hear, copy=what == "first", plan_only=True))
        planned = time.perf_counter()
        import_all(Wanted([here], data=where / "data", hear=made.hear))
        print(
            f"{what}: {many:,} files, plan {planned - at:.0f} s, import {time.perf_counter() - planned:.0f} s, "
            f"memory {_mb():.0f} MB, of a worker {_mb(resource.RUSAGE_CHILDREN):.0f} MB",
            flush=True,
        )


def long(where: Path, many: float) -> None:
    """One long one."""
    here = where / "long"
    here.mkdir()
    sound = read.read(made.SAMPLES / "teaching_session.opus").samples
    times = round(many * 3600 * read.RATE / len(sound))
    _write(here / "long.wav", ((sound * (0.5 + (n % 100) / 200)).astype(np.int16) for n in range(times)))
    at = time.perf_counter()
    import_all(Wanted([here], data=where / "data", hear=scripted.hear))
    with Store(where / "data") as store:
        (row,) = store.recordings()
        visits = sum(vars(store.counts()).values())
    print(
        f"{(row.seconds or 0) / 3600:.2f} hours, {visits:,} visits, {time.perf_counter() - at:.0f} s, "
        f"memory {_mb():.0f} MB, of a worker {_mb(resource.RUSAGE_CHILDREN):.0f} MB"
    )


def _write(place: Path, sound: object) -> None:
    with wave.open(str(place), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(read.RATE)
        for part in sound:  # type: ignore[attr-defined]
            file.writeframes(part.tobytes())


def _mb(whose: int = resource.RUSAGE_SELF) -> float:
    """The most memory that this process, or any one of those it started, has held."""
    return resource.getrusage(whose).ru_maxrss / 1024


def main() -> None:
    """As asked."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("what", choices=("hours", "files", "long"))
    asked.add_argument("--hours", type=float)
    asked.add_argument("--files", type=int, default=5000)
    asked.add_argument("--folder", type=Path)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        where = given.folder or Path(passing)
        where.mkdir(parents=True, exist_ok=True)
        if given.what == "hours":
            hours(where, int(given.hours or 1000))
        elif given.what == "files":
            files(where, given.files)
        else:
            long(where, given.hours or 12)


if __name__ == "__main__":
    main()
