"""Where one patient's visit ends and the next begins, and how sure that is.

A change of patient is announced ("next patient", "in you come"), asked ("who's this?"), greeted, or shown by
another reference. Each is weighed with what stands around it: whether the visit before was wound up, and whether a
patient is introduced after it. "The next patient can wait outside" only mentions one.
`Doc._.visit_starts` lists (sentence, confidence) of each visit.
"""

from __future__ import annotations

from bisect import bisect_left

from spacy.language import Language
from spacy.tokens import Doc

from extract.aside import REASONS
from extract.mentions import Mention
from extract.words import MARKS, STOPS, Words
from shared.vocabulary import word_set

Doc.set_extension("visit_starts", default=None, force=True)

_LEADS = word_set("visits", "leads")
_NOT_A_CHANGE = word_set("visits", "not_a_change")
_AUXILIARIES = word_set("visits", "auxiliaries")
_TO_COME = word_set("visits", "to_come")
_IS_SAID = word_set("visits", "is_said")
_REMINDED = word_set("visits", "reminded")
_FAREWELLS = word_set("visits", "farewells")
_PEOPLE = word_set("visits", "people")
_BASE = {"next": 0.9, "call": 0.7, "turn": 0.45, "greeting": 0.1}
"""How sure each way of announcing a patient is by itself, by its value in the vocabulary."""
_MENTIONED = 0.35
"""The same where the patient may only be spoken of."""
_REFERENCE = (0.8, 0.9)
"""The same of another reference: within a sentence, and opening one."""
_DOUBT_LEFT = {"introduced": 0.45, "wound up": 0.6}
"""Part of the doubt that stays when a patient is introduced after it, and when the visit before was wound up."""
_ENOUGH = 0.6
"""Confidence from which a visit is cut."""
_AT_ONCE = 5
"""Words after "next" within which the next thing to be done is named."""
_INTRODUCTION = 30
"""Words after a change of patient within which one is introduced, and before it within which one leaves."""
_OF_A_VISIT = (
    "head", "symptom", "history", "instrument", "consistency", "colour", "drum", "recall", "consent",
)  # fmt: skip
_WINDS_UP = ("advice", "referral", "recall_cue", "referral_cue", "interval", "hearing_outcome")
_INTRODUCES = ("symptom", "history", "consent", "reference")


@Language.component("visits", requires=["doc._.words", "doc._.mentions"], assigns=["doc._.visit_starts"])
def visits(doc: Doc) -> Doc:
    """Give every mention the number of its visit."""
    words: Words = doc._.words
    mentions: list[Mention] = doc._.mentions
    starts: list[tuple[int, float]] = [(0, 1.0)] if words.bounds else []
    reference = ""
    said_since = wound_up = False
    for number, m in enumerate(mentions):
        sentence = words.sentence[m.start]
        led = (
            number > 0
            and mentions[number - 1].readings.get("visit") == "next"
            and mentions[number - 1].end == m.start
        )
        if m.kind == "reference" and not led and _REMINDED & set(words.text[max(m.start - 3, 0) : m.start]):
            m.aside, m.rule = REASONS["other_person"], "visits"
            continue
        if said_since and sentence > starts[-1][0]:
            sure = _announced(words, m, mentions) or _another_reference(words, m, reference)
            if sure:
                if _introduced(words, mentions, number):
                    sure = 1 - (1 - sure) * _DOUBT_LEFT["introduced"]
                if wound_up or _FAREWELLS & set(words.text[max(m.start - _INTRODUCTION, 0) : m.start]):
                    sure = 1 - (1 - sure) * _DOUBT_LEFT["wound up"]
                if sure >= _ENOUGH:
                    starts.append((sentence, round(sure, 2)))
                    said_since, wound_up, reference = False, False, ""
        if m.kind == "reference":
            reference = str(m.value)
        said_since |= m.has(*_OF_A_VISIT)
        wound_up |= m.has(*_WINDS_UP)
    doc._.visit_starts = starts
    first = [sentence for sentence, _ in starts]
    for m in mentions:
        m.visit = bisect_left(first, words.sentence[m.start] + 1) - 1
    return doc


def _announced(words: Words, m: Mention, mentions: list[Mention]) -> float:
    """How surely this mention by itself announces another patient: 0 if not at all."""
    base = _BASE.get(m.readings.get("visit", ""), 0.0)
    if not base:
        return 0.0
    row = words.text
    start = words.bounds[words.sentence[m.start]][0]
    opening = m.start
    while opening > start and row[opening - 1] not in MARKS:
        opening -= 1
    before = row[opening : m.start]
    if _NOT_A_CHANGE & set(before) or _still_to_come(words, m, mentions):
        return 0.0
    if m.readings["visit"] == "turn" and _is_next_thing(row, m, mentions):
        return 0.0
    if row[m.start] == "then" and _is_story(words, m, mentions):
        return 0.0
    return base if _LEADS.issuperset(before) else min(base, _MENTIONED)


def _is_story(words: Words, m: Mention, mentions: list[Mention]) -> bool:
    """Whether "then there was a man" goes on about somebody of another time ("... last month", "... who fainted")."""
    _, end = words.bounds[words.sentence[m.start]]
    told = any(o.has("aside") and words.sentence[o.start] == words.sentence[m.start] for o in mentions)
    return told or "who" in words.text[m.end : end]


def _is_next_thing(row: list[str], m: Mention, mentions: list[Mention]) -> bool:
    """Whether "next" or "next up" goes on in the same visit ("next up, the left ear", "next the hook")."""
    plain = row[m.end - 1] in ("next", "one")
    if plain and m.end < len(row) and row[m.end] not in STOPS:
        return True
    end = m.end
    while end < min(len(row), m.end + _AT_ONCE) and row[end] not in STOPS:
        end += 1
    of_ear = ("ear_cue", "instrument", "method", "length", "piece")
    return any(o is not m and o.has(*of_ear) and m.end <= o.start < end for o in mentions)


def _still_to_come(words: Words, m: Mention, mentions: list[Mention]) -> bool:
    """Whether the next patient is only spoken of ("can wait outside", "is at three"), and nothing told of them."""
    row = words.text
    end = m.end
    while end < len(row) and row[end] not in STOPS and row[end] != ",":
        end += 1
    said = row[m.end : end]
    i = 0
    while i < len(said) and said[i] in _IS_SAID:
        i += 1
    to_come = set(said[i : i + 2] + said[-1:]) & _TO_COME or set(said[:1]) & _AUXILIARIES
    return bool(to_come) and not any(
        m.end <= o.start < end and o.has("symptom", "history", "ear_cue", "consistency") for o in mentions
    )


def _another_reference(words: Words, m: Mention, reference: str) -> float:
    """How surely a reference is that of another patient: 0 if it is the same one, corrected, or somebody's named."""
    if m.kind != "reference" or not reference or m.value == reference:
        return 0.0
    before = words.text[max(m.start - 6, 0) : m.start]
    if any(w in ("sorry", "no", "correction") for w in before):
        return 0.0
    start, _ = words.bounds[words.sentence[m.start]]
    return _REFERENCE[m.start - start < 4]


def _introduced(words: Words, mentions: list[Mention], number: int) -> bool:
    """Whether a patient is introduced soon after this mention: what they came with, or who they are."""
    at = mentions[number]
    soon = mentions[number + 1 :]
    for o in soon:
        if o.start - at.end > _INTRODUCTION:
            break
        if o.has(*_INTRODUCES) or o.kind == "reference":
            return True
    return bool(_PEOPLE & set(words.text[at.end : at.end + 6]))
