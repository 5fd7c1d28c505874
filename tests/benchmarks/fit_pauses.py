"""Fit the weights of shared/vocabulary/pauses.yaml anew: python tests/benchmarks/fit_pauses.py

Where people pause is learnt from the punctuation of tests/dictations: logistic regression with an L1 penalty
(Tibshirani, 1996; proximal gradient, Beck and Teboulle, 2009; both from memory), so that few words carry a weight.
Reads nothing else, writes the file in place, prints how well pauses are found on the set named last when it is
left out of the fit.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import yaml

from extract.gold import load_gold
from extract.pauses import FILE, LONG, features
from extract.reader import Reader
from extract.words import MARKS, STOPS

ROOT = Path(__file__).parents[2]
SEEN = 4
"""A word or pair must occur this often to carry a weight."""
PENALTY = 1.4
STEPS = 3000
SMALL = 0.1
HEAD = """\
# Where a speaker pauses, for talk that comes without punctuation: extract/pauses.py adds up the weights of the words
# around a gap. after, before: the words on either side; earlier, later: one word further; pair, lead, tail: two words
# together. "#" is any number. Fitted by tests/benchmarks/fit_pauses.py on the punctuation of tests/dictations.
"""

Gap = tuple[list[str], int, int]
"""Words, the gap after word i, and what stands in it: 0 nothing, 1 a pause, 2 a full stop."""


def gaps(paths: Sequence[Path], reader: Reader) -> list[Gap]:
    """The gaps of all dictations, those of unpunctuated stretches left out."""
    out: list[Gap] = []
    for one in load_gold(paths):
        doc = reader.nlp.get_pipe("words")(reader.nlp.make_doc(one["text"]))
        words: list[str] = []
        marks: list[int] = []
        for word in doc._.words.text:
            if word not in MARKS:
                words.append(word)
                marks.append(0)
            elif marks:
                marks[-1] = max(marks[-1], 2 if word in STOPS or word == "…" else 1)
        at = [-1, *(i for i, mark in enumerate(marks) if mark), len(words) - 1]
        told = {i for a, b in pairwise(at) if b - a <= LONG for i in range(a + 1, b + 1)}
        out += [(words, i, marks[i]) for i in range(len(words) - 1) if i in told]
    return out


def fit(found: list[Gap], is_mark: Callable[[int], bool]) -> tuple[dict[str, float], float]:
    """Weights by feature, and the bias."""
    rows = [features(words, i) for words, i, _ in found]
    often = Counter(f for row in rows for f in row)
    names = sorted(f for f, times in often.items() if times >= SEEN)
    number = {name: n for n, name in enumerate(names)}
    width = max(len(row) for row in rows)
    index = np.full((len(rows), width), len(names))
    for n, row in enumerate(rows):
        known = [number[f] for f in row if f in number]
        index[n, : len(known)] = known
    target = np.array([is_mark(mark) for *_, mark in found], dtype=float)
    weights, bias = np.zeros(len(names) + 1), 0.0
    look, bias_look, momentum = weights.copy(), bias, 1.0
    step = 4.0 / (len(rows) * (width + 1))
    for _ in range(STEPS):
        error = 1 / (1 + np.exp(-(look[index].sum(axis=1) + bias_look))) - target
        slope = np.bincount(index.ravel(), np.repeat(error, width), len(names) + 1)
        moved = look - step * slope
        new = np.sign(moved) * np.maximum(np.abs(moved) - step * PENALTY, 0)
        new[-1] = 0
        new_bias = bias_look - step * error.sum()
        following = (1 + np.sqrt(1 + 4 * momentum**2)) / 2
        pull = (momentum - 1) / following
        look, bias_look = new + pull * (new - weights), new_bias + pull * (new_bias - bias)
        weights, bias, momentum = new, new_bias, following
    return {n: round(float(w), 1) for n, w in zip(names, weights[:-1], strict=True) if abs(w) >= SMALL}, bias


def agreement(table: tuple[dict[str, float], float], found: list[Gap], is_mark: Callable[[int], bool]) -> str:
    weights, bias = table
    said = [is_mark(mark) for *_, mark in found]
    guessed = [bias + sum(weights.get(f, 0) for f in features(w, i)) > 0 for w, i, _ in found]
    right = sum(a and b for a, b in zip(said, guessed, strict=True))
    return f"precision {right / sum(guessed):.3f}, recall {right / sum(said):.3f}"


def main() -> None:
    paths = sorted((ROOT / "tests" / "dictations").glob("*.yaml"))
    reader = Reader()
    kinds: dict[str, Callable[[int], bool]] = {"pause": lambda mark: mark > 0, "stop": lambda mark: mark == 2}
    kept, left_out = gaps(paths[:-1], reader), gaps(paths[-1:], reader)
    every = kept + left_out
    out: dict[str, dict[str, object]] = {}
    for name, is_mark in kinds.items():
        print(name, "left out:", agreement(fit(kept, is_mark), left_out, is_mark))
        weights, bias = fit(every, is_mark)
        groups: dict[str, dict[str, float]] = {}
        for feature, weight in weights.items():
            place, word = feature.split("=", 1)
            groups.setdefault(place, {})[word] = weight
        out[name] = {"bias": round(float(bias), 2), **groups}
        print(name, len(weights), "weights")
    Path(FILE).write_text(
        HEAD + yaml.safe_dump(out, width=116, allow_unicode=True, sort_keys=False, default_flow_style=None),
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()
