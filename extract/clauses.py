"""Sentences, and the parts between pauses, in a row of words.

Speech comes with good, bad or no punctuation. Where there is none for long, a sentence is taken to begin at words
that usually open one ("the canal is", "he's", "no pain", "left ear").
"""

from __future__ import annotations

from typing import Any, cast

import numpy as np
from spacy.attrs import SENT_START
from spacy.language import Language
from spacy.tokens import Doc

from extract.words import MARKS, STOPS, Words
from shared.vocabulary import word_set

_LONG = 14
_OPENERS = word_set("clauses", "openers")
_OPENERS_WITH_VERB = word_set("clauses", "openers_with_verb")
_BE = frozenset({"'s", "is", "was", "were", "has", "looks", "are"})
_OPENING_PAIRS = frozenset(
    {
        ("the", "canal"),
        ("the", "drum"),
        ("the", "wax"),
        ("the", "ear"),
        ("left", "ear"),
        ("right", "ear"),
        ("left", "eardrum"),
        ("the", "eardrum"),
        ("the", "tm"),
        ("the", "hard"),
        ("the", "soft"),
        ("see", "him"),
        ("see", "her"),
        ("see", "them"),
        ("both", "ears"),
        ("other", "ear"),
        ("all", "gone"),
        ("all", "clear"),
        ("first", "piece"),
        ("second", "piece"),
        ("another", "piece"),
        ("next", "patient"),
        ("fine", "suction"),
        ("drum", "'s"),
        ("drum", "is"),
        ("drum", "intact"),
        ("canal", "is"),
        ("wax", "is"),
        ("canal", "'s"),
        ("ear", "is"),
        ("and", "the"),
        ("back", "in"),
        ("recall", "in"),
        ("the", "other"),
        ("his", "left"),
        ("his", "right"),
        ("her", "left"),
        ("her", "right"),
        ("wax", "hook"),
        ("drum", "healthy"),
        ("drum", "looks"),
        ("follow", "up"),
        ("canal", "a"),
        ("but", "she"),
        ("but", "he"),
    }
)
_CONJUNCTIONS = word_set("clauses", "conjunctions")
_SUBJECTS = word_set("clauses", "subjects")


def _unpunctuated(row: list[str], i: int) -> bool:
    """Whether no mark stands within _LONG words of place i, on either side."""
    low, high = max(i - _LONG, 0), min(i + _LONG, len(row))
    return not any(row[j] in MARKS for j in range(low, high)) and high - low > _LONG


_CARRIERS = word_set("clauses", "carriers")


_LONG_RUN = 24
"""Words between full stops beyond which commas are taken to have been heard for them."""
_SPLICED = frozenset(
    {(side, noun) for side in ("left", "right") for noun in ("ear", "side", "drum", "eardrum", "canal", "tm")}
    | {
        ("the", noun)
        for noun in ("right", "left", "drum", "drums", "canal", "canals", "wax", "other", "eardrum", "tm")
    }
    | {
        (noun, verb)
        for noun in ("drum", "drums", "canal", "canals", "eardrum", "eardrums")
        for verb in (
            "'s",
            "is",
            "are",
            "clear",
            "healthy",
            "intact",
            "dull",
            "perforated",
            "empty",
            "normal",
            "fine",
        )
    }
    | {
        ("under", "the"),
        ("on", "the"),
        ("next", "patient"),
        ("patient", "reference"),
        ("no", "bleeding"),
        ("complete", "occlusion"),
        ("verbal", "consent"),
        ("keep", "it"),
    }
)


def _run(row: list[str], i: int) -> int:
    """How many words stand between the full stops on either side of place i."""
    low = i
    while low > 0 and row[low - 1] not in STOPS:
        low -= 1
    high = i
    while high < len(row) and row[high] not in STOPS:
        high += 1
    return high - low


def _opens(pair: tuple[str, str]) -> bool:
    word, following = pair
    return word in _OPENERS or (word in _OPENERS_WITH_VERB and following in _BE) or pair in _OPENING_PAIRS


@Language.component("clauses", requires=["doc._.words"], assigns=["doc._.words", "token.is_sent_start"])
def clauses(doc: Doc) -> Doc:
    """Number the sentences and parts of the row, and mark the Doc's sentence starts."""
    words: Words = doc._.words
    row = words.text
    sentence = part = 0
    bounds: list[tuple[int, int]] = []
    begin = 0
    words.sentence, words.part = [], []
    for i, word in enumerate(row):
        pair = (word, row[i + 1] if i + 1 < len(row) else "")
        if i > begin:
            before = row[i - 1]
            new_sentence = before in STOPS
            if before == "," and pair in _SPLICED and i - begin > 2:
                new_sentence = _run(row, i) > _LONG_RUN
            elif not new_sentence and before not in MARKS and _opens(pair):
                new_sentence = i - begin > 1 and before not in _CARRIERS and _unpunctuated(row, i)
            if new_sentence:
                bounds.append((begin, i))
                begin = i
                sentence += 1
                part += 1
            elif before in MARKS or (word in _CONJUNCTIONS and pair[1] in _SUBJECTS) or word == "but":
                part += 1
        words.sentence.append(sentence)
        words.part.append(part)
    if row:
        bounds.append((begin, len(row)))
    words.bounds = bounds
    _mark_starts(doc, [words.token[a] for a, _ in bounds])
    return doc


def _mark_starts(doc: Doc, starts: list[int]) -> None:
    """Mark the Doc's sentence starts in one go; token by token is slow."""
    marks = np.full((len(doc), 1), -1, dtype="int64")
    marks[starts] = 1
    if len(doc):
        marks[0] = 1
    doc.from_array([SENT_START], cast(Any, marks.astype("uint64")))
