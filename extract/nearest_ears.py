"""Which of the ears named in a sentence each of its findings is of: the nearest cue that reaches it."""

from __future__ import annotations

from bisect import bisect_left

from extract.ear_cues import prepositional, side_of, turning
from extract.mentions import Mention
from extract.words import Words

_BY_MEANS = frozenset({"under", "using", "with", "by"})
_TO_EAR = frozenset(
    {",", "the", "his", "her", "guidance", "vision", "magnification", "visualization", "visualisation"}
)

Target = tuple[Mention, tuple[int, ...]]
"""A cue and the ears it points at."""


def nearest_ears(words: Words, m: Mention, targets: list[Target], before: tuple[int, ...]) -> tuple[int, ...]:
    """The ears of one mention in a sentence with ear cues: the cue in its part, else the last one said, else one
    that comes after it ("a little bleeding on the right")."""
    reaching = [t for t in targets if t[0].start < m.start or not turning(words, t[0])]
    if before and not reaching:
        return before
    targets = reaching or targets
    same = [t for t in targets if words.part[t[0].start] == words.part[m.start]]
    if m.kind == "same" and same:
        return min(same, key=lambda t: abs(t[0].start - m.end))[1]
    trailing = [t for t in same if t[0].start == m.end and _is_one_word(words, t[0])]
    if trailing:
        return trailing[0][1]
    behind = [t for t in same if 0 <= t[0].start - m.end <= 2 and prepositional(words, t[0])]
    if m.kind in ("instrument", "method") and _leads_in(words, m, targets[0][0]):
        return targets[0][1]  # "using the hook, the right ear was cleared"
    if behind and m.kind in ("percent", "length", "complication", "occlusion"):
        return behind[0][1]
    if same:
        return _in_same_part(words, m, same, before)
    earlier = [t for t in targets if t[0].start < m.start]
    if earlier:
        return earlier[-1][1]
    cue, pointed = targets[0]
    if side_of(cue) == "other" and before:
        return before
    return pointed if _reaches_back(words, cue) or not before else before


def _is_one_word(words: Words, cue: Mention) -> bool:
    """Whether a side stands alone or is short for "right ear" ("curette AD")."""
    return words.token[cue.start] == words.token[cue.end - 1]


def _leads_in(words: Words, m: Mention, cue: Mention) -> bool:
    """Whether a sentence opens with the tool by which the ear named right after it was worked on."""
    start, _ = words.bounds[words.sentence[m.start]]
    lead = words.text[start : m.start]
    between = words.text[m.end : cue.start]
    return lead[:1] != [] and lead[0] in _BY_MEANS and len(lead) <= 3 and all(w in _TO_EAR for w in between)


def _in_same_part(words: Words, m: Mention, same: list[Target], before: tuple[int, ...]) -> tuple[int, ...]:
    """The ears of a mention that shares its part with one or more cues."""
    first = bisect_left(words.part, words.part[m.start])
    leads = same[0][0].start - first <= 3 or len(same) == 1
    earlier = [t for t in same if t[0].start < m.start]
    later = [t for t in same if t[0].start >= m.start]
    if earlier and (m.start - earlier[-1][0].end <= 2 or leads or not later):
        return earlier[-1][1]
    if later and (_reaches_back(words, later[0][0]) or not before):
        return later[0][1]
    return earlier[-1][1] if earlier else before


def _reaches_back(words: Words, cue: Mention) -> bool:
    """Whether a cue governs what was said before it ("hard wax in the left", "hard wax, both of them")."""
    return prepositional(words, cue) or side_of(cue) == "both"
