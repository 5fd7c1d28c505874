"""A long text is read stretch by stretch, cut where a visit begins, so that time and memory stay flat."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pydantic import BaseModel

from shared.record import Visit
from shared.transcript import Transcript

_STRETCH = 10_000
"""Characters read at a time: some ten minutes of talk."""
_LONGEST = 160_000
"""Characters of one visit, at most: about three hours."""
_AGAIN = 3_000
"""Characters read again with the next stretch where nothing was recorded."""
_ENDS = ("\n\n", ". ", "\n", " ")

Read = Callable[[Transcript], tuple[list[Visit], tuple[int, float] | None]]
"""Reads a transcript into its visits; and, if there are several, where the last begins and how surely."""


def read_in_stretches(transcript: Transcript, read: Read) -> list[Visit]:
    """All visits of a transcript, in the order spoken, their places counted in its whole text."""
    size = len(transcript.text)
    out: list[Visit] = []
    start, reach, sure = 0, _STRETCH, 1.0
    while start < size:
        end = _cut(transcript.text, start, start + reach)
        visits, last = read(transcript.part(start, end))
        if visits and visits[0].extent is not None and visits[0].extent.chars[0] == 0:
            visits[0].extent.confidence = sure
        going_on, next_sure = end, 1.0
        if end < size:
            if last:
                visits = [v for v in visits if v.extent is None or v.extent.chars[0] < last[0]]
                going_on, next_sure = start + last[0], last[1]
            elif not visits:
                going_on = max(end - _AGAIN, start + _AGAIN)
            elif reach < _LONGEST:
                reach *= 2
                continue
        for visit in visits:
            move(visit, start)
        out += visits
        start, reach, sure = going_on, _STRETCH, next_sure
    return out


def _cut(text: str, start: int, end: int) -> int:
    """Where a stretch ends: after a paragraph, sentence or word, in its last quarter if need be."""
    if end >= len(text):
        return len(text)
    for mark in _ENDS:
        at = text.rfind(mark, end - (end - start) // 4, end)
        if at >= 0:
            return at + len(mark)
    return end


def move(part: BaseModel, by: int) -> None:
    """Count every place of a record `by` characters further on."""
    for name in type(part).model_fields:
        held: Any = getattr(part, name)
        if name == "chars" and held is not None:
            setattr(part, name, (held[0] + by, held[1] + by))
        for inner in held if isinstance(held, list) else [held]:
            if isinstance(inner, BaseModel):
                move(inner, by)
