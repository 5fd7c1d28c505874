"""Where one patient's visit ends and the next begins.

A boundary is a spoken change of patient ("next patient", "second patient") or a second, different patient
reference. `Doc._.visit_starts` lists (sentence, confidence) of each visit.
"""

from __future__ import annotations

from spacy.language import Language
from spacy.tokens import Doc

from extract.mentions import Mention
from extract.words import Words
from shared.vocabulary import word_set

Doc.set_extension("visit_starts", default=None, force=True)

_CLEAR = word_set("visits", "clear")
_NOT_A_CHANGE = word_set("visits", "not_a_change")


@Language.component("visits", requires=["doc._.words", "doc._.mentions"], assigns=["doc._.visit_starts"])
def visits(doc: Doc) -> Doc:
    """Give every mention the number of its visit."""
    words: Words = doc._.words
    mentions: list[Mention] = doc._.mentions
    starts: list[tuple[int, float]] = [(0, 1.0)] if words.bounds else []
    reference = ""
    said_since = False
    for m in mentions:
        sentence = words.sentence[m.start] if m.start < len(words.sentence) else 0
        confidence = _changes(words, m)
        new_reference = m.kind == "reference" and bool(reference) and m.value != reference
        if new_reference and _repeats_a_correction(words, m):
            new_reference = False
        if (confidence or new_reference) and said_since and sentence > starts[-1][0]:
            starts.append((sentence, confidence or 0.8))
            said_since, reference = False, ""
        if m.kind == "reference":
            reference = str(m.value)
        if m.has(
            "head", "symptom", "history", "instrument", "consistency", "colour", "drum", "recall", "consent"
        ):
            said_since = True
    doc._.visit_starts = starts
    for m in mentions:
        at = words.sentence[m.start]
        m.visit = sum(1 for sentence, _ in starts if sentence <= at) - 1
    return doc


def _changes(words: Words, m: Mention) -> float:
    """How surely this mention announces another patient: 0 if not at all."""
    if m.readings.get("visit") != "next":
        return 0.0
    row = words.text
    first = words.bounds[words.sentence[m.start]][0]
    before = row[first : m.start]
    if len(before) > 6 or any(w in _NOT_A_CHANGE for w in before):
        return 0.0
    said = row[m.start : m.end]
    if any(w.rstrip("s") in _CLEAR for w in said) or "who" in said:
        return 0.95
    following = row[m.end : m.end + 2]
    stands_alone = not following or following[0] in (".", "!", "¶", "?", "…")
    return 0.7 if said[-1] in ("in", "please", "up") or (stands_alone and not before) else 0.0


def _repeats_a_correction(words: Words, m: Mention) -> bool:
    """Whether the reference corrects the one before rather than naming another patient."""
    before = words.text[max(m.start - 6, 0) : m.start]
    return any(w in ("sorry", "no", "correction") for w in before)
