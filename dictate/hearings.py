"""Clips heard, in groups: once with care, what was passed over again, and everything by another model."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from dictate import doubt, second_look
from dictate.credible import kept
from dictate.read import Recording
from dictate.recognise import BATCH, HeardWord, Phrase, Recogniser, hear_all
from dictate.speech import Clip

_SHARES = 2
"""A group is at most this part of what is left, so that no processor stands idle at the end."""


@dataclass(frozen=True)
class Hearings:
    """How the clips of one recording are heard. second: who hears all of it again, plainly; None if nobody."""

    recording: Recording
    first: Recogniser
    second: Recogniser | None = None

    def hear(self, group: Sequence[Clip]) -> list[tuple[list[HeardWord], float]]:
        """For each clip its words, in seconds of the recording, and the seconds in which no word was heard."""
        sounds = [clip.samples(self.recording) for clip in group]
        firsts = hear_all(self.first, sounds)
        seconds = hear_all(self.second, sounds, plain=True) if self.second else None
        found = []
        for i, clip in enumerate(group):
            words, unheard = second_look.fill(self.recording, clip, placed(clip, firsts[i]), self._plainly)
            if seconds is not None:
                words, made_up = doubt.believable(doubt.compared(words, placed(clip, seconds[i])))
                unheard += made_up
            found.append((words, unheard))
        return found

    def _plainly(self, clip: Clip) -> list[HeardWord]:
        return placed(clip, self.first.hear(clip.samples(self.recording), plain=True))


def placed(clip: Clip, phrases: Iterable[Phrase]) -> list[HeardWord]:
    """The credible words heard in a clip, in seconds of the recording."""
    words: list[HeardWord] = []
    for phrase in phrases:
        for i, word in enumerate(kept(phrase)):
            text = word.text if i else f" {word.text}"  # a phrase never goes on within a word
            start, end = clip.original(word.start, word.end)
            words.append(replace(word, text=text, start=start, end=end))
    return words


def groups(clips: Sequence[Clip]) -> Iterator[Sequence[Clip]]:
    """The clips in groups that are heard at once. How many depends on nothing but the recording, so that the
    same sound gives the same text on every machine."""
    start = 0
    while left := len(clips) - start:
        size = min(-(-left // _SHARES), BATCH)
        yield clips[start : start + size]
        start += size
