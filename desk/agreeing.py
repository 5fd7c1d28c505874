"""Where in a visit's words the patient's agreement to being recorded seems to stand: offered, never taken."""

from __future__ import annotations

import re

_SENTENCE = re.compile(r"[^.!?\n]+[.!?]?")
_RECORDED = re.compile(r"\b(record(ed|ing|er)?|audio|dictaphone)\b", re.I)
_YES = re.compile(r"\b(agree[sd]?|agreeing|happy|consent\w*|permission|allow\w*|fine|okay|ok|yes)\b", re.I)
_NO = re.compile(r"\b(not?|never|without|declin\w*|refus\w*|rather|unhappy|withdr\w*)\b|n't\b", re.I)


def said(text: str, start: int, end: int) -> tuple[int, int] | None:
    """The first sentence in text[start:end] that speaks of being recorded, with a yes and no denial; its characters."""
    for sentence in _SENTENCE.finditer(text, start, end):
        words = sentence[0]
        if _RECORDED.search(words) and _YES.search(words) and not _NO.search(words):
            first = sentence.start() + len(words) - len(words.lstrip())
            return first, sentence.end()
    return None
