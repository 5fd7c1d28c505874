"""The notation of phrases, as explained at the top of the package: from a phrase to what can be said."""

from __future__ import annotations

import itertools
import math
import re

GAPS = {"..": 3, "...": 16}
"""Marks for words between, and how many words they may stand for."""

Slot = tuple[tuple[str, ...], ...]
"""One place of a phrase: what may be said there, each as its words; () if it may be left out, last."""

_MAX_FORMS = 4000
_SLOT = re.compile(r"\(([^()]+)\)|([^\s()]+)")


def slots(phrase: str) -> list[Slot]:
    """The places of a phrase, in lower case.

    >>> slots("(jet) black|inky")
    [(('jet',), ()), (('black',), ('inky',))]
    """
    return [
        (*(_words(choice) for choice in (optional or plain).split("|")), *(((),) if optional else ()))
        for optional, plain in _SLOT.findall(phrase.lower())
    ]


def forms(phrase: str) -> list[tuple[str, ...]]:
    """Every way to say a phrase, as tuples of lower-case words and gap marks.

    >>> forms("jet|coal black")
    [('jet', 'black'), ('coal', 'black')]

    Raises ValueError if brackets do not match or the phrase has too many forms to be meant.
    """
    if phrase.count("(") != phrase.count(")"):
        raise ValueError("a bracket is not closed")
    places = slots(phrase)
    if math.prod(map(len, places)) > _MAX_FORMS:
        raise ValueError(f"more than {_MAX_FORMS} forms; write it as several phrases")
    found = [tuple(itertools.chain.from_iterable(pick)) for pick in itertools.product(*places)]
    if any(not form or form[0] in GAPS or form[-1] in GAPS for form in found):
        raise ValueError("a phrase needs a word that is always said, at its beginning and end")
    return found


def _words(alternative: str) -> tuple[str, ...]:
    return tuple(alternative.replace("-", " ").split())
