"""Human speech under suction noise: our hearing beside plain faster-whisper, on the same weights.

    python tests/benchmarks/bench_human.py [--also FOLDER] [--model base]

Speech: open-data/speech (jfk.flac, english.wav, single digits by six people, put together ten at a time in a drawn
order), and with --also every WAV of a folder that has its words in a .txt of the same name beside it. Noise: that of
sounds.py, steady and gurgling in turn, at levels over the frames that hold speech; what was heard is kept beside the
sound of corpus.py, so that the command goes on where it was stopped. Plain is `WhisperModel(base, int8)` with its
defaults, told that the language is English. Words are compared after Whisper's English normaliser, numbers digit by
digit. The interval of the difference: resampling whole recordings (bootstrap; Efron 1979, from memory).
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import jiwer
import numpy as np
from whisper_normalizer.english import EnglishTextNormalizer

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from corpus import FOLDER  # noqa: E402
from heard import version  # noqa: E402
from sounds import RATE, Samples, gurgling_suction, mixed, steady_suction  # noqa: E402

from dictate import hear, weights  # noqa: E402
from dictate.read import read  # noqa: E402

OPEN_DATA = Path(os.environ.get("EARSIDE_OPEN_DATA", ROOT.parent / "shared" / "open-data"))
JFK = (
    "And so my fellow Americans ask not what your country can do for you ask what you can do for your country"
)
PEOPLE = ("george", "jackson", "lucas", "nicolas", "theo", "yweweler")
DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
LEVELS: tuple[float | None, ...] = (None, 20, 10, 5)
EDGE_SECONDS, GAP_SECONDS = 0.5, 0.5
"""Of nobody speaking: around a recording, and between two digits."""

normal = EnglishTextNormalizer()


@dataclass(frozen=True)
class Read:
    """One recording. source: the collection it is of; sound: samples at RATE; words: what is said."""

    source: str
    words: str
    sound: Samples

    def at(self, level: float | None, seed: int) -> Samples:
        """The sound under noise, `level` dB below its speech; clean for None. seed: an odd one gurgles."""
        sound = np.pad(self.sound, round(EDGE_SECONDS * RATE))
        if level is None:
            return sound
        noise = gurgling_suction if seed % 2 else steady_suction
        return mixed(sound, spoken(sound), noise(len(sound), seed), level)


def spoken(sound: Samples) -> np.ndarray:
    """The samples that lie in 20 ms frames within 30 dB of the loud ones: speech, in recordings with little noise."""
    size = RATE // 50
    frames = np.pad(sound, (0, -len(sound) % size)).reshape(-1, size)
    power = np.square(frames).mean(axis=1)
    return np.repeat(power > np.quantile(power, 0.95) / 1000, size)[: len(sound)]


def sound_of(path: Path) -> Samples:
    """A file's samples."""
    recording = read(path)
    return recording.floats(0, len(recording.samples))


def recordings(speech: Path, also: Path | None) -> Iterator[Read]:
    """All that is listened to."""
    yield Read("speech", JFK, sound_of(speech / "jfk.flac"))
    yield Read("speech", "one two three", sound_of(speech / "english.wav"))
    gap = np.zeros(round(GAP_SECONDS * RATE), np.float32)
    for person in PEOPLE:
        for take in (0, 7):
            order = random.Random(f"{person} {take}").sample(range(10), 10)
            parts = [
                part
                for digit in order
                for part in (sound_of(speech / "digits" / f"{digit}_{person}_{take}.wav"), gap)
            ]
            yield Read("digits", " ".join(DIGITS[d] for d in order), np.concatenate(parts))
    for path in sorted(also.rglob("*.wav")) if also else ():
        if (words := path.with_suffix(".txt")).exists():
            yield Read(path.parent.name, words.read_text(encoding="utf-8"), sound_of(path))


def compared(text: str) -> str:
    """A text as it is compared."""
    words = [str(DIGITS.index(w)) if w in DIGITS else w for w in normal(text).split()]
    return " ".join(re.sub(r"\d", r" \g<0> ", " ".join(words)).split())


def errors(said: str, found: str) -> int:
    """Words put for others, left out and put in."""
    counted = jiwer.process_words(compared(said), compared(found))
    return counted.substitutions + counted.deletions + counted.insertions


def plain(model: str) -> Callable[[Samples], str]:
    """faster-whisper as it comes."""
    weights.go_offline()
    from faster_whisper import WhisperModel  # noqa: PLC0415

    loaded = WhisperModel(str(weights.find(model)), device="cpu", compute_type="int8", local_files_only=True)
    return lambda sound: " ".join(part.text for part in loaded.transcribe(sound, language="en")[0])


class Kept:
    """What both heard of each sound, in a file by the version of our hearing."""

    def __init__(self, model: str) -> None:
        self._model, self._file = model, FOLDER / "human" / f"{version()}.{model}.json"
        self._texts = json.loads(self._file.read_text(encoding="utf-8")) if self._file.exists() else {}

    def both(self, name: str, sound: Samples, plainly: Callable[[Samples], str]) -> list[str]:
        """Our text and theirs."""
        if name not in self._texts:
            self._texts[name] = [hear.transcribe(sound, model=self._model).text, plainly(sound)]
            self._file.parent.mkdir(parents=True, exist_ok=True)
            part = self._file.with_suffix(".part")
            part.write_text(json.dumps(self._texts), encoding="utf-8")
            part.rename(self._file)
        return list(self._texts[name])


def interval(ours: np.ndarray, theirs: np.ndarray, said: np.ndarray) -> str:
    """The 95 % interval of our word error rate less theirs."""
    drawn = np.random.default_rng(1).integers(0, len(said), (10_000, len(said)))
    apart = (ours - theirs)[drawn].sum(axis=1) / said[drawn].sum(axis=1)
    return "{:+.3f} to {:+.3f}".format(*np.quantile(apart, (0.025, 0.975)))


def row(name: str, counted: list[tuple[int, int, int]]) -> str:
    """A row of a table. counted: (words said, our errors, theirs) of each recording."""
    said, ours, theirs = np.array(counted).T
    shares = f"{ours.sum() / said.sum():.3f} | {theirs.sum() / said.sum():.3f}"
    return f"| {name} | {len(said)} | {said.sum()} | {shares} | {interval(ours, theirs, said)} |"


def main() -> None:
    """Hear everything at every level by both, and print the word error rates."""
    asked = argparse.ArgumentParser(
        description="Human speech under suction noise, beside plain faster-whisper."
    )
    asked.add_argument("--also", type=Path, help="a folder of WAV files with their words in .txt beside them")
    asked.add_argument("--model", default="base")
    args = asked.parse_args()
    if not (OPEN_DATA / "speech").is_dir():
        asked.error(f"no open speech at {OPEN_DATA / 'speech'}: EARSIDE_OPEN_DATA names the folder it is in")
    every = list(recordings(OPEN_DATA / "speech", args.also))
    heard, plainly = Kept(args.model), plain(args.model)
    by_source: dict[str, list[tuple[int, int, int]]] = {}
    head = "recordings | words | word errors, ours | plain | difference, 95 % interval |\n"
    print(f"| speech over noise | {head}{'| --- ' * 6}|")
    for level in LEVELS:
        counted = []
        for seed, one in enumerate(every):
            found = heard.both(f"{one.source} {one.words[:30]} {seed} {level}", one.at(level, seed), plainly)
            counted.append((len(compared(one.words).split()), *(errors(one.words, text) for text in found)))
            by_source.setdefault(one.source, []).append(counted[-1])
        print(row("clean" if level is None else f"{level} dB", counted), flush=True)
    print(f"\n| all levels | {head}{'| --- ' * 6}|")
    for source, counted in by_source.items():
        print(row(source, counted))
    print(row("together", [one for some in by_source.values() for one in some]))


if __name__ == "__main__":
    main()
