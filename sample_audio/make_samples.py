"""Speak the scripts in this folder and write the sample recordings and `manifest.json`.

    python sample_audio/make_samples.py [NAME ...]

A developer's extra: neither running nor testing Earside needs it. Wants the system programs flite and
espeak-ng, and the project's `samples` extra. The recordings come out alike in sound, not byte for byte, on
another machine: the committed ones are those whose SHA-256 stands in the manifest.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from room import suction, write
from voices import Samples, flite, kokoro, sentences

HERE = Path(__file__).parent
MANIFEST = HERE / "manifest.json"
Voice = tuple[Callable[[str], Samples], int]


@dataclass(frozen=True)
class Sample:
    """How one script is spoken and stored. name: of the script and the gold record beside it.

    gap_s: silence between sentences, twice that between paragraphs. pause_share: if given, the share of
    the whole that is pauses, spread evenly after the sentences in place of gap_s. snr_db: speech power
    over suction noise power, both taken within the sentences; no noise if not given. bursts: noise only
    from the first to the last named sentence of each pair (counted from 0), as when the pump is switched.
    A noisy sample whose level is tested is FLAC: Opus quietens the noise in the pauses by 1.6 dB.
    """

    name: str
    suffix: str
    voice: str
    speed: float
    codec: str
    kbit: int | None
    file_rate: int
    layout: str = "mono"
    gap_s: float = 0.45
    pause_share: float | None = None
    snr_db: float | None = None
    bursts: tuple[tuple[int, int], ...] = ()
    film: bool = False


SAMPLES = [
    Sample("right_ear", "opus", "jf_gongitsune", 0.95, "libopus", 28, 24000),
    Sample("both_ears", "opus", "jf_gongitsune", 1.0, "libopus", 24, 24000),
    Sample("sides_not_named", "opus", "awb", 1.0, "libopus", 28, 16000),
    Sample("three_patients", "ogg", "jf_tebukuro", 1.0, "libopus", 24, 24000, gap_s=0.5),
    Sample("corrections", "mp3", "slt", 0.92, "libmp3lame", 32, 22050),
    Sample("suction_hiss", "flac", "jf_gongitsune", 0.95, "flac", None, 16000, snr_db=10),
    Sample("left_ear_video", "mp4", "jf_tebukuro", 1.0, "aac", 48, 44100, "stereo", film=True),
    Sample("teaching_session", "opus", "jf_gongitsune", 1.05, "libopus", 20, 24000, gap_s=0.75),
    Sample("history_and_referral", "m4a", "jf_alpha", 0.85, "aac", 40, 32000),
    Sample(
        "half_pauses", "ogg", "slt", 1.0, "libopus", 24, 16000, pause_share=0.5, snr_db=15, bursts=((5, 7),)
    ),
]


def voice_of(sample: Sample) -> Voice:
    """The sample's voice at its speed."""
    if sample.voice.startswith("jf_"):
        return kokoro(sample.voice, sample.speed)
    return flite(sample.voice, 1 / sample.speed)


def speak(sample: Sample, text: str, voice: Voice) -> tuple[Samples, list[tuple[int, int]]]:
    """The clean sound at the voice's rate, and where each sentence lies in it (samples)."""
    say, rate = voice
    spoken = [(say(s), last) for p in text.split("\n\n") for s, last in _marked(sentences(p))]
    words = sum(len(sound) for sound, _ in spoken)
    parts, spans, at = [np.zeros(int(0.4 * rate), np.float32)], [], int(0.4 * rate)
    for sound, ends_paragraph in spoken:
        spans.append((at, at + len(sound)))
        gap = sample.gap_s * rate * (2 if ends_paragraph else 1)
        if sample.pause_share:
            gap = words * sample.pause_share / (1 - sample.pause_share) / len(spoken)
        parts += [sound, np.zeros(int(gap), np.float32)]
        at += len(sound) + int(gap)
    clean = np.concatenate(parts)
    return (clean * (0.6 / np.max(np.abs(clean)))).astype(np.float32), spans


def _marked(texts: list[str]) -> list[tuple[str, bool]]:
    return [(text, i == len(texts) - 1) for i, text in enumerate(texts)]


def add_suction(
    clean: Samples,
    spans: list[tuple[int, int]],
    rate: int,
    snr_db: float,
    bursts: tuple[tuple[int, int], ...],
) -> Samples:
    """The clean sound under suction noise at snr_db, the noise seeded so that it comes out the same."""
    speech = np.concatenate([clean[a:b] for a, b in spans])
    noise = suction(len(clean), rate, seed=417)
    noise *= np.sqrt(np.mean(speech**2) / 10 ** (snr_db / 10))
    if bursts:
        on = np.zeros(len(clean), np.float32)
        for first, last in bursts:
            on[spans[first][0] - rate // 2 : spans[last][1] + rate // 2] = 1
        noise *= np.convolve(on, np.ones(rate // 10, np.float32) / (rate // 10), "same")
    mixed = clean + noise
    return (mixed * min(1.0, 0.95 / np.max(np.abs(mixed)))).astype(np.float32)


def make(sample: Sample) -> dict[str, object]:
    """Speak and store one sample. Returns its line in the manifest."""
    text = (HERE / f"{sample.name}.txt").read_text(encoding="utf-8")
    voice = voice_of(sample)
    rate = voice[1]
    sound, spans = speak(sample, text, voice)
    if sample.snr_db is not None:
        sound = add_suction(sound, spans, rate, sample.snr_db, sample.bursts)
    path = HERE / f"{sample.name}.{sample.suffix}"
    write(
        path,
        sound,
        rate,
        codec=sample.codec,
        file_rate=sample.file_rate,
        kbit=sample.kbit,
        layout=sample.layout,
        film=sample.film,
    )
    return {
        "file": path.name,
        "seconds": round(len(sound) / rate, 2),
        "voice": f"{'kokoro' if sample.voice.startswith('jf_') else 'flite'} {sample.voice}",
        "snr_db": sample.snr_db,
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "sentences": [[round(a / rate, 2), round(b / rate, 2)] for a, b in spans],
    }


def main(names: list[str]) -> None:
    """Make the named samples, or all, and bring the manifest up to date."""
    known = json.loads(MANIFEST.read_text()) if MANIFEST.exists() else {}
    for sample in SAMPLES:
        if not names or sample.name in names:
            known[sample.name] = make(sample)
            print(f"{known[sample.name]['file']}: {known[sample.name]['seconds']} s")
    lines = ",\n".join(f" {json.dumps(name)}: {json.dumps(entry)}" for name, entry in sorted(known.items()))
    MANIFEST.write_text(f"{{\n{lines}\n}}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
