"""What is heard of the corpus, kept beside its sound, so that a long measurement can be taken in parts.

A transcript is kept by the version of the hearing it came from: after a change to it, everything is heard anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from corpus import FOLDER, ROOT, Spoken

from dictate.hear import transcribe
from dictate.recognise import Phrase, Samples, Settings, whisper
from shared.transcript import Transcript

_MODULES = [
    "bias",
    "clip",
    "credible",
    "doubt",
    "hear",
    "hearings",
    "read",
    "recognise",
    "second_look",
    "speech",
]


@dataclass(frozen=True)
class Setup:
    """How a dictation is heard. careful: with the second pass. of: the version of the hearing whose transcripts are
    taken; of another than today's there are only those that were kept."""

    model: str = "base"
    careful: bool = True
    of: str = ""

    @property
    def name(self) -> str:
        """For tables and files."""
        return self.model if self.careful else f"{self.model}, first pass alone"


class Unchecked:
    """A recogniser that nobody checks: the first pass alone."""

    def __init__(self, model: str) -> None:
        self._first = whisper(model)

    def settings(self) -> Settings:
        return self._first.settings()

    def hear(self, sound: Samples, *, plain: bool = False) -> list[Phrase]:
        return self._first.hear(sound, plain=plain)

    def hear_all(self, sounds: Sequence[Samples], *, plain: bool = False) -> list[list[Phrase]]:
        return self._first.hear_all(sounds, plain=plain)


def version() -> str:
    """Of the code and the words that decide what is heard."""
    files = [ROOT / "dictate" / f"{name}.py" for name in _MODULES]
    files.append(ROOT / "shared" / "vocabulary" / "prompt.yaml")
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()[:12]


def heard(spoken: Spoken, level: float | None, setup: Setup) -> Transcript:
    """The dictation under its noise, as heard now or when it was first asked for. Raises FileNotFoundError for one
    that another version than today's did not hear."""
    place = kept(spoken, level, setup)
    if place.exists() or setup.of not in ("", version()):
        return Transcript.model_validate_json(place.read_text(encoding="utf-8"))
    recogniser = None if setup.careful else Unchecked(setup.model)
    words = transcribe(spoken.at(level), model=setup.model, recogniser=recogniser)
    part = place.with_suffix(".part")
    part.parent.mkdir(parents=True, exist_ok=True)
    part.write_text(words.model_dump_json(), encoding="utf-8")
    part.rename(place)
    return words


def kept(spoken: Spoken, level: float | None, setup: Setup) -> Path:
    """Where that transcript lies."""
    noise = "clean" if level is None else f"{level}.{spoken.noise}"
    name = f"{spoken.name}.{spoken.voice}.{noise}.{setup.name}.json"
    return FOLDER / "heard" / (setup.of or version()) / name.replace(" ", "_").replace(",", "")
