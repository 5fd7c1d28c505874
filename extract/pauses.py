"""Pauses in talk that comes without punctuation: marks put into the row where a speaker would have paused.

Recognisers often give long stretches with no mark at all. There the words on both sides of each gap tell whether a
pause or a full stop stood in it; the weights lie in vocabulary/pauses.yaml, fitted on dictations with punctuation.
Talk that has its marks is left as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from spacy.language import Language
from spacy.tokens import Doc

from extract.measures import measures
from extract.numbers import TENS, UNITS
from extract.phrase_book import PhraseBook
from extract.phrases import Found
from extract.spelled import digits_at
from extract.words import MARKS, Words
from shared.vocabulary import load_yaml, word_set

FILE = Path(__file__).resolve().parent.parent / "shared" / "vocabulary" / "pauses.yaml"
LONG = 28
"""Words without a mark beyond which a stretch counts as unpunctuated."""
BARE = 16
"""The same for a text without any mark."""
_PAUSE = -1.0
_STOP = -0.8
"""The log odds from which a pause, or a full stop, is put in (probabilities of 0.27 and 0.31)."""
_SHORT = 5
"""Words up to which a phrase or measure is not torn apart."""
_NAMES = word_set("pauses", "names")
_JOINED = word_set("pauses", "joined")
_CARRYING = word_set("pauses", "carrying")
_DESCRIBED = word_set("pauses", "described")
_REMAINING = word_set("pauses", "remaining")
_NAMED = word_set("pauses", "named")
_THOUGHTS = word_set("pauses", "thoughts")
_LEANING = word_set("pauses", "leaning")

Table = tuple[float, dict[str, float]]
"""A bias and the weights of features; together the log odds of a mark."""


def features(row: Sequence[str], i: int) -> list[str]:
    """What is known of the gap after word i: the words around it."""
    earlier, after, before, later = (
        _plain(row[k]) if 0 <= k < len(row) else "^" for k in range(i - 1, i + 3)
    )
    return [
        f"earlier={earlier}",
        f"after={after}",
        f"before={before}",
        f"later={later}",
        f"pair={after} {before}",
        f"lead={earlier} {after}",
        f"tail={before} {later}",
    ]


def _plain(word: str) -> str:
    return "#" if word in UNITS or word in TENS or word[0].isdigit() else word


@cache
def _tables() -> dict[str, Table]:
    read: dict[str, dict[str, Any]] = load_yaml(FILE.read_text(encoding="utf-8"))
    return {
        name: (
            groups.pop("bias"),
            {f"{place}={word}": weight for place, words in groups.items() for word, weight in words.items()},
        )
        for name, groups in read.items()
    }


def _log_odds(table: Table, known: list[str]) -> float:
    bias, weights = table
    return bias + sum(weights.get(f, 0.0) for f in known)


@Language.factory("pauses", requires=["doc._.words"], assigns=["doc._.words"])
def _pauses(nlp: Language, name: str) -> Pauses:
    return Pauses()


class Pauses:
    """Component: put the likely pauses and full stops into the long unpunctuated stretches of the row.

    phrases: what is not to be torn apart; set by the reader that owns the vocabulary.
    """

    def __init__(self) -> None:
        self.phrases = PhraseBook()

    def __call__(self, doc: Doc) -> Doc:
        words: Words = doc._.words
        row = words.text
        at_marks = [-1, *(i for i, word in enumerate(row) if word in MARKS), len(row)]
        long = LONG if len(at_marks) > 2 else BARE
        stretches = [(a + 1, b) for a, b in pairwise(at_marks) if b - a - 1 > long]
        if stretches:
            capitals = {i for a, b in stretches for i in range(a, b) if _is_capital(doc[words.token[i]].text)}
            marks = {i: mark for a, b in stretches for i, mark in self._marks(row[a:b], a, capitals)}
            _put_in(words, marks)
        return doc

    def _marks(self, stretch: list[str], start: int, capitals: set[int]) -> list[tuple[int, str]]:
        """The marks of one stretch, each with the place of the word it follows."""
        pause, stop = _tables()["pause"], _tables()["stop"]
        phrases = self.phrases.find(stretch)
        whole = [(m.start, m.end) for m in phrases] + [(m.start, m.end) for m in measures(stretch, ())]
        inside = {i for a, b in whole if b - a <= _SHORT for i in range(a, b - 1)}
        inside |= {m.start - 1 for m in phrases if m.has("drum", "canal") and stretch[m.start - 1] in _NAMED}
        inside |= {i for m in phrases if _put_right(stretch, m, phrases) for i in range(m.end - 1, m.end + 2)}
        named = {m.start for m in phrases if m.end - m.start > 1}
        inside |= {
            m.end - 1
            for m in phrases
            if m.has("consistency", "colour")
            and (
                _layered(stretch, m) or (m.end not in named and _DESCRIBED & set(stretch[m.end : m.end + 1]))
            )
        }
        settled = _settled(stretch)
        out = []
        for i in range(len(stretch) - 1):
            if start + i + 1 in capitals:
                out.append((start + i, "."))
            elif i in settled:
                out += [(start + i, settled[i])] if settled[i] else []
            elif not (i in inside or stretch[i + 1] in _JOINED or stretch[i] in _CARRYING):
                known = features(stretch, i)
                if _log_odds(pause, known) > _PAUSE:
                    full = stretch[i + 1] not in _LEANING and _log_odds(stop, known) > _STOP
                    out.append((start + i, "." if full else ","))
        return out


def _settled(row: list[str]) -> dict[int, str]:
    """Gaps that need no weighing, by the word before them: the mark, or "" for none."""
    found = _headings(row) | _references(row)
    for i, (word, following) in enumerate(pairwise(row)):
        beyond = row[i + 2 : i + 3]
        if word == "left" and i and row[i - 1] in _REMAINING and following in _NAMED:
            found[i] = "."  # "not a speck left drum healthy"
        elif word in ("percent", "cent"):
            sided = following in ("left", "right") and not _NAMED & set(beyond)
            if sided or (following in ("on", "in") and beyond == ["the"]):
                found[i] = ""  # "eighty percent right, fifteen percent left"
        elif [word] in _POINTING and [row[i - 1]] in _BEHIND and following in ("the", "then"):
            found[i] = "."  # "and soft behind it. The hard bit's grey"
        elif i and row[i - 1] == "last":
            found[i] = ""  # "last month it was"
        elif [following, *beyond] in _SUMMED or row[i + 1 : i + 5] == ["all", "of", "a", "sudden"]:
            found[i] = ""  # "thirty millimetres all told", "went deaf all of a sudden"
        elif [following, *beyond] == ["i", "think"] and i + 3 < len(row) and row[i + 3] not in _THOUGHTS:
            found[i], found[i + 2] = ",", "."  # "the drum's retracted, I think. No..."
    return found


def _headings(row: list[str]) -> dict[int, str]:
    """The marks around "in the left ear" where it opens what is found there, after talk of the other ear or of none
    ("... and the drum was bulging in the left ear no wax was seen")."""
    found: dict[int, str] = {}
    named = ""
    for i, side in enumerate(row):
        if side == "each" and i > 1 and row[i - 1] == "in" and row[i + 1 : i + 2] == ["ear"]:
            if _opens_a_look(row[i + 2 : i + 2 + _LOOK]):
                found[i - 2], found[i + 1] = ".", ","
            continue
        if side not in ("right", "left"):
            continue
        end = i + 2 if row[i + 1 : i + 2] in (["ear"], ["side"]) else i + 1
        placed = i > 2 and row[i - 2] in ("in", "on") and row[i - 1] in _OF_THE_EAR
        if placed and named != side and _opens_a_look(row[end : end + _LOOK]):
            found[i - 3], found[end - 1] = ".", ","
        named = side
    return found


def _references(row: list[str]) -> dict[int, str]:
    """The mark after figures said one by one that open a patient, and none among them ("next is 4 1 2 0. Right
    ear")."""
    found: dict[int, str] = {}
    for i, word in enumerate(row[:-1]):
        start = i + 1 + (word == "next" and row[i + 1] == "is")
        said, end = digits_at(row, start)
        if word in _OPENING_ONE and said.isdigit() and len(said) == end - start >= _FIGURES:
            found |= dict.fromkeys(range(i, end - 1), "")
            found[end - 1] = "."
    return found


def _opens_a_look(after: list[str]) -> bool:
    """Whether words begin to tell what is seen: a part of the ear, wax, or how full it is."""
    if after[:1] == ["the"] or after[:1] == ["no"]:
        return after[1:2] != [] and after[1] in _SEEN
    counted = after[:1] and (after[0] in UNITS or after[0] in TENS or after[0].isdigit())
    if counted:
        return bool({"percent", "per"} & set(after[1:3]))
    return after[:1] in (["there"], ["a"]) and bool({"wax", "cerumen"} & set(after))


_OPENING_ONE = frozenset({"next", "number", "patient", "reference"})
_FIGURES = 3
_OF_THE_EAR = frozenset({"the", "his", "her"})
_SEEN = word_set("pauses", "seen")
_LOOK = 7
"""Words after "in the left ear" that show whether it opens a look."""


def _put_right(row: list[str], m: Found, phrases: list[Found]) -> bool:
    """Whether "well no" and another phrase of the same kind follow ("yellow well no orange")."""
    return row[m.end : m.end + 2] == ["well", "no"] and any(
        o.start == m.end + 2 and o.readings.keys() & m.readings.keys() for o in phrases
    )


def _layered(row: list[str], m: Found) -> bool:
    """Whether an adjective of wax goes on with where it lies ("and soft behind it")."""
    following = row[m.end : m.end + 2]
    return (
        row[m.start - 1 : m.start] in (["and"], ["but"])
        and following[:1] in _BEHIND
        and following[1:] in _POINTING
    )


_SUMMED = (["all", "told"], ["in", "total"])
_BEHIND = (["behind"], ["beneath"], ["under"], ["underneath"])
_POINTING = (["it"], ["that"], ["this"])


def _is_capital(word: str) -> bool:
    """Whether a word is written as one that opens a sentence; names are not."""
    return word[:1].isupper() and word[1:] == word[1:].lower() and word.lower() not in _NAMES


def _put_in(words: Words, marks: dict[int, str]) -> None:
    """Insert marks after the given words; a mark stands at the token of the word before it."""
    text, token, last = words.text, words.token, words.last
    words.text, words.token, words.last = [], [], []
    for i, word in enumerate(text):
        words.text.append(word)
        words.token.append(token[i])
        words.last.append(last[i])
        if i in marks:
            words.text.append(marks[i])
            words.token.append(last[i])
            words.last.append(last[i])
