"""What is kept of a hearing: not what was made out of noise, not what goes round in circles."""

from __future__ import annotations

from collections.abc import Sequence

from dictate.bias import bare
from dictate.recognise import HeardWord, Phrase

LOOP_COMPRESSION = 2.4
"""A phrase that packs better than this repeats itself (the limit of Whisper's own program)."""

NO_SPEECH, LOW_LOG_PROBABILITY = 0.6, -1.0
"""A phrase beyond both was made out of noise (the limits of Whisper's own program)."""

_TIMES, _LONGEST_ROUND = 5, 12
"""The same words so often running are no speech; rounds of more words than this have not been seen."""


def kept(phrase: Phrase) -> tuple[HeardWord, ...]:
    """The words of a phrase without what goes round in circles; none if all of it was made out of noise."""
    if phrase.no_speech > NO_SPEECH and phrase.log_probability < LOW_LOG_PROBABILITY:
        return ()
    looped = loops([bare(word.text) for word in phrase.words])
    if phrase.compression > LOOP_COMPRESSION and not looped:
        return ()
    return tuple(word for i, word in enumerate(phrase.words) if i not in looped)


def loops(words: Sequence[str]) -> set[int]:
    """Which of the words belong to a round that is said five times running or oftener, its broken-off end too."""
    found: set[int] = set()
    for size in range(1, _LONGEST_ROUND + 1):
        start = 0
        for i in range(len(words) - size + 1):
            if i + size < len(words) and words[i] == words[i + size]:
                continue
            if i - start >= (_TIMES - 1) * size:
                found |= set(range(start, i + size))
            start = i + 1
    return found
