"""A patient's reference as it is dictated: letters, spelling words and digits, singly or in groups.

"four four two nine" is 4429, "B twelve" B12, "kilo one one eight" K118, "double oh seven" 007, "M as in mother,
four two" M42. Separators that are said ("dash", "stroke") are left out.
"""

from __future__ import annotations

from collections.abc import Sequence

from extract.numbers import DIGITS, figure, small_number
from extract.words import MARKS
from shared.vocabulary import word_set

_SPELLING = word_set("spelled", "alphabet")
_SEPARATORS = word_set("spelled", "separators")
_TIMES = {"double": 2, "treble": 3, "triple": 3}
_WORDS_THEMSELVES = ("a", "i")
_LONGEST = 12


def digits_at(row: Sequence[str], i: int) -> tuple[str, int]:
    """The reference dictated from word i on, in capitals, and where it ends; "" and i if there is none.

    A reference holds at least one digit; one that begins with a spelling word, which may be a name ("Oscar"),
    holds two.
    """
    out, start = "", i
    while i < len(row) and len(out) < _LONGEST:
        said, end = _next(row, i, out)
        if end == i:
            break
        out, i = out + said, end
    enough = sum(c.isdigit() for c in out) > (start < len(row) and row[start] in _SPELLING)
    return (out, i) if enough else ("", start)


def digit_like(row: Sequence[str], i: int) -> bool:
    """Whether a reference that nothing announces may begin or go on at word i."""
    word = row[i]
    return word.isdigit() or (word in DIGITS and word not in ("o", "nought")) or word in _TIMES


def is_letter(word: str) -> bool:
    """Whether a word stands for one letter."""
    return word in _SPELLING or (len(word) == 1 and word.isalpha() and word.isascii())


def _next(row: Sequence[str], i: int, out: str) -> tuple[str, int]:
    """What the next words add to a reference, and where they end; (_, i) if they add nothing."""
    word = row[i]
    after = row[i + 1] if i + 1 < len(row) else ""
    if word in _TIMES and after:
        one, end = _next(row, i + 1, out or "0")
        return (one * _TIMES[word], end) if len(one) == 1 else ("", i)
    if word in DIGITS and after not in ("hundred", "thousand"):
        leads = bool(out) or word not in ("oh", "o") or after in DIGITS
        return (DIGITS[word], i + 1) if leads else ("", i)
    if word.isascii() and word.isdigit():
        return word, i + 1
    number = small_number(row, i) if word not in _WORDS_THEMSELVES else None
    if number is not None:
        return _with_thousands(row, *number)
    if word in ("capital", "letter") and len(after) == 1 and after.isalpha():
        return _letter(row, i + 1, out)
    if is_letter(word):
        return _letter(row, i, out)
    written = word.replace("-", "").replace("/", "")
    if written.isascii() and written.isalnum() and any(c.isdigit() for c in written) and len(written) < 9:
        return written.upper(), i + 1
    if (word in _SEPARATORS and out and _goes_on(row, i + 1)) or (word == "," and _groups(row, i, out)):
        return "", i + 1
    return "", i


def _with_thousands(row: Sequence[str], end: int, value: int) -> tuple[str, int]:
    """A number of words that may be thousands ("two thousand and six")."""
    if row[end : end + 1] != ["thousand"]:
        return str(value), end
    rest = end + 2 if row[end + 1 : end + 2] == ["and"] else end + 1
    more = small_number(row, rest) if rest < len(row) else None
    return (str(value * 1000 + more[1]), more[0]) if more is not None else (str(value * 1000), end + 1)


def _letter(row: Sequence[str], i: int, out: str) -> tuple[str, int]:
    """A letter said alone, by a spelling word, or with a word it begins ("M for mother")."""
    said = row[i][0].upper()
    end = i + 1
    if row[end : end + 2] == ["as", "in"] and end + 2 < len(row):
        end += 3
    elif row[end : end + 1] == ["for"] and row[end + 1 : end + 2] and row[end + 1][0] == row[i][0]:
        end += 2
    if end < len(row) and row[end] == "," and _goes_on(row, end + 1):
        end += 1
    closes = bool(out) and row[i] not in _WORDS_THEMSELVES
    return (said, end) if closes or _goes_on(row, end) else ("", i)


def _goes_on(row: Sequence[str], i: int) -> bool:
    """Whether a reference goes on at word i: with a number, or with letters that lead to one or end there."""
    if i >= len(row):
        return False
    word = row[i]
    if figure(word) is not None or word in DIGITS or word in _TIMES:
        return True
    if word not in _WORDS_THEMSELVES and small_number(row, i) is not None:
        return True
    if is_letter(word):
        closes = i + 1 >= len(row) or row[i + 1] in MARKS
        return (closes and word not in _WORDS_THEMSELVES) or _goes_on(row, i + 1)
    return word in _SEPARATORS and _goes_on(row, i + 1)


def _groups(row: Sequence[str], i: int, out: str) -> bool:
    """Whether a comma stands in a reference said in pieces ("nine, nine, four")."""
    after = row[i + 1] if i + 1 < len(row) else ""
    return bool(out) and len(out) < 3 and (after in DIGITS or (out[-1].isalpha() and _goes_on(row, i + 1)))
