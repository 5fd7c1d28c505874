"""How well dictation under suction noise is heard and read, by level of noise.

    python tests/benchmarks/bench_noise.py [--half report] [--model base] [--most 9]

The sound is that of corpus.py; speak it first. Words are compared after `dictate.doubt.parts` and Whisper's
English normaliser. Dangerous errors as in extract/evaluate.py; unmarked: values that are wrong though their
confidence is over 0.6, the limit below which a word of safety is to be checked.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import jiwer
from whisper_normalizer.english import EnglishTextNormalizer

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from corpus import LEVELS, corpus  # noqa: E402
from reliability import judged  # noqa: E402

from dictate.doubt import parts  # noqa: E402
from dictate.hear import transcribe  # noqa: E402
from extract.evaluate import score  # noqa: E402
from extract.reader import Reader  # noqa: E402

normal = EnglishTextNormalizer()
MARKED = 0.6


def plain(text: str) -> str:
    """A text as it is compared."""
    return normal(" ".join(part for word in text.split() for part in parts(word)).replace("metre", "metres"))


def main() -> None:
    """Hear, read, and print a row for each level."""
    asked = argparse.ArgumentParser(description="Hearing and reading under suction noise.")
    asked.add_argument("--half", choices=("tune", "report"), default="report")
    asked.add_argument("--model", default="base")
    asked.add_argument("--most", type=int, default=99, help="dictations heard at each level")
    args = asked.parse_args()
    reader, spoken = Reader(), corpus(args.half)[: args.most]
    print(f"{'speech over noise':>18}{'word errors':>12}{'F1':>7}{'dangerous':>10}", end="")
    print(f"{'values':>8}{'wrong':>7}{'unmarked':>9}{'over 0.9':>9}{'of them right':>14}")
    for level in LEVELS:
        heard = {one.name: transcribe(one.at(level), model=args.model) for one in spoken}
        visits = {name: reader.read(words) for name, words in heard.items()}
        gold = [one.gold for one in spoken]
        result = score(gold, {name: [v.plain() for v in found] for name, found in visits.items()})
        errors = jiwer.wer([plain(g["text"]) for g in gold], [plain(heard[g["id"]].text) for g in gold])
        values = [pair for g in gold for pair in judged(visits[g["id"]], g["visits"])]
        wrong = [value for value, right in values if not right]
        sure = [right for value, right in values if value.confidence > 0.9]
        unmarked = sum(value.confidence > MARKED for value in wrong)
        name = "clean" if level is None else f"{level:.0f} dB"
        print(f"{name:>18}{errors:12.3f}{result.total.f1:7.3f}{sum(result.dangers.values()):10}", end="")
        share = f"{sum(sure) / len(sure):.3f}" if sure else "-"
        print(f"{len(values):8}{len(wrong):7}{unmarked:9}{len(sure):9}{share:>14}", flush=True)


if __name__ == "__main__":
    main()
