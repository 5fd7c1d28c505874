"""The words of a visit as the page shows them: each with its characters and its time."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from shared.record import Visit
from shared.transcript import Transcript

_UNSURE = 0.6
"""Words of a lower probability are marked; as in the guidance (ours)."""

_SENTENCE = re.compile(r"(?<=[.!?])\s+|\n+")


@dataclass(frozen=True)
class Spoken:
    """A word. chars: [start, end) in the transcript. seconds: when it was said. after: what follows it up to
    the next. used: whether a value rests on it. unsure: whether it was not heard surely."""

    text: str
    chars: tuple[int, int]
    seconds: tuple[float, float] | None
    after: str
    used: bool
    unsure: bool


def stretch(visit: Visit, transcript: Transcript) -> tuple[int, int]:
    """The characters of the visit in its transcript."""
    return visit.extent.chars if visit.extent else (0, len(transcript.text))


def spoken(visit: Visit, transcript: Transcript) -> list[Spoken]:
    """The words of the visit, in order."""
    start, end = stretch(visit, transcript)
    behind = sorted({v.chars for _, v in visit.values() if v.chars})
    found = list(_words(transcript, start, end))
    out = []
    for n, (chars, seconds, probability) in enumerate(found):
        following = found[n + 1][0][0] if n + 1 < len(found) else end
        used = any(a < chars[1] and chars[0] < b for a, b in behind)
        unsure = probability is not None and probability < _UNSURE
        text = transcript.text
        out.append(Spoken(text[slice(*chars)], chars, seconds, text[chars[1] : following], used, unsure))
    return out


def sentences(visit: Visit, transcript: Transcript) -> list[tuple[int, str]]:
    """Where each sentence of the visit after the first begins, with its first words."""
    start, end = stretch(visit, transcript)
    text = transcript.text[start:end]
    starts = [m.end() for m in _SENTENCE.finditer(text) if text[m.end() :].strip()]
    return [(start + at, " ".join(text[at : at + 60].split())) for at in starts]


def changed(old: str, new: str) -> tuple[int, int, str]:
    """The stretch [start, end) of `old` that is other in `new`, and what stands there now."""
    start = 0
    while start < min(len(old), len(new)) and old[start] == new[start]:
        start += 1
    same = 0
    while same < min(len(old), len(new)) - start and old[-1 - same] == new[-1 - same]:
        same += 1
    return start, len(old) - same, new[start : len(new) - same]


def _words(
    transcript: Transcript, start: int, end: int
) -> Iterator[tuple[tuple[int, int], tuple[float, float] | None, float | None]]:
    if transcript.words:
        for word in transcript.words_in(start, end):
            # What is not a word of the recogniser (written in between) must be shown as well.
            yield word.chars, word.seconds, word.probability
    else:
        for match in re.finditer(r"\S+", transcript.text[start:end]):
            yield (start + match.start(), start + match.end()), None, None
