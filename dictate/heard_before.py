"""What was heard of a recording so far, on the disk, so that an interrupted hearing goes on where it stopped.

A file of lines, only ever added to; one that was cut off is passed over. Each is one call of the recogniser: the
clips that were heard together, known by their sound and by all else that the words depend on. So the same call
gives the same again, value for value, and any other is heard afresh. It holds dictated words, no sound.
"""

from __future__ import annotations

import hashlib
import json
import os
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from types import TracebackType
from typing import Any

from dictate.recognise import Checked, HeardWord, Phrase, Recogniser, Samples, Settings, hear_all
from shared.protecting.files import Lines

_NO_MATTER = ("workers",)
"""Settings on which the words do not depend."""


class HeardFile:
    """The file. A context manager. One that cannot be read or written is done without.

    answered: how many calls it gave back.
    """

    def __init__(self, place: Path) -> None:
        self.answered = 0
        self._lock = threading.Lock()
        self._lines: dict[str, str] = {}
        self._file: int | None = None
        self._sealing = Lines(place)
        with suppress(OSError), place.open("rb") as lines:
            for line in lines:
                with suppress(ValueError):  # cut off
                    key, _, heard = self._sealing.read(line).decode().partition(" ")
                    json.loads(heard)
                    self._lines[key] = heard
        with suppress(OSError):
            self._file = os.open(place, os.O_CREAT | os.O_APPEND | os.O_WRONLY, 0o600)

    def heard(self, key: str) -> list[list[Phrase]] | None:
        """What a call gave, None if it is not in the file."""
        if (line := self._lines.get(key)) is None:
            return None
        with self._lock:
            self.answered += 1
        return [[_phrase(phrase) for phrase in clip] for clip in json.loads(line)]

    def keep(self, key: str, heard: Sequence[Sequence[Phrase]]) -> None:
        """Write down what a call gave."""
        text = f"{key} {json.dumps([[asdict(phrase) for phrase in clip] for clip in heard])}"
        line = b"\n" + self._sealing.written(text.encode()) + b"\n"
        with self._lock, suppress(OSError):  # a full disk: the store will say so
            if self._file is not None:
                os.write(self._file, line)

    def __enter__(self) -> HeardFile:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._lock:
            if self._file is not None:
                os.close(self._file)
                self._file = None


class HeardBefore:
    """A Recogniser that asks the file first.

    hearer: makes the one behind it, when first needed. progress: called after each call.
    """

    def __init__(
        self, hearer: Callable[[], Recogniser], file: HeardFile, progress: Callable[[], object] = lambda: None
    ) -> None:
        self._make, self._file, self._progress = hearer, file, progress
        self._made: Recogniser | None = None
        self._circumstances = b""
        self._lock = threading.Lock()

    def settings(self) -> Settings:
        """The options of the recogniser behind it."""
        return self._behind().settings()

    def hear(self, sound: Samples, *, plain: bool = False) -> list[Phrase]:
        """The phrases in a clip."""
        return self.hear_all([sound], plain=plain)[0]

    def hear_all(self, sounds: Sequence[Samples], *, plain: bool = False) -> list[list[Phrase]]:
        """The phrases in each of the clips."""
        behind, key = self._behind(), self._key(sounds, plain=plain)
        heard = self._file.heard(key)
        if heard is None:
            heard = hear_all(behind, sounds, plain=plain)
            self._file.keep(key, heard)
        self._progress()
        return heard

    def second(self) -> Recogniser | None:
        """Who checks the recogniser behind it; written down too."""
        behind = self._behind()
        second = behind.second() if isinstance(behind, Checked) else None
        return HeardBefore(lambda: second, self._file, self._progress) if second is not None else None

    def _behind(self) -> Recogniser:
        with self._lock:  # clips are heard in several threads
            if self._made is None:
                self._made = self._make()
                self._circumstances = _circumstances(self._made.settings())
            return self._made

    def _key(self, sounds: Sequence[Samples], *, plain: bool) -> str:
        key = hashlib.blake2b(self._circumstances, digest_size=16)
        key.update(b"plain" if plain else b"prompted")
        for sound in sounds:
            key.update(len(sound).to_bytes(8, "big"))
            key.update(sound.tobytes())
        return key.hexdigest()


def _circumstances(settings: Settings) -> bytes:
    """What the words depend on beside the sound: the options, the programs, the weights."""
    options = {name: value for name, value in settings.items() if name not in _NO_MATTER}
    programs = ("earside", "faster-whisper", "ctranslate2")
    held: list[object] = [options, *map(version, programs)]
    with suppress(OSError):  # weights that have a name only come with Earside, which checks them
        weights = (Path(str(settings.get("model", ""))) / "model.bin").stat()
        held += [weights.st_size, weights.st_mtime_ns]
    return json.dumps(held, sort_keys=True).encode()


def _phrase(held: dict[str, Any]) -> Phrase:
    return Phrase(**held | {"words": tuple(HeardWord(**word) for word in held["words"])})
