"""What is said of canal and drum together: "canal and drum healthy", "inflamed drum and canal", "both look normal".

A word belongs to the nearest noun; where two nouns are joined it is said of both, unless the second has a
word of its own. "Both" beside such a pair means the pair, not two ears.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace
from itertools import pairwise

from spacy.language import Language
from spacy.tokens import Doc

from extract.mentions import Mention
from extract.words import Words
from shared.vocabulary import word_set

THE_PAIR = "said of canal and drum, not of two ears"

_JOINTS = frozenset({"and", "&", "the", "his", "her", "a"})
_COPULAS = word_set("subjects", "copulas") - {"and"} | word_set("joined", "copulas")
_NEAR = 12
"""Words on either side of a pair among which its findings are looked for."""


@Language.component("joined", requires=["doc._.mentions", "doc._.words"], assigns=["doc._.mentions"])
def joined(doc: Doc) -> Doc:
    """Add, for a word said of a joined pair, a mention of the other noun's finding."""
    words: Words = doc._.words
    mentions: list[Mention] = doc._.mentions
    nouns = [m for m in mentions if m.live and m.readings.get("head") in ("drum", "canal")]
    added: list[Mention] = []
    starts = [m.start for m in mentions]
    for first, second in pairwise(nouns):
        if not _pair(words, first, second):
            continue
        around = mentions[bisect_left(starts, first.start - _NEAR) : bisect_left(starts, second.end + _NEAR)]
        for m in around:
            if m.readings.get("ear_cue") == "both" and _beside(words, m, first, second):
                m.aside = THE_PAIR
        before, after = _described(words, around, first, second)
        for m in after or before:
            other = "canal" if m.kind == "drum" else "drum"
            if other in m.readings and not any(o.start == m.start and o.kind == other for o in added):
                added.append(replace(m, kind=other, value=m.readings[other], rule="said of canal and drum"))
    if added:
        doc._.mentions = sorted([*mentions, *added], key=lambda m: (m.start, -m.end))
    return doc


def _pair(words: Words, first: Mention, second: Mention) -> bool:
    """Whether two nouns, one canal and one drum, are joined by "and"."""
    between = words.text[first.end : second.start]
    return (
        first.readings["head"] != second.readings["head"]
        and 0 < len(between) < 4
        and ("and" in between or "&" in between)
        and _JOINTS.issuperset(between)
    )


def _beside(words: Words, m: Mention, first: Mention, second: Mention) -> bool:
    """Whether "both" stands right before or after the pair."""
    return m.end - m.start == 1 and (
        (m.end <= first.start and set(words.text[m.end : first.start]) <= {"the", "his", "her"})
        or (m.start >= second.end and set(words.text[second.end : m.start]) <= {"are", "look", "looks", "is"})
    )


def _described(
    words: Words, around: list[Mention], first: Mention, second: Mention
) -> tuple[list[Mention], list[Mention]]:
    """The findings right before a pair, and those right after it."""
    before: list[Mention] = []
    after: list[Mention] = []
    low, high = first.start, second.end
    found = [m for m in around if m.live and m.kind in ("drum", "canal")]
    for m in reversed(found):
        if m.end <= low and _COPULAS.issuperset(words.text[m.end : low]):
            before.append(m)
            low = m.start
    for m in found:
        if m.start >= high and (_COPULAS | {"and"}).issuperset(words.text[high : m.start]):
            after.append(m)
            high = m.end
    return before, after
