"""Two hearings of the same sound laid side by side: where they differ, a word is in doubt.

The second hearing is without the prompt, and may be another model's: what both wrote, neither the prompt nor the
noise is likely to have made up.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace

from rapidfuzz.distance import Levenshtein

from dictate.recognise import HeardWord

SENTENCE_BELIEF, CLIP_BELIEF = 0.4, 0.45
"""Mean likelihood of its words below which a sentence, or all of a clip, is taken to be made up."""

_ONES = "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen"
_TEENS = "sixteen seventeen eighteen nineteen"
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety"
_NUMBERS = {word: number for number, word in enumerate(f"{_ONES} {_TEENS}".split())}
_NUMBERS |= {word: 10 * number for number, word in enumerate(_TENS.split(), 2)}
_WHOLE_TENS = [str(ten) for ten in range(20, 100, 10)]
_SAME = {"%": "percent", "cm": "centimetre", "nought": "0", "okay": "ok"}
_SAME |= dict.fromkeys(("mm", "mil", "mill", "mils"), "millimetre")
_PART = re.compile(r"\d+(?:\.\d+)?|[^\W\d_]+(?:'[^\W\d_]+)?|%")
_SPELT = (
    (r"met(?:er|re)s?$", "metre"),
    ("color", "colour"),
    ("gray", "grey"),
    ("iz", "is"),
    ("gage", "gauge"),
)


def parts(word: str) -> list[str]:
    """A written word as it sounds: small letters, numbers as figures, one spelling; "18mm" has two parts."""
    found: list[str] = []
    for written in _PART.findall(word.lower().replace("’", "'")):
        part = written
        for pattern, spelt in _SPELT:
            part = re.sub(pattern, spelt, part)
        number = _NUMBERS.get(part)
        if number is not None and 0 < number < 10 and found and found[-1] in _WHOLE_TENS:
            number += int(found.pop())
        found.append(_SAME.get(part, part) if number is None else str(number))
    return found


def belief(word: HeardWord) -> float:
    """How likely a word is right, 0-1: its own probability, less where a second hearing wrote otherwise.

    A logistic regression on the words of the tuning half of tests/benchmarks/corpus.py, clean and in noise.
    """
    own = min(max(word.probability, 0.02), 0.995)
    odds = math.log(own / (1 - own))
    fitted = 0.76 + 0.75 * odds - (0 if word.also is None else 1.33 + 0.33 * odds)
    return 1 / (1 + math.exp(-fitted))


def believable(words: Sequence[HeardWord]) -> tuple[list[HeardWord], float]:
    """The words of one clip without the sentences that were made up, and the seconds these took.

    words: as `compared` gives them. Speech under 5 dB of hiss stays above the limits, but for one sentence in a
    hundred; what is written of people talking behind a wall, of music or of gurgling stays below.
    """
    sentences: list[list[HeardWord]] = [[]]
    for word in words:
        sentences[-1].append(word)
        if word.text.rstrip().endswith((".", "?", "!")):
            sentences.append([])
    spoken = [s for s in sentences if s]
    kept = [s for s in spoken if _mean(s) >= SENTENCE_BELIEF and _mean(words) >= CLIP_BELIEF]
    missed = sum(s[-1].end - s[0].start for s in spoken if s not in kept)
    return [word for s in kept for word in s], missed


def _mean(words: Sequence[HeardWord]) -> float:
    return sum(word.probability for word in words) / max(len(words), 1)


def compared(first: Sequence[HeardWord], second: Sequence[HeardWord]) -> list[HeardWord]:
    """The words of the first hearing, as likely as both make them, and with what the second wrote otherwise.

    Where the second has words between two of the first's, the later of these is taken to be in doubt: "no
    bleeding" heard beside "bleeding".
    """
    ours, owner = _row(first)
    theirs, their_owner = _row(second)
    also: dict[int, str] = {}
    for step in Levenshtein.opcodes(ours, theirs):
        if step.tag == "equal" or not first:
            continue
        there = dict.fromkeys(their_owner[step.dest_start : step.dest_end])
        written = "".join(second[i].text for i in there).strip()
        if step.tag != "insert":
            also |= dict.fromkeys(owner[step.src_start : step.src_end], written)
        elif step.src_start < len(ours):
            at = owner[step.src_start]
            also.setdefault(at, f"{written} {first[at].text.strip()}")
        else:
            also.setdefault(owner[-1], f"{first[owner[-1]].text.strip()} {written}")
    noted = (replace(word, also=also.get(i)) for i, word in enumerate(first))
    return [replace(word, probability=belief(word)) for word in noted]


def _row(words: Sequence[HeardWord]) -> tuple[list[str], list[int]]:
    row = [(part, i) for i, word in enumerate(words) for part in parts(word.text)]
    return [part for part, _ in row], [i for _, i in row]
