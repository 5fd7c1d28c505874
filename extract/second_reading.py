"""A record read from both hearings: how sure a value is, counted on dictations whose records are known.

What two hearings, differing in many a word, are both read to say is right far more often than the probability
of its words tells; and where the words around it are unsure, the reading of them is, too.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from shared.record import Value, Visit
from shared.transcript import Transcript

UNLIKE = 0.55
"""Highest confidence of a value that the other hearing does not give: below what is marked for checking."""

SURE_AROUND, NEARLY_SURE = 0.87, 0.9
"""Where the words around are less likely than this on average, no value is surer than that: the first limit, in
steps of 0.01, at which over 97 % of the surer values of the tuning half are right."""

_AROUND = 80
"""Characters before and after a value that count as around it: some fifteen words."""

_INDEX = re.compile(r"\[\d+\]")
Key = tuple[int | None, str, str]


def weigh(
    visit: Visit, other: Mapping[str, Any], transcript: Transcript, caps: Mapping[tuple[int, int], float]
) -> None:
    """Set the confidence of every value. other: the visit as read from the other hearing, in the plain form.
    caps: by the characters of a value, how sure it can be at most for another reason."""
    for value, agreed in compared(visit, other):
        if value.chars is None:
            continue
        around = transcript.words_in(value.chars[0] - _AROUND, value.chars[1] + _AROUND)
        known = [w.probability for w in around if w.probability is not None]
        if known:
            sure = min(_confidence(sum(known) / len(known), agreed), caps.get(value.chars, 1.0))
            value.confidence = round(sure, 3)


def _confidence(around: float, agreed: bool) -> float:
    """A logistic regression on the values of the tuning half of tests/benchmarks/corpus.py, at all its levels."""
    odds = math.log(min(max(around, 0.03), 0.97) / (1 - min(max(around, 0.03), 0.97)))
    fitted = 1 / (1 + math.exp(-(0.59 + 1.30 * odds + 1.25 * agreed)))
    return min(fitted, UNLIKE if not agreed else NEARLY_SURE if around < SURE_AROUND else 1.0)


def compared(visit: Visit, other: Mapping[str, Any]) -> Iterator[tuple[Value[Any], bool]]:
    """Every value of a visit, and whether the other one, in the plain form, has it too.

    A value is looked for in the same ear: the one of that side, else the one not yet taken, in the order spoken.
    That the side itself differs is told once, of the side.
    """
    place = _paired([ear.side.value for ear in visit.ears], [ear["side"] for ear in other.get("ears", ())])
    known = Counter(_keys(other))
    for path, value in visit.values():
        ear = re.match(r"ears\[(\d+)\]", path)
        said = f"{value.value}?" if value.certainty == "possible" else str(value.value)
        if layer := re.match(r"ears\[(\d+)\]\.before\.wax\[(\d+)\]", path):
            before = visit.ears[int(layer[1])].before
            assert before is not None
            said = f"{before.wax[int(layer[2])].where.value}:{said}"
        key = place.get(int(ear[1]), -1) if ear else None, _INDEX.sub("", path), said
        yield value, known[key] > 0
        known[key] -= 1


def _paired(ours: Sequence[str], theirs: Sequence[str]) -> dict[int, int]:
    free = list(range(len(theirs)))
    pairs: dict[int, int] = {}
    for i, side in enumerate(ours):
        same = next((j for j in free if theirs[j] == side), None)
        if same is not None:
            pairs[i] = same
            free.remove(same)
    for i in range(len(ours)):
        if i not in pairs and free:
            pairs[i] = free.pop(0)
    return pairs


def _keys(given: Any, field: str = "", ear: int | None = None, layer: str = "") -> Iterator[Key]:
    """(ear, field, value) of all that a plain visit holds; what is said of wax with its layer before it."""
    if isinstance(given, Mapping):
        layer = f"{given['where']}:" if "where" in given else ""
        for key, value in given.items():
            yield from _keys(value, f"{field}.{key}" if field else key, ear, layer)
    elif isinstance(given, Sequence) and not isinstance(given, str):
        for number, one in enumerate(given):
            yield from _keys(one, field, number if field == "ears" else ear, layer)
    else:
        yield ear, field, f"{layer}{given}"
