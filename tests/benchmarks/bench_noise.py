"""How well dictation under suction noise is heard and read, by level of noise and model.

    python tests/benchmarks/bench_noise.py [--half report] [--models base,tiny.en] [--most 9] [--first-pass]

The sound is that of corpus.py; speak it first. What was heard is kept (heard.py), so the command can be stopped
and goes on where it was. Words are compared after `dictate.doubt.parts` and Whisper's English normaliser; terms
are the words that `extract/repair.py` takes for the trade's. Dangerous errors as in extract/evaluate.py; marked:
values that are wrong and have a confidence of at most 0.6, so that they are to be checked.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

import jiwer
from whisper_normalizer.english import EnglishTextNormalizer

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from corpus import LEVELS, Spoken, corpus  # noqa: E402
from heard import Setup, heard  # noqa: E402
from reliability import judged  # noqa: E402

from dictate.doubt import parts  # noqa: E402
from extract.evaluate import DANGERS, score  # noqa: E402
from extract.reader import Reader  # noqa: E402
from extract.sounds_file import load_sounds  # noqa: E402
from shared import vocabulary  # noqa: E402

normal = EnglishTextNormalizer()
MARKED, SURE = 0.6, 0.9


def plain(text: str) -> str:
    """A text as it is compared."""
    return normal(" ".join(part for word in text.split() for part in parts(word)).replace("metre", "metres"))


def trade_words() -> frozenset[str]:
    """The words of the vocabulary that are not everyday English."""
    sounds = load_sounds(vocabulary.load())
    return frozenset(plain(w) for term in sounds.terms for w in term.words) - sounds.ordinary


def term_recall(said: Iterable[str], found: Iterable[str], terms: frozenset[str]) -> float:
    """The share of the trade's words in the texts said that were heard in the same text."""
    there = kept = 0
    for one, other in zip(said, found, strict=True):
        wanted = Counter(w for w in one.split() if w in terms)
        there += wanted.total()
        kept += (wanted & Counter(other.split())).total()
    return kept / there if there else 1.0


def wilson(right: int, of: int) -> tuple[float, float]:
    """The 95 % interval of a share, after Wilson (1927)."""
    z, share = 1.96, right / of
    middle, spread = share + z * z / (2 * of), z * math.sqrt(share * (1 - share) / of + (z / (2 * of)) ** 2)
    return (middle - spread) / (1 + z * z / of), (middle + spread) / (1 + z * z / of)


def row(spoken: Sequence[Spoken], level: float | None, setup: Setup, reader: Reader) -> list[str]:
    """One row of the table."""
    gold, texts = [one.gold for one in spoken], [heard(one, level, setup) for one in spoken]
    visits = {one.name: reader.read(text) for one, text in zip(spoken, texts, strict=True)}
    result = score(gold, {name: [v.plain() for v in found] for name, found in visits.items()})
    said, found = [plain(g["text"]) for g in gold], [plain(t.text) for t in texts]
    values = [pair for g in gold for pair in judged(visits[g["id"]], g["visits"])]
    wrong = [value for value, right in values if not right]
    sure = [right for value, right in values if value.confidence > SURE]
    share = "{:.3f} to {:.3f}".format(*wilson(sum(sure), len(sure))) if sure else "-"
    return [
        "clean" if level is None else f"{level:.0f} dB",
        setup.name,
        f"{jiwer.wer(said, found):.3f}",
        f"{term_recall(said, found, trade_words()):.3f}",
        f"{result.total.f1:.3f}",
        *(str(result.dangers[danger]) for danger in DANGERS),
        f"{sum(value.confidence <= MARKED for value in wrong)} of {len(wrong)}",
        f"{sum(sure)} of {len(sure)}",
        share,
    ]


def main() -> None:
    """Hear, read, and print a row for each level and model."""
    asked = argparse.ArgumentParser(description="Hearing and reading under suction noise.")
    asked.add_argument("--half", choices=("tune", "report"), default="report")
    asked.add_argument("--models", default="base")
    asked.add_argument("--most", type=int, default=99, help="dictations heard at each level")
    asked.add_argument("--first-pass", action="store_true", help="also without the second pass")
    args = asked.parse_args()
    passes = (True, False) if args.first_pass else (True,)
    setups = [Setup(model, careful) for model in args.models.split(",") for careful in passes]
    reader, spoken = Reader(), corpus(args.half)[: args.most]
    heads = ["speech over noise", "model", "word errors", "term recall", "value F1", *DANGERS]
    heads += ["wrong, marked", f"right over {SURE}", "95 % interval"]
    print("|", " | ".join(heads), "|\n|", " | ".join("---" for _ in heads), "|")
    for level in LEVELS:
        for setup in setups:
            print("|", " | ".join(row(spoken, level, setup, reader)), "|", flush=True)


if __name__ == "__main__":
    main()
