"""The record while a dictation grows: the words so far as one transcript, and the visits in it."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from dictate.events import Event, Utterance
from extract.stretches import move
from shared.protecting.files import Lines
from shared.record import Visit
from shared.transcript import Transcript, Word

if TYPE_CHECKING:
    from extract.reader import Reader

_LONG = 10_000
"""Characters that are read anew each time: some ten minutes of talk."""


@dataclass(frozen=True)
class RecordSoFar(Event):
    """The visits in what was heard so far, several if the clinician went on to another patient.

    transcript: the words so far; the places in the visits are places in its text.
    """

    visits: tuple[Visit, ...]
    transcript: Transcript
    passing = True


class SoFar:
    """Utterances in, the record so far out."""

    def __init__(self) -> None:
        self._text = ""
        self._words: list[Word] = []
        self._seconds = 0.0
        self._settled: list[Visit] = []
        self._from = 0  # where the text begins that is read anew

    def add(self, utterances: Iterable[Utterance], reader: Reader) -> RecordSoFar:
        """Take more utterances, in order, and read them with what came before.

        In a long dictation a visit stands once two others have begun; only what follows is read again.
        """
        for utterance in utterances:
            self._append(utterance)
        transcript = Transcript(text=self._text, words=tuple(self._words), duration=self._seconds)
        visits = reader.read(transcript.part(self._from, len(self._text)))
        for visit in visits:
            move(visit, self._from)
        record = RecordSoFar((*self._settled, *visits), transcript)
        last = visits[-2].extent if len(visits) > 2 else None
        if last and len(self._text) - self._from > _LONG:
            self._settled += visits[:-2]
            self._from = last.chars[0]
        return record

    def _append(self, utterance: Utterance) -> None:
        self._seconds = utterance.end
        start = len(self._text) + bool(self._text)
        self._text += (" " if self._text else "") + utterance.text
        self._words += [
            w.model_copy(update={"chars": (w.chars[0] + start, w.chars[1] + start)}) for w in utterance.words
        ]


def remember(path: Path, utterance: Utterance) -> None:
    """Add an utterance to a file, so that after a crash it need not be heard again. Raises OSError."""
    words = [word.model_dump() for word in utterance.words]
    kept = {"start": utterance.start, "end": utterance.end, "text": utterance.text, "words": words}
    line = Lines(path).written(json.dumps(kept, ensure_ascii=False).encode())
    file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    try:
        os.write(file, line + b"\n")
    finally:
        os.close(file)


def remembered(path: Path, seconds: float) -> list[Utterance]:
    """The utterances in such a file, as far as they are whole and within the recording's seconds."""
    found: list[Utterance] = []
    lines = Lines(path)
    for line in path.read_bytes().splitlines() if path.is_file() else []:
        with contextlib.suppress(ValueError, KeyError, TypeError):
            kept = json.loads(lines.read(line))
            words = tuple(Word.model_validate(word) for word in kept["words"])
            one = Utterance(float(kept["start"]), float(kept["end"]), str(kept["text"]), words)
            if one.end > seconds:
                break
            found.append(one)
    return found
