"""A transcript: the words of one recording or text, each with its place and, from sound, its time.

`text` is the single source of character positions; every `Word` points into it.
Seconds always count from the start of the original recording.
"""

from __future__ import annotations

import bisect
from functools import cached_property
from itertools import groupby

from pydantic import BaseModel, ConfigDict, Field


class Word(BaseModel):
    """One spoken word.

    chars: [start, end) in the transcript's text. seconds: (start, end) in the recording, None for
    written text. probability: how likely it is right, 0-1, None for written text. also_heard: what a second
    hearing wrote in its place, "" if nothing; None if it wrote the same, or there was none.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    chars: tuple[int, int]
    seconds: tuple[float, float] | None = None
    probability: float | None = Field(default=None, ge=0, le=1)
    also_heard: str | None = None


class Transcript(BaseModel):
    """The words of one recording, and how they were come by, so that they can be explained later.

    duration: seconds of the recording (None for written text). speech: seconds that were taken to be
    speech. model: the recogniser, e.g. "base". settings: the options it ran with.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", ignored_types=(cached_property,))

    text: str
    words: tuple[Word, ...] = ()
    source: str = ""
    duration: float | None = Field(default=None, ge=0)
    speech: float | None = Field(default=None, ge=0)
    language: str = "en"
    model: str | None = None
    settings: dict[str, str | int | float | bool | None] = Field(default_factory=dict)

    @classmethod
    def from_text(cls, text: str, source: str = "") -> Transcript:
        """A transcript of written text: it has no words, since those only carry times and probabilities."""
        return cls(text=text, source=source)

    @cached_property
    def _starts(self) -> list[int]:
        return [w.chars[0] for w in self.words]

    def words_in(self, start: int, end: int) -> tuple[Word, ...]:
        """The words that overlap text[start:end]."""
        first = max(bisect.bisect_right(self._starts, start) - 1, 0)
        last = bisect.bisect_left(self._starts, end)
        return tuple(w for w in self.words[first:last] if w.chars[1] > start)

    def part(self, start: int, end: int) -> Transcript:
        """text[start:end] as a transcript of its own, its places counted from its own start."""
        if (start, end) == (0, len(self.text)):
            return self
        words = tuple(
            w.model_copy(update={"chars": (w.chars[0] - start, w.chars[1] - start)})
            for w in self.words_in(start, end)
            if start <= w.chars[0] and w.chars[1] <= end
        )
        kept = {name: getattr(self, name) for name in type(self).model_fields}
        return Transcript(**kept | {"text": self.text[start:end], "words": words})

    def seconds(self, start: int, end: int) -> tuple[float, float] | None:
        """The time in the recording of text[start:end]; None if the words carry no times."""
        times = [w.seconds for w in self.words_in(start, end) if w.seconds]
        return (times[0][0], max(t[1] for t in times)) if times else None

    def probability(self, start: int, end: int) -> float | None:
        """The lowest probability of the words of text[start:end]; None if they carry none."""
        given = [w.probability for w in self.words_in(start, end) if w.probability is not None]
        return min(given, default=None)

    def otherwise(self) -> Transcript | None:
        """The text as the second hearing wrote it, without times; None if it wrote the same."""
        if all(w.also_heard is None for w in self.words):
            return None
        text = []
        for also, run in groupby(self.words, key=lambda w: w.also_heard):
            text += [self.text[slice(*w.chars)] for w in run] if also is None else [also]
        return Transcript(text=" ".join(t for t in text if t))
