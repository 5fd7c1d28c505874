"""What is supposed and then denied: "if it had bled I'd have stopped, but it didn't" says that it did not bleed."""

from __future__ import annotations

from extract.mentions import Mention
from extract.words import MARKS, STOPS, Words
from shared.vocabulary import word_set

_SUBJECTS = word_set("conditions", "subjects")
_AUXILIARIES = word_set("conditions", "auxiliaries")
_CLOSING = word_set("conditions", "closing")
_TURNS = word_set("conditions", "turns")
_FOUND = ("symptom", "complication", "history", "canal", "drum", "foreign_body")
_CONDITION = 9
"""Words of a condition: what stands further on is of its consequence."""
_AHEAD = 24
"""Words after what was supposed within which it is denied."""


def deny_supposed(words: Words, mentions: list[Mention], cue: Mention) -> None:
    """Take what an "if" supposes for denied where the talk denies it in so few words ("if she'd ever had a
    perforation we'd not irrigate, but she never has")."""
    if words.text[cue.start] not in ("if", "had", "were"):
        return
    supposed = [
        m
        for m in mentions
        if cue.end <= m.start <= cue.end + _CONDITION and m.has(*_FOUND) and _in_condition(words, cue, m)
    ]
    at = _denial(words.text, supposed[-1].end) if supposed else -1
    for m in supposed if at >= 0 else []:
        m.aside, m.polarity, m.denied_at, m.rule = "", "denied", at, "supposed, then denied"


def _in_condition(words: Words, cue: Mention, m: Mention) -> bool:
    """Whether a mention stands in the condition itself, before its comma and its consequence ("if he bled I'd ...")."""
    own = cue.end + (words.text[cue.end : cue.end + 1] in (["i"], ["we"], ["you"]))  # "if I'd seen blood"
    return not {",", "i", "we", "you", "i'd"} & set(words.text[own : m.start])


def _denial(row: list[str], begin: int) -> int:
    """Where the words after `begin` deny what was supposed ("but there isn't any", "; it hasn't."); -1 if nowhere."""
    stops = 0
    for i in range(begin, min(begin + _AHEAD, len(row) - 2)):
        stops += row[i] in STOPS
        if stops > 1:
            break
        if (row[i] in _TURNS or row[i] in MARKS) and (at := _elliptic(row, i + 1)) >= 0:
            return at
    return -1


def _elliptic(row: list[str], i: int) -> int:
    """The place of the "not" in a clause from word i that is nothing but subject, auxiliary and denial."""
    while i < len(row) and row[i] in _TURNS:
        i += 1
    if i + 2 >= len(row) or row[i] not in _SUBJECTS:
        return -1
    pair = row[i + 1 : i + 3]
    no = i + 1 if pair[0] == "never" else i + 2
    if not ((pair[0] in _AUXILIARIES and pair[1] in ("not", "n't", "none", "never")) or pair[0] == "never"):
        return -1
    end = i + 3
    while end < len(row) and row[end] in _CLOSING:
        end += 1
    return no if end >= len(row) or row[end] in MARKS else -1
