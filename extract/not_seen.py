"""A drum that cannot be seen: "no sign of the drum", "TM not visualised", "the drum I cannot see"."""

from __future__ import annotations

from dataclasses import replace

from spacy.language import Language
from spacy.tokens import Doc

from extract.mentions import Mention
from extract.words import MARKS, STOPS, Words
from shared.vocabulary import word_set

_REACH = 7
_BOTH_TIMES = [["before", joint, "after"] for joint in ("or", "and", "nor")]
_DRUM = word_set("not_seen", "drum")
_PARTLY = word_set("not_seen", "partly")


@Language.component("not_seen", requires=["doc._.mentions", "doc._.words"], assigns=["doc._.mentions"])
def not_seen(doc: Doc) -> Doc:
    """Keep a not-seen cue only where it speaks of a drum; let it span cue and drum."""
    words: Words = doc._.words
    mentions: list[Mention] = doc._.mentions
    twice: list[Mention] = []
    for m in mentions:
        if m.kind != "not_seen" or not m.live:
            continue
        drum = unseen_drum(words, mentions, m)
        if drum is not None and _PARTLY & set(words.text[m.start : drum.end]):
            m.aside = "part of the drum is seen"
        elif drum is not None:
            m.start, m.end = min(m.start, drum.start), max(m.end, drum.end)
            m.polarity = "affirmed"
            if words.text[m.end : m.end + 3] in _BOTH_TIMES:
                twice.append(replace(m, when="before"))
        else:
            m.aside = "not said of the drum"
    if twice:
        doc._.mentions = sorted([*mentions, *twice], key=lambda m: (m.start, -m.end))
    return doc


def unseen_drum(words: Words, mentions: list[Mention], cue: Mention) -> Mention | None:
    """The drum that a not-seen cue speaks of; None if it speaks of something else ("can't see a hole in the drum")."""
    if _DRUM & set(words.text[cue.start : cue.end]):
        return cue
    near = [
        d
        for d in mentions
        if d.readings.get("head") == "drum"
        and _near(words, cue, d)
        and not _finding_between(mentions, cue, d)
    ]
    return min(near, key=lambda d: max(d.start - cue.end, cue.start - d.end), default=None)


def _near(words: Words, cue: Mention, drum: Mention) -> bool:
    a, b = (cue, drum) if cue.end <= drum.start else (drum, cue)
    between = words.text[a.end : b.start]
    if a is cue and any(w in MARKS for w in between):
        return False
    return len(between) <= _REACH and not any(w in STOPS for w in between)


def _finding_between(mentions: list[Mention], cue: Mention, drum: Mention) -> bool:
    low, high = min(cue.end, drum.end), max(cue.start, drum.start)
    return any(low <= m.start < high and m.has("drum", "canal", "foreign_body") for m in mentions)
