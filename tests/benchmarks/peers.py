"""The programs that bench_peers.py compares, each run once in a process of its own.

    PYTHON tests/benchmarks/peers.py SYSTEM WEIGHTS RECORDING...

prints what it took as JSON: seconds by the clock, processor seconds, those that other programs took meanwhile, the
most memory it and its workers held (megabytes), the words, and the versions of the programs. Loading the models is
not counted, reading the recordings is. Every program gets the same THREADS processors and as many threads. WEIGHTS:
the folder of peer_weights.py.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, nullcontext, suppress
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from unittest.mock import patch

THREADS = 2
LANGUAGE = "en"
ROOT = Path(__file__).resolve().parents[2]
Work = Callable[[Sequence[Path]], str]
"""Recordings to their words, in their order."""


def one_by_one(hear: Callable[[Path], str]) -> Work:
    """Recordings heard one after the other."""
    return lambda paths: " ".join(hear(path) for path in paths)


def plain(_: Path, *, threads: int = THREADS, vad: bool = False) -> Work:
    """faster-whisper, int8, with its defaults: beam 5, and other temperatures where that fails."""
    sys.path.insert(0, str(ROOT))
    from dictate import weights  # noqa: PLC0415

    weights.go_offline()
    from faster_whisper import WhisperModel  # noqa: PLC0415

    folder = str(weights.find("base"))
    model = WhisperModel(
        folder, device="cpu", compute_type="int8", cpu_threads=threads, local_files_only=True
    )
    return one_by_one(
        lambda path: " ".join(
            p.text for p in model.transcribe(str(path), language=LANGUAGE, vad_filter=vad)[0]
        )
    )


def whisper_cpp(folder: Path) -> Work:
    """whisper.cpp, 16-bit floats, beam 5, else with its defaults."""
    from pywhispercpp.model import Model  # noqa: PLC0415

    model = Model(
        str(folder / "ggml-f16.bin"),
        params_sampling_strategy=1,
        beam_search={"beam_size": 5, "patience": -1.0},
        n_threads=THREADS,
        language=LANGUAGE,
        print_progress=False,
        redirect_whispercpp_logs_to=None,
    )
    return one_by_one(lambda path: " ".join(part.text for part in model.transcribe(str(path))))


def openai_whisper(folder: Path, **options: int) -> Work:
    """openai-whisper, 32-bit floats, as its program comes if no options are given but beam_size and best_of of 5."""
    import torch  # noqa: PLC0415
    import whisper  # noqa: PLC0415

    torch.set_num_threads(THREADS)
    model = whisper.load_model(str(folder / "whisper.pt"), device="cpu")
    return one_by_one(
        lambda path: str(model.transcribe(str(path), language=LANGUAGE, fp16=False, **options)["text"])
    )


def ours(_: Path) -> Work:
    """`earside import`: planning, decoding, hearing, reading, keeping, by the workers that it starts of itself."""
    sys.path.insert(0, str(ROOT))
    from desk.importing import bulk  # noqa: PLC0415
    from shared.store import Store  # noqa: PLC0415

    crew = bulk.Crew(bulk.enough())
    list(crew.run(get_ready, range(bulk.enough())))

    def work(paths: Sequence[Path]) -> str:
        data = paths[0].parent / "data"
        with patch.object(bulk, "Crew", lambda size: nullcontext(crew)):
            bulk.import_all(bulk.Wanted(paths, data=data))
        with Store(data) as store:
            rows = {row.name: store.last_transcript(row.id) for row in store.recordings()}
        return " ".join(heard.text for path in paths if (heard := rows[path.name]))

    return work


def get_ready(_: int) -> None:
    """What a worker loads for its first recording."""
    sys.path.insert(0, str(ROOT))
    import pickle  # noqa: PLC0415

    from desk import own_words  # noqa: PLC0415
    from desk.importing import work  # noqa: PLC0415

    hearing(ROOT)
    work._reader(pickle.dumps(own_words.vocabulary(None)))


def hearing(_: Path) -> Work:
    """Our hearing alone, from sound to words."""
    sys.path.insert(0, str(ROOT))
    import numpy as np  # noqa: PLC0415

    from dictate import hear  # noqa: PLC0415

    if second := hear.whisper("base").second():
        second.settings()
    hear.transcribe(np.zeros(16_000, np.float32))  # loads what finds speech
    return one_by_one(lambda path: hear.transcribe(path).text)


PEERS: dict[str, Callable[[Path], Work]] = {
    "whisper.cpp, 16-bit, beam 5": whisper_cpp,
    "openai-whisper, beam 5": lambda folder: openai_whisper(folder, beam_size=5, best_of=5),
    "openai-whisper, greedy": openai_whisper,
}
"""Those that need the environment of the peers."""

SYSTEMS: dict[str, Callable[[Path], Work]] = {
    "ours, import": ours,
    "ours, hearing alone": hearing,
    "faster-whisper, beam 5": plain,
    "faster-whisper, beam 5, one thread": lambda folder: plain(folder, threads=1),
    "faster-whisper, beam 5, its speech filter": lambda folder: plain(folder, vad=True),
    **PEERS,
}


@contextmanager
def _swapped(**by_place: object) -> Iterator[None]:
    """Parts of dictate/ replaced for a while; `__` stands for a dot. Raises AttributeError for one that is gone."""
    with ExitStack() as stack:
        for place, other in by_place.items():
            stack.enter_context(patch(f"dictate.{place.replace('__', '.')}", other))
        yield


def _untimed(model: str) -> object:
    from dictate import recognise  # noqa: PLC0415

    return recognise.whisper(model, timed=False)


SAFEGUARDS: dict[str, dict[str, object]] = {
    "the second hearing by tiny.en": {"recognise__Whisper__second": lambda self: None},
    "looking again where no word was heard": {
        "second_look__fill": lambda recording, clip, words, again: (list(words), 0.0)
    },
    "placing each word by alignment": {"hear__whisper": _untimed},
    "the trade's nouns told beforehand": {"recognise__nouns_prompt": lambda: ""},
    "guards against words made up": {
        "hearings__kept": lambda phrase: phrase.words,
        "recognise__echoes": lambda words, prompt: False,
        "doubt__believable": lambda words: (list(words), 0.0),
    },
    "marking faint speech": {"speech__faint": lambda recording, stretches: []},
}
"""Each safeguard of our hearing, and what takes its place when it is switched off."""

WITHOUT = "ours, hearing alone, without "


def without(name: str) -> Callable[[Path], Work]:
    """Our hearing with one safeguard switched off."""

    def made(folder: Path) -> Work:
        sys.path.insert(0, str(ROOT))
        stack = ExitStack()
        stack.enter_context(_swapped(**SAFEGUARDS[name]))
        work = hearing(folder)
        return lambda paths: _closing(stack, work, paths)

    return made


def _closing(stack: ExitStack, work: Work, paths: Sequence[Path]) -> str:
    with stack:
        return work(paths)


SYSTEMS |= {WITHOUT + name: without(name) for name in SAFEGUARDS}


def living() -> list[Path]:
    """This process and its children that live (proc(5): task/children)."""
    children = " ".join(t.read_text() for t in Path("/proc/self/task").glob("*/children")).split()
    return [Path("/proc") / number for number in ("self", *children)]


def processor_seconds() -> float:
    """This process's and its children's, those that have ended too (proc(5): stat, utime to cstime)."""
    ticks = 0
    for process in living():
        numbers = (process / "stat").read_text().rpartition(")")[2].split()
        ticks += sum(map(int, numbers[11:15]))
    return ticks / os.sysconf("SC_CLK_TCK")


def busy_seconds() -> float:
    """The machine's, all processors together, since it was started (proc(5): /proc/stat)."""
    user, nice, system, _, _, irq, softirq, steal = map(int, Path("/proc/stat").read_text().split()[1:9])
    return (user + nice + system + irq + softirq + steal) / os.sysconf("SC_CLK_TCK")


def most_memory() -> int:
    """The most that this process and its children have held, each at its own time, in megabytes (proc(5): VmHWM)."""
    lines = [line for one in living() for line in (one / "status").read_text().splitlines()]
    return sum(int(line.split()[1]) // 1024 for line in lines if line.startswith("VmHWM"))


def programs() -> dict[str, str]:
    """The versions of what is compared, as far as it is installed here."""
    found = {}
    for name in ("faster-whisper", "ctranslate2", "openai-whisper", "torch", "pywhispercpp"):
        with suppress(PackageNotFoundError):
            found[name] = version(name)
    return found


def main(system: str, folder: Path, paths: Sequence[Path]) -> None:
    """Run one program on the recordings."""
    os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:THREADS])
    work = SYSTEMS[system](folder)
    before, busy, start = processor_seconds(), busy_seconds(), time.perf_counter()
    text = work(paths)
    took, cpu = time.perf_counter() - start, processor_seconds() - before
    others = max(busy_seconds() - busy - cpu, 0.0)
    of = {"seconds": took, "cpu": cpu, "others": others, "mb": most_memory(), "text": text}
    print(json.dumps(of | {"programs": programs()}))


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), [Path(place) for place in sys.argv[3:]])
