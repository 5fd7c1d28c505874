"""A recording is read again: which of its new visits take whose place, where people have worked on some of the old.

Visits are matched by where they begin and end in the recording. If those that stay have the same bounds in the new
reading, everything outside of them is read afresh, and no word is lost or counted twice. Otherwise the new reading
divides the recording differently, and none of it can be used safely beside them.
"""

from __future__ import annotations

from collections.abc import Sequence

from shared.record import Visit

SLACK_SECONDS = 1.0
"""How far the bounds of a visit may lie apart in two hearings of the same sound, by which words get other times. Two
readings of the same words must agree exactly. Ours, no source."""


def beside(stay: Sequence[Visit], visits: Sequence[Visit], *, slack: float) -> list[tuple[int, Visit]] | None:
    """The new visits that are not the new reading of one that stays, each with its number in the recording; None if
    the bounds do not agree. slack: seconds by which they may differ."""
    rest = list(enumerate(visits, 1))
    for visit in stay:
        same = [(n, v) for n, v in rest if matches(visit, v, slack=slack)]
        if len(same) != 1:
            return None
        rest.remove(same[0])
    return rest


def matches(one: Visit, other: Visit, *, slack: float) -> bool:
    """Whether both were read from the same stretch of the recording. Of text, which has no seconds, unknown: no."""
    if one.extent is None or other.extent is None or not one.extent.seconds or not other.extent.seconds:
        return False
    ends = zip(one.extent.seconds, other.extent.seconds, strict=True)
    return all(abs(a - b) <= slack for a, b in ends)


def places(stay: Sequence[tuple[Visit, float]], new: Sequence[Visit]) -> list[float | None]:
    """Numbers that put the new visits among those that stay, in the order of the recording; None for their own.

    stay: with their own numbers, which do not change, in order.
    """
    if not stay:
        return [None] * len(new)
    found: list[float | None] = []
    for n, visit in enumerate(new):
        start = _start(visit)
        low = max(
            [number for other, number in stay if _start(other) <= start]
            + [p for p in found if p is not None],
            default=None,
        )
        high = min([number for other, number in stay if _start(other) > start], default=None)
        if low is None:
            assert high is not None
            found.append(high - len(new) + n)
        else:
            found.append(low + 1 if high is None else (low + high) / 2)
    return found


def _start(visit: Visit) -> float:
    return visit.extent.seconds[0] if visit.extent and visit.extent.seconds else 0.0
