"""How long a recording takes from sound to kept visits, beside plain faster-whisper on the same weights and sound.

    python tests/benchmarks/bench_speed.py [--half report]

Ours is all of it: finding speech, both hearings, second looks, reading, keeping. Plain is faster-whisper's
`WhisperModel(base, int8)` with its defaults (beam 5), words only. Each runs in a process of its own, one after the
other; loading the models is not counted. The sound is that of corpus.py; speak it first.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
import wave
from collections.abc import Callable
from pathlib import Path

import jiwer
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from bench_noise import plain as as_compared  # noqa: E402
from long_dictations import KINDS, dictation  # noqa: E402
from sounds import RATE  # noqa: E402

from dictate import weights  # noqa: E402

SYSTEMS = ("plain", "ours")


def ours(path: Path) -> Callable[[], str]:
    """Sound to visits in a store; gives the words."""
    from dictate.hear import transcribe  # noqa: PLC0415
    from dictate.recognise import whisper  # noqa: PLC0415
    from extract.reader import Reader  # noqa: PLC0415
    from shared.store import Recording, Store  # noqa: PLC0415

    reader = Reader()
    if second := whisper("base").second():
        second.settings()

    def work() -> str:
        heard = transcribe(path)
        with Store(path.parent / "data") as store:
            store.keep(Recording.of(path, "sound"), heard, reader.read(heard), replace=False, keep_sound=True)
        return heard.text

    return work


def plain(path: Path) -> Callable[[], str]:
    """faster-whisper as it comes."""
    weights.go_offline()
    from faster_whisper import WhisperModel  # noqa: PLC0415

    model = WhisperModel(str(weights.find("base")), device="cpu", compute_type="int8", local_files_only=True)
    return lambda: " ".join(part.text for part in model.transcribe(str(path), language="en")[0])


def child(system: str, path: Path) -> None:
    """One system on one recording; prints what it took."""
    work = {"ours": ours, "plain": plain}[system](path)
    start = time.perf_counter()
    text = work()
    took = time.perf_counter() - start
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(json.dumps({"seconds": took, "mb": most, "text": text}))


def main() -> None:
    """Every kind of dictation through both."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--half", choices=("tune", "report"), default="report")
    asked.add_argument("--child", nargs=2)
    args = asked.parse_args()
    if args.child:
        child(args.child[0], Path(args.child[1]))
        return
    print(f"{'':12}{'system':>8}{'times real time':>17}{'ratio':>7}{'word errors':>13}{'peak MB':>9}")
    for kind in KINDS:
        spoken = dictation(kind, args.half)
        first = 0.0
        for system in SYSTEMS:
            with tempfile.TemporaryDirectory() as passing:
                path = Path(passing) / "dictation.wav"
                with wave.open(str(path), "wb") as file:
                    file.setnchannels(1)
                    file.setsampwidth(2)
                    file.setframerate(RATE)
                    file.writeframes((np.clip(spoken.sound, -1, 1) * 32767).astype("<i2").tobytes())
                call = [sys.executable, __file__, "--child", system, str(path)]
                told = subprocess.run(call, capture_output=True, text=True, check=True).stdout
            found = json.loads(told.splitlines()[-1])
            speed = len(spoken.sound) / RATE / found["seconds"]
            first = first or speed
            errors = jiwer.wer(as_compared(" ".join(spoken.texts)), as_compared(found["text"]))
            print(
                f"{kind:12}{system:>8}{speed:17.1f}{speed / first:7.2f}{errors:13.3f}{found['mb']:9}",
                flush=True,
            )


if __name__ == "__main__":
    main()
