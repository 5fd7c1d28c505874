"""What stands around some words of a row: is the text about ear care, and what is said beside them?"""

from __future__ import annotations

from extract.confusions import Confusion, Group, Sounds
from extract.soundalikes import is_number
from extract.words import MARKS, STOPS

NUMBER = "#"
"""Stands for any number in a set of words."""
_NEAR = 6
_BLOCK = 60
_BETWEEN = frozenset(
    {"very", "quite", "a", "the", "bit", "rather", "really", "so", "and", ",", "all", "just", "still"}
)


def about_ears(row: list[str], sounds: Sounds) -> list[tuple[int, int]]:
    """The stretches of the row, [begin, end), that are evidently about ear care.

    A block of words is, if it and the two on either side hold four words of ear care, of more than one sort.
    """
    if sounds.ear.isdisjoint(row) or sounds.work.isdisjoint(row):
        return []
    every = sounds.ear | sounds.work | sounds.other
    blocks = [every.intersection(row[i : i + _BLOCK]) for i in range(0, len(row), _BLOCK)]
    stretches: list[tuple[int, int]] = []
    for n in range(len(blocks)):
        around = blocks[n].union(*blocks[max(n - 2, 0) : n], *blocks[n + 1 : n + 3])
        if len(around) >= 4 and around & sounds.ear and around & sounds.work:
            begin, end = n * _BLOCK, min((n + 1) * _BLOCK, len(row))
            if stretches and stretches[-1][1] == begin:
                begin = stretches.pop()[0]
            stretches.append((begin, end))
    return stretches


def _sentence(row: list[str], start: int, end: int) -> tuple[int, int]:
    """The sentence around words [start, end), as the marks tell it."""
    while start > 0 and row[start - 1] not in STOPS:
        start -= 1
    while end < len(row) and row[end] not in STOPS:
        end += 1
    return start, end


def framed_by(told: dict[str, list[Group]], row: list[str], at: int, step: int) -> dict[Group, None]:
    """The groups told by the word at a place and, while small words are passed over, by the next ones.

    told: the groups by the words that may stand right before (step -1), or right after (step 1).
    """
    found: dict[Group, None] = {}
    for _ in range(3):
        if not 0 <= at < len(row):
            break
        found |= dict.fromkeys(told.get(NUMBER if is_number(row[at]) else row[at], ()))
        if row[at] not in _BETWEEN:
            break
        at += step
    return found


def is_near(near: frozenset[str], row: list[str], start: int, end: int) -> bool:
    """Whether one of `near` stands within six words of words [start, end), in their sentence."""
    low, high = _sentence(row, start, end)
    around = row[max(low, start - _NEAR) : start] + row[end : min(high, end + _NEAR)]
    return not near.isdisjoint(around) or (NUMBER in near and any(map(is_number, around)))


def holds(confusion: Confusion, row: list[str], start: int, end: int) -> bool:
    """Whether what a confusion asks of its surroundings holds."""
    if confusion.near and not is_near(confusion.near, row, start, end):
        return False
    if confusion.before and not _adjacent(confusion.before, row, start - 1, -1):
        return False
    if confusion.after and not _adjacent(confusion.after, row, end, 1):
        return False
    if confusion.number == "before" and not (start and is_number(row[start - 1])):
        return False
    if confusion.number == "after" and not (end < len(row) and is_number(row[end])):
        return False
    if confusion.place:
        opens = start == 0 or row[start - 1] in STOPS
        closes = end == len(row) or row[end] in MARKS
        met = {"alone": opens and closes, "opening": opens, "closing": closes, "start": start == 0}
        if not met[confusion.place]:
            return False
    if confusion.unless:
        low, high = _sentence(row, start, end)
        return confusion.unless.isdisjoint(row[low:start]) and confusion.unless.isdisjoint(row[end:high])
    return True


def _adjacent(wanted: frozenset[str], row: list[str], at: int, step: int) -> bool:
    """Whether the word at a place, small words passed over, is a wanted one."""
    for _ in range(3):
        if not 0 <= at < len(row):
            return False
        if row[at] in wanted:
            return True
        if row[at] not in _BETWEEN:
            return False
        at += step
    return False
