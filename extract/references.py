"""Where a patient's reference may stand in the row."""

from __future__ import annotations

from extract.spelled import digit_like, digits_at, is_letter
from extract.words import MARKS, STOPS
from shared.vocabulary import word_set

_LEADS = word_set("mentions", "leads")
_TITLES = word_set("mentions", "titles")
_APPOSITION = 8
"""Words after "next patient" within which a reference may stand alone in commas."""
_PREAMBLE = 30
"""Words that may open a text before a reference that stands alone ("Right, let's begin. Seven seven four.")."""
_TELLING = 3
"""Figures that make a reference where no word says that it is one, at least."""
_LAST_ONE = (["last", "one"], ["final", "one"], ["this", "one"])
"""Between "next patient" and the reference: "next patient, last one, four oh six"."""


def places(row: list[str], after: list[int]) -> list[int]:
    """Where references may begin. after: the ends of the phrases that announce one or a new patient."""
    led = [p for p in (_after_lead(row, end) for end in after) if not _tells_age(row, p)]
    led += [i for end in after for i in _after_aside(row, end)]
    corrected = [p for place in led for p in _corrected_places(row, place)]
    return led + corrected + _bare_reference_places(row)


def _after_lead(row: list[str], i: int) -> int:
    """The place after words that may stand between "patient" and the reference itself."""
    while i < len(row) and (row[i] in _LEADS or row[i : i + 2] in _LAST_ONE):
        i += 2 if row[i : i + 2] in _LAST_ONE else 1
    return i


def _after_aside(row: list[str], end: int) -> list[int]:
    """Where a reference stands alone after a full stop, or after a word or two about the patient ("next patient,
    that's the brother, six two")."""
    marks = [i for i in range(end, min(end + _APPOSITION, len(row))) if row[i] in MARKS]
    if not marks or marks[0] != end:
        return []
    return [i + 1 for i in marks[:2] if _stands_alone(row, i + 1)]


def _stands_alone(row: list[str], i: int) -> bool:
    """Whether a sentence from word i on is figures and nothing else ("Next one. Eight oh two.")."""
    said, end = digits_at(row, i)
    return len(said) > 1 and end - i > 1 and (end == len(row) or row[end] in MARKS)


def _tells_age(row: list[str], i: int) -> bool:
    """Whether a number after "the patient is" is rather an age ("patient is 74")."""
    if row[max(i - 2, 0) : i] not in (["patient", "is"], ["patient", "'s"]):
        return False
    said, end = digits_at(row, i)
    return len(said) < 3 and end - i < 3 and not said.startswith("0") and said.isdigit()


def _corrected_places(row: list[str], place: int) -> list[int]:
    """Where a reference is said again after a correction ("four one seven, no, sorry, four seven one")."""
    text, end = digits_at(row, place)
    if not text:
        return []
    stop = min(end + 9, len(row))
    cues = [i for i in range(end, stop) if row[i] in ("no", "sorry", "correction")]
    return (
        [i for i in range(cues[0] + 1, stop) if digit_like(row, i) and not digit_like(row, i - 1)][:1]
        if cues
        else []
    )


def _bare_reference_places(row: list[str]) -> list[int]:
    """Where a reference may stand with no word before it: figures, or a letter and figures, alone that open the
    text, or that are said to be a reference ("two oh eight is the reference"), or after "first one,"."""
    out = [1] if row[:1] and row[0] in _TITLES and _stands_alone(row, 1) else []  # "Mrs three five oh."
    for start in range(len(row)):
        opens = start == 0 or row[start - 1] in MARKS
        lettered = is_letter(row[start]) and row[start] not in ("a", "i")
        end = start + lettered
        if not opens or end == len(row) or not digit_like(row, end):
            continue
        while end < len(row) and digit_like(row, end):
            end += 1
        enough = end - start > 1 or len(row[start]) > 2
        named = {"reference", "number", "ref"} & set(row[end : end + 5])
        first = row[max(start - 3, 0) : start] == ["first", "one", ","] or (
            row[start - 1] not in (",", "…")
            and row[end : end + 2] in ([",", "left"], [",", "right"])
            and end - start > 2
        )
        closed = end == len(row) or row[end] in MARKS
        late = (
            start < _PREAMBLE and row[start - 1] in STOPS and end - start > 2 and row[end : end + 1] == ["."]
        )
        if enough and (named or ((start == 0 or first or late) and closed)):
            out.append(start)
    return out + _like_the_first(row, out) + _after_next(row)


def _like_the_first(row: list[str], found: list[int]) -> list[int]:
    """Where another of as many figures stands alone as the one that opened the text ("4119. ... 4120. ...")."""
    if 0 not in found or len(digits_at(row, 0)[0]) < _TELLING:
        return []
    said, end = digits_at(row, 0)
    if row[end : end + 1] != ["."]:
        return []
    return [
        i + 1
        for i in range(end, len(row) - 1)
        if row[i] in STOPS and _stands_alone_like(row, i + 1, len(said))
    ]


def _stands_alone_like(row: list[str], i: int, figures: int) -> bool:
    said, end = digits_at(row, i)
    return len(said) == figures and row[end : end + 1] == ["."]


def _after_next(row: list[str]) -> list[int]:
    """Where figures follow "next" at once ("next 4 1 2 0 right ear")."""
    return [
        i + 1
        for i, word in enumerate(row[:-1])
        if word == "next" and len(said := digits_at(row, i + 1)[0]) >= _TELLING and said.isdigit()
    ]
