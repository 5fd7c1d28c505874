"""Passages that were hard to hear, whatever was recorded from them: what is missing leaves no other trace.

A word misheard in noise is seldom unlikely by itself; the words around it are, too. So a few words running are
judged together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from extract.notices.guidance import guidance
from extract.notices.view import VisitView
from shared.record import Notice
from shared.transcript import Word


def passages(view: VisitView) -> Iterator[Notice]:
    """One notice for each passage; one more, first, if much of the visit is like that."""
    if view.transcript is None:
        return
    extent = view.visit.extent
    words = view.transcript.words_in(*(extent.chars if extent else (0, len(view.transcript.text))))
    found = unclear(words)
    share = sum(end - start for start, end in found) / max(len(words), 1)
    if share > guidance().limits.passage_share:
        # In steps, so that the notice stays the same, and decided, while words are put right.
        much = "three quarters" if share > 0.75 else "half" if share > 0.5 else "a quarter"
        yield view.notice("hard_to_hear", number=much)
    for start, end in found:
        yield view.notice("unclear_passage", view.at((words[start].chars[0], words[end - 1].chars[1])))


def unclear(words: Sequence[Word]) -> list[tuple[int, int]]:
    """The runs [start, end) of words that lie in the middle of unlikely ones; near ones are one."""
    limits = guidance().limits
    # Words of a person, and of written text, have no probability: they are as said.
    sure = [1.0 if w.probability is None else w.probability for w in words]
    half = limits.passage_words // 2
    found: list[tuple[int, int]] = []
    for i in range(len(sure)):
        around = sure[max(i - half, 0) : i + half + 1]
        if sum(around) / len(around) >= limits.passage_probability:
            continue
        start = found.pop()[0] if found and i - found[-1][1] <= half else i
        found.append((start, i + 1))
    return found
