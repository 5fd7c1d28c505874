"""The programs that bench_peers.py compares, each run once in a process of its own.

    PYTHON tests/benchmarks/peers.py SYSTEM RECORDING WEIGHTS

prints what it took as JSON: seconds by the clock, processor seconds, those that other programs took meanwhile, the
most memory it held (megabytes), the words, and the versions of the programs. Loading the models is not counted,
reading the recording is. Every program gets the same THREADS processors and as many threads. WEIGHTS: the folder of
peer_weights.py.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from unittest.mock import patch

THREADS = 2
LANGUAGE = "en"
ROOT = Path(__file__).resolve().parents[2]
Work = Callable[[], str]
"""A recording to its words."""


def plain(path: Path, _: Path, *, threads: int = THREADS, vad: bool = False) -> Work:
    """faster-whisper, int8, with its defaults: beam 5, and other temperatures where that fails."""
    sys.path.insert(0, str(ROOT))
    from dictate import weights  # noqa: PLC0415

    weights.go_offline()
    from faster_whisper import WhisperModel  # noqa: PLC0415

    folder = str(weights.find("base"))
    model = WhisperModel(
        folder, device="cpu", compute_type="int8", cpu_threads=threads, local_files_only=True
    )
    return lambda: " ".join(p.text for p in model.transcribe(str(path), language=LANGUAGE, vad_filter=vad)[0])


def whisper_cpp(path: Path, folder: Path) -> Work:
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
    return lambda: " ".join(part.text for part in model.transcribe(str(path)))


def openai_whisper(path: Path, folder: Path, **options: int) -> Work:
    """openai-whisper, 32-bit floats, as its program comes if no options are given but beam_size and best_of of 5."""
    import torch  # noqa: PLC0415
    import whisper  # noqa: PLC0415

    torch.set_num_threads(THREADS)
    model = whisper.load_model(str(folder / "whisper.pt"), device="cpu")
    return lambda: str(model.transcribe(str(path), language=LANGUAGE, fp16=False, **options)["text"])


def ours(path: Path, _: Path) -> Work:
    """All that an import does with a recording, from sound to kept visits."""
    sys.path.insert(0, str(ROOT))
    from bench_speed import ours as imported  # noqa: PLC0415

    return imported(path)


def hearing(path: Path, _: Path) -> Work:
    """Our hearing alone, from sound to words."""
    sys.path.insert(0, str(ROOT))
    from dictate import hear  # noqa: PLC0415

    if second := hear.whisper("base").second():
        second.settings()
    return lambda: hear.transcribe(path).text


PEERS: dict[str, Callable[[Path, Path], Work]] = {
    "whisper.cpp, 16-bit, beam 5": whisper_cpp,
    "openai-whisper, beam 5": lambda path, folder: openai_whisper(path, folder, beam_size=5, best_of=5),
    "openai-whisper, greedy": openai_whisper,
}
"""Those that need the environment of the peers."""

SYSTEMS: dict[str, Callable[[Path, Path], Work]] = {
    "ours, sound to kept visits": ours,
    "ours, hearing alone": hearing,
    "faster-whisper, beam 5": plain,
    "faster-whisper, beam 5, one thread": lambda path, folder: plain(path, folder, threads=1),
    "faster-whisper, beam 5, its speech filter": lambda path, folder: plain(path, folder, vad=True),
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


def without(name: str) -> Callable[[Path, Path], Work]:
    """Our hearing with one safeguard switched off."""

    def made(path: Path, folder: Path) -> Work:
        sys.path.insert(0, str(ROOT))
        stack = ExitStack()
        stack.enter_context(_swapped(**SAFEGUARDS[name]))
        work = hearing(path, folder)
        return lambda: _closing(stack, work)

    return made


def _closing(stack: ExitStack, work: Work) -> str:
    with stack:
        return work()


SYSTEMS |= {WITHOUT + name: without(name) for name in SAFEGUARDS}


def processor_seconds() -> float:
    """This process's and its ended children's."""
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(u.ru_utime + u.ru_stime for u in used)


def busy_seconds() -> float:
    """The machine's, all processors together, since it was started (proc(5): /proc/stat)."""
    user, nice, system, _, _, irq, softirq, steal = map(int, Path("/proc/stat").read_text().split()[1:9])
    return (user + nice + system + irq + softirq + steal) / os.sysconf("SC_CLK_TCK")


def most_memory() -> int:
    """The most this process has held, in megabytes (proc(5): VmHWM; ru_maxrss would begin with the parent's)."""
    lines = Path("/proc/self/status").read_text(encoding="utf-8").splitlines()
    return next(int(line.split()[1]) // 1024 for line in lines if line.startswith("VmHWM"))


def programs() -> dict[str, str]:
    """The versions of what is compared, as far as it is installed here."""
    found = {}
    for name in ("faster-whisper", "ctranslate2", "openai-whisper", "torch", "pywhispercpp"):
        with suppress(PackageNotFoundError):
            found[name] = version(name)
    return found


def main(system: str, path: Path, folder: Path) -> None:
    """Run one program on one recording."""
    os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:THREADS])
    work = SYSTEMS[system](path, folder)
    before, busy, start = processor_seconds(), busy_seconds(), time.perf_counter()
    text = work()
    took, cpu = time.perf_counter() - start, processor_seconds() - before
    others = max(busy_seconds() - busy - cpu, 0.0)
    of = {"seconds": took, "cpu": cpu, "others": others, "mb": most_memory(), "text": text}
    print(json.dumps(of | {"programs": programs()}))


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]))
