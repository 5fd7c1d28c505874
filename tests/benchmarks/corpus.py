"""Dictations of tests/dictations spoken by several voices, clean and under suction noise, kept in a folder.

    python tests/benchmarks/corpus.py

speaks what is not there yet (wants the `samples` extra, flite and espeak-ng; about as long as the talk itself).
The folder is EARSIDE_BENCH, else earside-bench in the system's temporary folder. Two halves share neither a
text nor a voice: what is chosen is chosen on "tune", what is published is measured on "report".
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import yaml
from sounds import RATE, Samples, gurgling_suction, mixed, steady_suction

ROOT = Path(__file__).resolve().parents[2]
FOLDER = Path(os.environ.get("EARSIDE_BENCH") or Path(tempfile.gettempdir()) / "earside-bench")
SETS = ("british_irish", "conversational", "headings", "letters", "north_american", "teaching")
A_SET, FROM = 3, 5
"""Dictations taken of each set, out of so many drawn."""
WORDS = (40, 230)
VOICES = {
    "tune": (("jf_gongitsune", 1.0), ("awb", 1.0), ("jf_tebukuro", 1.0)),
    "report": (("jf_alpha", 0.9), ("jf_nezumi", 1.0), ("slt", 0.95), ("jf_nezumi", 1.0)),
}
"""Voice and speed; jf_ are Kokoro's, the others flite's. Kokoro's fifth, jm_kumo, cannot be understood in English:
base misheard nine words in ten of it without any noise, so it is left out."""
LEVELS: tuple[float | None, ...] = (None, 20, 15, 10, 5)
"""Speech over noise, dB; None is clean."""


@dataclass(frozen=True)
class Spoken:
    """One dictation of the corpus. gold: {id, text, visits}; noise: the sort that covers it."""

    gold: dict[str, Any]
    half: str
    voice: str
    speed: float
    noise: str

    @property
    def name(self) -> str:
        """Its id."""
        return str(self.gold["id"])

    @property
    def seed(self) -> int:
        """For its noise."""
        return sum(map(ord, self.name))

    def clean(self) -> Samples:
        """The sound at RATE, without noise. Raises FileNotFoundError if nobody has spoken it yet."""
        stored: Samples = np.load(self.place())["sound"].astype(np.float32) / 32768
        return stored

    def place(self) -> Path:
        """Where its clean sound lies."""
        return FOLDER / f"{self.name}.{self.voice}.npz"

    def at(self, snr_db: float | None) -> Samples:
        """The sound under its noise."""
        if snr_db is None:
            return self.clean()
        spoken = np.zeros(len(self.clean()), bool)
        for start, end in np.load(self.place())["spans"]:
            spoken[start:end] = True
        make = gurgling_suction if self.noise == "gurgling" else steady_suction
        return mixed(self.clean(), spoken, make(len(spoken), self.seed), snr_db)


def corpus(half: str = "") -> list[Spoken]:
    """The dictations of a half, or all: each set gives to both halves, each half has its own voices."""
    chosen: list[Spoken] = []
    for number, name in enumerate(SETS):
        texts = yaml.safe_load((ROOT / "tests" / "dictations" / f"{name}.yaml").read_text(encoding="utf-8"))
        fitting = [t for t in texts if WORDS[0] <= len(t["text"].split()) <= WORDS[1]]
        for i, gold in enumerate(random.Random(4).sample(fitting, FROM)[:A_SET], number * FROM):
            which = ("tune", "report")[i % 2]
            voice, speed = VOICES[which][i // 2 % len(VOICES[which])]
            chosen.append(Spoken(gold, which, voice, speed, ("steady", "gurgling")[i // 2 % 2]))
    return [s for s in chosen if half in ("", s.half)]


def speak(spoken: Sequence[Spoken]) -> None:
    """Speak what does not lie in FOLDER yet."""
    sys.path.insert(0, str(ROOT / "sample_audio"))
    import make_samples  # noqa: PLC0415  (wants the samples extra)

    FOLDER.mkdir(parents=True, exist_ok=True)
    for one in spoken:
        if one.place().exists():
            continue
        as_sample = make_samples.Sample(one.name, "", one.voice, one.speed, "", None, RATE)
        voice = make_samples.voice_of(as_sample)
        sound, spans = make_samples.speak(as_sample, one.gold["text"].strip(), voice)
        ratio = RATE / voice[1]
        at = np.arange(int(len(sound) * ratio)) / ratio
        size = len(sound)
        f = np.fft.rfftfreq(size, 1 / voice[1])
        sound = np.fft.irfft(np.fft.rfft(sound) * (f < 0.49 * RATE), size)  # no echo of what is cut off
        kept = (np.interp(at, np.arange(size), sound) * 32767).astype(np.int16)
        part = one.place().with_suffix(".part.npz")
        np.savez_compressed(part, sound=kept, spans=np.round(np.array(spans) * ratio).astype(np.int64))
        part.rename(one.place())
        print(f"{one.name} {one.voice}: {len(kept) / RATE:.0f} s", flush=True)


if __name__ == "__main__":
    speak(corpus())
