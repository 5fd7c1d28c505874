"""How well dictation under suction noise is heard and read: by level and sort of noise, and by model.

    python tests/benchmarks/bench_noise.py [--models base,tiny.en] [--most 9] [--of VERSION] [--write]

The sound is that of corpus.py; speak it first. Its "report" half, 9 dictations by three voices, is heard clean and
at four levels over steady and over gurgling suction by every model, its "tune" half by the first model alone, for
the reliability of the values. What was heard is kept (heard.py), so the command can be stopped and goes on where it
was; about 45 minutes of one processor in all. --write puts the tables into docs/hearing.md and draws its pictures.

Words are compared after `dictate.doubt.parts` and Whisper's English normaliser; terms are the words that
`extract/repair.py` takes for the trade's. Dangerous errors: extract/evaluate.py, dangers.py; shares: Wilson's interval.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import jiwer
from whisper_normalizer.english import EnglishTextNormalizer

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from corpus import LEVELS, Spoken, corpus  # noqa: E402
from dangers import Danger, chances, dangers  # noqa: E402
from heard import Setup, heard, version  # noqa: E402
from reliability import BINS, Judged, judged, shared_out, wilson  # noqa: E402

from desk.checks import checks  # noqa: E402
from dictate.doubt import parts  # noqa: E402
from extract.evaluate import DANGERS, Count, score  # noqa: E402
from extract.reader import Reader  # noqa: E402
from extract.sounds_file import load_sounds  # noqa: E402
from shared import vocabulary  # noqa: E402

DOC = ROOT / "docs" / "hearing.md"
SORTS = ("steady", "gurgling")
normal = EnglishTextNormalizer()


@dataclass(frozen=True)
class Outcome:
    """One dictation as it was heard and read. checks: how many the clinician is asked to look at."""

    level: float | None
    noise: str
    model: str
    said: str
    found: str
    count: Count
    dangers: tuple[Danger, ...]
    chances: Counter[str]
    values: tuple[Judged, ...]
    checks: int


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


def outcomes(spoken: Sequence[Spoken], setup: Setup, reader: Reader) -> Iterator[Outcome]:
    """Every dictation, clean and at every level under both sorts of noise."""
    for number, one in enumerate(spoken, 1):
        for level in LEVELS:
            for noise in SORTS if level is not None else ("",):
                text = heard(replace(one, noise=noise), level, setup)
                visits = reader.read(text)
                yield Outcome(
                    level,
                    noise,
                    setup.name,
                    plain(one.gold["text"]),
                    plain(text.text),
                    score([one.gold], {one.name: [v.plain() for v in visits]}).total,
                    tuple(dangers(one.gold, text, visits, reader)),
                    chances(one.gold, visits),
                    tuple(judged(visits, one.gold["visits"])),
                    sum(len(checks(v)) for v in visits),
                )
        print(f"{setup.name}: {number} of {len(spoken)} dictations", file=sys.stderr, flush=True)


def table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table in Markdown."""
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join(f"| {' | '.join(map(str, line))} |" for line in lines)


def share(of: int, among: int) -> str:
    """A share with its interval, in words for a table."""
    return "{} of {} ({:.2f} to {:.2f})".format(of, among, *wilson(of, among)) if among else "0 of 0"


def named(level: float | None) -> str:
    """A level as the tables have it."""
    return "clean" if level is None else f"{level} dB"


def measures(some: Sequence[Outcome], terms: frozenset[str]) -> tuple[float, float, Count]:
    """Word error rate, recall of the trade's words, and the values."""
    said, found = [o.said for o in some], [o.found for o in some]
    values = Count(*(sum(getattr(o.count, part) for o in some) for part in ("right", "extra", "missed")))
    return jiwer.wer(said, found), term_recall(said, found, terms), values


def by_level(every: Sequence[Outcome], terms: frozenset[str]) -> str:
    """Words and values, by model, level and noise."""
    rows = []
    for key in dict.fromkeys((o.model, o.level, o.noise) for o in every):
        some = [o for o in every if (o.model, o.level, o.noise) == key]
        errors, recall, values = measures(some, terms)
        scores = (errors, recall, values.precision, values.recall, values.f1)
        rows.append([key[0], named(key[1]), key[2] or "-", *(f"{s:.3f}" for s in scores)])
    return table(
        ["model", "speech over noise", "suction", "word errors", "term recall", "precision", "recall", "F1"],
        rows,
    )


def by_danger(every: Sequence[Outcome]) -> str:
    """Dangerous errors by kind among those there could be; how many carry no mark, and what marking costs."""
    rows = []
    for key in dict.fromkeys((o.model, o.level) for o in every):
        some = [o for o in every if (o.model, o.level) == key]
        made = [d for o in some for d in o.dangers]
        could = sum((o.chances for o in some), Counter[str]())
        kinds = [share(sum(d.kind == kind for d in made), could[kind]) for kind in DANGERS]
        unmarked = [d for d in made if not d.marked]
        rows.append(
            [
                key[0],
                named(key[1]),
                *kinds,
                share(len(unmarked), len(made)),
                sum(not d.waits for d in unmarked),
                f"{sum(o.checks for o in some) / len(some):.1f}",
            ]
        )
    heads = ["model", "speech over noise", *DANGERS, "of all these not marked", "and signing does not wait"]
    return table([*heads, "checks a dictation"], rows)


def by_confidence(halves: dict[str, list[Judged]]) -> str:
    """How many values are right, by the confidence they were given."""
    rows = []
    for i, low in enumerate(BINS[:-1]):
        row = [f"over {low:g} to {BINS[i + 1]:g}"]
        for values in halves.values():
            mean, right, of = shared_out(values)[i]
            row += [f"{mean:.3f}", f"{right / of:.3f}: {share(right, of)}"] if of else ["-", "-"]
        rows.append(row)
    heads = [head for half in halves for head in (f"{half}: mean confidence", "right")]
    return table(["confidence", *heads], rows)


def main() -> None:
    """Hear, read, print the tables, and write them down if asked."""
    asked = argparse.ArgumentParser(description="Hearing and reading under suction noise.")
    asked.add_argument("--models", default="base,tiny.en")
    asked.add_argument("--most", type=int, default=99, help="dictations of each half")
    asked.add_argument("--of", default="", help="the version of the hearing whose kept transcripts are read")
    asked.add_argument("--first-pass", action="store_true", help="also without the second pass")
    asked.add_argument(
        "--write", action="store_true", help=f"into {DOC.relative_to(ROOT)}, with its pictures"
    )
    args = asked.parse_args()
    passes = (True, False) if args.first_pass else (True,)
    setups = [Setup(model, careful, args.of) for careful in passes for model in args.models.split(",")]
    reader, terms = Reader(), trade_words()
    tuned = list(outcomes(corpus("tune")[: args.most], setups[0], reader))
    every = [o for setup in setups for o in outcomes(corpus("report")[: args.most], setup, reader)]
    halves = {
        "tune": [pair for o in tuned for pair in o.values],
        "report": [pair for o in every if o.model == setups[0].name for pair in o.values],
    }
    told = {
        "words": by_level(every, terms),
        "dangers": by_danger(every),
        "confidence": by_confidence(halves),
    }
    for name, text in told.items():
        print(f"{name}\n\n{text}\n")
    print(f"hearing {args.of or version()}")
    if args.write:
        import hearing_plots  # noqa: PLC0415  (others take this module's functions without its pictures)

        write(told)
        points = {}
        for key in dict.fromkeys((o.model, o.level) for o in every):
            errors, recall, values = measures([o for o in every if (o.model, o.level) == key], terms)
            points[key] = {"word errors": errors, "term recall": recall, "F1 of values": values.f1}
        hearing_plots.levels(points, ROOT / "docs" / "hearing-noise.svg")
        hearing_plots.reliability(
            {h: shared_out(v) for h, v in halves.items()}, ROOT / "docs" / "hearing-sure.svg"
        )


def write(told: dict[str, str], doc: Path = DOC) -> None:
    """Put each table in its place: between two comments with its name."""
    text = doc.read_text(encoding="utf-8")
    for name, rows in told.items():
        place = re.compile(rf"(<!-- {name} -->\n).*?(\n<!-- end -->)", re.S)
        text = place.sub(lambda m, rows=rows: m[1] + rows + m[2], text)
    doc.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
