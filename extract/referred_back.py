"""What is told of an ear's work after the talk went on to the other: "she got dizzy with the lavage"."""

from __future__ import annotations

from extract.mentions import Mention
from extract.words import Words
from shared.vocabulary import word_set

_DURING = word_set("ears", "during")
_TOOLS = frozenset({"instrument", "method"})
_WORKED = _TOOLS | {"removal", "length", "consistency", "colour", "percent"}
"""What an ear that was only looked into, and had no wax, does not have."""
_OF_IT = frozenset({"complication", "tolerance"})


def refer_back(words: Words, mentions: list[Mention]) -> None:
    """Give "the lavage", and what came of it, to the ear that was lavaged, if in the one at hand nothing was done."""
    live = [m for m in mentions if m.live and m.ears]
    for m in live:
        if m.kind not in _TOOLS or not _is_meant(words, m):
            continue
        mine = [o for o in live if o.visit == m.visit and o is not m]
        here = [o for o in mine if words.sentence[o.start] == words.sentence[m.start]]
        worked = [o for o in mine if o.kind in _WORKED] + [o for o in here if o.kind == "clearance"]
        if any(set(o.ears) & set(m.ears) for o in worked):
            continue
        before = [o for o in mine if o.start < m.start and (o.kind, o.value) == (m.kind, m.value)]
        if before:
            left = m.ears
            for o in here:
                if o.kind in _OF_IT and o.ears == left:
                    o.ears = before[-1].ears
            m.ears = before[-1].ears


def _is_meant(words: Words, m: Mention) -> bool:
    """Whether a tool is one spoken of already ("with the suction")."""
    return m.start > 1 and words.text[m.start - 1] in ("the", "that") and words.text[m.start - 2] in _DURING
