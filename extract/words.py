"""The first step: a text as a row of plain words that the rules can read.

A spaCy `Doc` keeps every character; the rules read its *words*: lower case, one spelling, fillers and hyphens
left out, dictated punctuation ("period", "new paragraph") turned into the mark it names.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache
from typing import Any, cast

from spacy.attrs import NORM, ORTH
from spacy.language import Language
from spacy.tokens import Doc

from shared.vocabulary import GAPS, shipped, word_set

PARAGRAPH = "¶"
STOPS = frozenset({".", "?", "!", ";", ":", PARAGRAPH})
PAUSES = frozenset({",", "…", "–"})
MARKS = STOPS | PAUSES

_FILLERS = frozenset({"um", "uh", "er", "eh", "erm", "ah", "hmm", "hm", "mm-hm", "ehm"})
_SKIPPED = frozenset({"-", '"', "'", "“", "”", "(", ")", "[", "]", "*", "_", "`", "‘", "’"})
_FIGURES = re.compile(r"([\d.]+)(?:(x|×)([\d.]+))?(mils?|mills?|mm|cms?)?")
"""Figures written together: "10x4", "18mil"."""
_CUT_IN_LOWER = {"id": ["i", "d"], "t1dm": ["t1", "dm"], "t2dm": ["t2", "dm"]}
"""What spaCy cuts in lower case, and so in every phrase, but leaves whole in capitals."""
_DICTATED = {"period": ".", "comma": ",", "colon": ":", "semicolon": ";"}
_DICTATED_PAIRS = {
    ("full", "stop"): ".",
    ("question", "mark"): "?",
    ("new", "paragraph"): PARAGRAPH,
    ("new", "line"): PARAGRAPH,
    ("next", "line"): PARAGRAPH,
}


@dataclass(slots=True)
class Words:
    """The words of one text.

    text[i]: the i-th word or mark. token[i]: its first token in the Doc. last[i]: its last token.
    sentence[i], part[i]: numbers of the sentence and of the part between pauses it stands in.
    """

    text: list[str]
    token: list[int]
    last: list[int]
    sentence: list[int] = field(default_factory=list)
    part: list[int] = field(default_factory=list)
    bounds: list[tuple[int, int]] = field(default_factory=list)
    repairs: dict[int, Any] = field(default_factory=dict)


@cache
def spellings() -> dict[str, str]:
    """One spelling for each word that has several, from vocabulary/spelling.yaml."""
    listed: dict[str, list[str]] = shipped("spelling.yaml")
    return {variant: word for word, variants in listed.items() for variant in variants}


@cache
def abbreviations() -> dict[str, tuple[str, ...]]:
    """What is short for something else when written in capitals, from vocabulary/abbreviations.yaml."""
    listed: dict[str, str] = shipped("abbreviations.yaml")
    return {short: tuple(meant.split()) for short, meant in listed.items()}


def plain_word(word: str) -> str:
    """A word in lower case with one kind of apostrophe and one spelling."""
    low = word.lower().replace("’", "'").replace("ö", "o")
    return spellings().get(low, low)


def speak_scots(nlp: Language) -> None:
    """Let the tokenizer cut "wasnae" as it cuts "wasn't", and take a lone "nae" for "no"."""
    tokenizer = cast(Any, nlp.tokenizer)
    for verb in word_set("words", "before_nae"):
        for said in (verb, verb.capitalize()):
            tokenizer.add_special_case(f"{said}nae", [{ORTH: said}, {ORTH: _NAE, NORM: "not"}])
    nlp.vocab[_NAE].norm_ = "no"
    nlp.vocab[_NAE.capitalize()].norm_ = "no"


_ENDINGS = {"nt": "n't", "s": "'s", "m": "'m", "ve": "'ve", "re": "'re", "ll": "'ll", "d": "'d"}
_COUNTED = word_set("words", "digits")
_NAE = "nae"
_HEADINGS = frozenset({"R", "L"})
"""Headings of notes ("R: no wax. L: 40%"); one of them alone may be anything."""
_CM = frozenset({"centimetre", "centimetres", "cm", "cms"})
_BEFORE_NT = {"can": "ca", "will": "wo"}
"""How the tokenizer cuts these before "n't"."""


def plain_words(words: tuple[str, ...], nlp: Language) -> tuple[str, ...]:
    """A phrase's words cut as the tokenizer cuts them, so that "can't" meets "can't"."""
    return tuple(part for word in words for part in _cut(word, nlp))


@cache
def _cut(word: str, nlp: Language) -> tuple[str, ...]:
    whole = word in GAPS or word.startswith("'")  # "'ve" alone would be cut
    return (word,) if whole else tuple(plain_word(t.text) for t in nlp.make_doc(word))


@Language.component("words", assigns=["doc._.words"])
def words(doc: Doc) -> Doc:
    """Put the row of words on the Doc."""
    texts: list[str] = []
    tokens: list[int] = []
    known = spellings()
    short = {} if _all_capitals(doc.text) else abbreviations()
    for i, token in enumerate(doc):
        raw = token.text
        low = raw.lower()
        if raw in short and _names_a_side(doc, i):
            texts += short[raw]
            tokens += [i] * len(short[raw])
            continue
        if low in _FILLERS or low in _SKIPPED:
            continue
        if token.is_space:
            if raw.count("\n") > 1:
                texts.append(PARAGRAPH)
                tokens.append(i)
            continue
        if raw in ("...", "..", "—", "–", "--"):
            low = "…"
        elif "’" in low:
            low = low.replace("’", "'")
        if low in _ENDINGS and i > 0 and not doc[i - 1].whitespace_ and doc[i - 1].text.isalpha():
            texts.append(
                _ENDINGS[low]
            )  # "cant", "thats": cut by the tokenizer, but not spelled as it should be
            tokens.append(i)
            continue
        if low == _NAE:
            joined = i > 0 and not doc[i - 1].whitespace_
            low = "n't" if joined else "no"
            texts[-1:] = [_BEFORE_NT.get(w, w) if joined else w for w in texts[-1:]]
        if low[:2] == "t'" and len(low) > 3:  # "t'other"
            texts += ["the", known.get(low[2:], low[2:])]
            tokens += [i, i]
            continue
        if len(low) == 2 and low[1] == "." and low[0].isalpha():
            texts += [low[0], "."]
            tokens += [i, i]
            continue
        if low[-1] == "." and low[:-1].isalnum() and any(c.isdigit() for c in low):
            texts += [low[:-1], "."]
            tokens += [i, i]
            continue
        if low in _CUT_IN_LOWER:
            texts += _CUT_IN_LOWER[low]
            tokens += [i] * len(_CUT_IN_LOWER[low])
            continue
        if low[-1] == "." and "&" in low:
            texts += [low[:-1], "."]
            tokens += [i, i]
            continue
        if low[-3:] == "'ll" and len(low) > 3:
            texts += [known.get(low[:-3], low[:-3]), "'ll"]
            tokens += [i, i]
            continue
        if low[0].isdigit() and (split := _FIGURES.fullmatch(low)):
            cut = [part for part in split.groups() if part]
            texts += cut
            tokens += [i] * len(cut)
            continue
        texts.append(known.get(low, low).replace("ö", "o"))
        tokens.append(i)
    lasts = list(tokens)
    if _dictates_marks(texts):
        texts, tokens, lasts = _with_dictated_marks(texts, tokens)
    doc._.words = Words(texts, tokens, lasts)
    return doc


def _all_capitals(text: str) -> bool:
    """Whether capitals tell nothing, because nearly all letters are."""
    return sum(map(str.isupper, text)) > sum(map(str.islower, text))


def _names_a_side(doc: Doc, i: int) -> bool:
    """Whether letters short for a side are that, and not of a reference ("R 7 2") or a subject line ("RE: ...")."""
    before, after = (doc[j].text if 0 <= j < len(doc) else "." for j in (i - 1, i + 1))
    if after == ":" and doc[i].text in _HEADINGS:
        return {token.text for token in doc[:-1] if token.nbor().text == ":"} >= _HEADINGS
    if len(doc[i].text) > 1:
        return after != ":" or doc[i].text != "RE" or "LE" in {token.text for token in doc}
    lone = any(t[0].isdigit() or (len(t) == 1 and t.isupper()) for t in (before, after)) or after in _COUNTED
    return len(after) > 1 and after.isalpha() and not lone


def _dictates_marks(texts: list[str]) -> bool:
    """Whether the speaker dictates punctuation: more than one such word, and few written marks."""
    spoken = sum(w in _DICTATED for w in texts)
    return spoken > 1


def _is_decimal(texts: list[str], i: int) -> bool:
    """Whether "comma" stands inside a number ("one comma five centimetres")."""
    digits = (texts[i - 1 : i], texts[i + 1 : i + 2])
    return (
        texts[i] == "comma"
        and all(set(d) & _COUNTED for d in digits)
        and bool(_CM & set(texts[i + 2 : i + 3]))
    )


def _with_dictated_marks(texts: list[str], tokens: list[int]) -> tuple[list[str], list[int], list[int]]:
    out: list[str] = []
    first: list[int] = []
    last: list[int] = []
    i = 0
    while i < len(texts):
        pair = _DICTATED_PAIRS.get((texts[i], texts[i + 1])) if i + 1 < len(texts) else None
        mark = pair or ("" if _is_decimal(texts, i) else _DICTATED.get(texts[i]))
        end = i + 1 if pair else i
        out.append(mark or texts[i])
        first.append(tokens[i])
        last.append(tokens[end])
        i = end + 1
    return out, first, last


Doc.set_extension("words", default=None, force=True)
