"""How fast words become records, against medspaCy on the same text in the same run.

    python tests/benchmarks/bench_extract.py [--words 20000] [--long 100000]

The text is our own sample dictations (sample_audio/*.txt), varied. medspaCy 1.3.1 (sentence splitter, target
matcher with 60 rules, ConText) runs in an environment of its own, made in a temporary folder by the first run
of this command; it needs the package index for that, and about 600 MB. Both read one dictation at a time, on
one core; times are processor time, so that other work on the machine counts little. The samples are few and
come back again and again, which helps a reader that remembers words it has met (ours does).
"""

from __future__ import annotations

import argparse
import json
import random
import re
import resource
import subprocess
import sys
import tempfile
import time
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = sorted((ROOT / "sample_audio").glob("*.txt"))
PEER = ("medspacy==1.3.1", "numpy<2", "setuptools<81")

SWAPS = (
    ("right", "left"), ("hard", "firm"), ("soft", "sticky"), ("brown", "yellow"), ("black", "grey"),
    ("six months", "nine months"), ("eighteen", "twelve"), ("intact", "dull"), ("she", "he"), ("her", "his"),
)  # fmt: skip

PEER_CODE = r"""
import json, resource, sys, time
began = time.process_time()
import spacy, medspacy
from medspacy.target_matcher import TargetRule
imported = time.process_time()
given = json.load(open(sys.argv[1]))
nlp = spacy.blank("en")
nlp.add_pipe("medspacy_pyrush")
nlp.add_pipe("medspacy_target_matcher").add([TargetRule(term, "FINDING") for term in given["terms"]])
nlp.add_pipe("medspacy_context")
made = time.process_time()
found = sum(len(nlp(text).ents) for text in given["warm"])
start = time.process_time()
found = sum(len(nlp(text).ents) for text in given["texts"])
read = time.process_time() - start
print(json.dumps({"import": imported - began, "start": made - imported, "read": read, "found": found,
                  "peak": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))
"""

TERMS = tuple(
    """wax, cerumen, canal, drum, eardrum, tympanic membrane, perforation, perforated, retracted, intact,
    healthy, inflamed, dull, scarred, grommet, hard, soft, dry, sticky, crumbly, brown, dark brown,
    black, yellow, grey, orange, blocked, hearing loss, tinnitus, itch, pain, discharge, dizziness,
    bleeding, cough, abrasion, suction, sucker, zoellner, probe, jobson horne, crocodile forceps,
    hook, curette, speculum, microscope, endoscope, otoscope, irrigation, olive oil, warfarin,
    diabetes, hearing aid, mastoid, consent, leaflet, keep dry, cotton buds, referral, follow up""".replace(
        ",\n   ", ","
    ).split(", ")
)


def dictations(words: int, seed: int = 1) -> list[str]:
    """Ordinary dictations, `words` words or a few more: our samples with sides and colours exchanged."""
    chosen = random.Random(seed)
    samples = [file.read_text(encoding="utf-8") for file in SAMPLES]
    out: list[str] = []
    made = 0
    while made < words:
        text = chosen.choice(samples)
        for pair in chosen.sample(SWAPS, 4):
            text = _exchanged(text, *pair)
        out.append(text)
        made += len(text.split())
    return out


def _exchanged(text: str, one: str, other: str) -> str:
    return re.sub(rf"\b({one}|{other})\b", lambda m: other if m[0] == one else one, text)


def peak_mb() -> float:
    """Most memory this process has held, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def ours(texts: list[str], long: str) -> dict[str, float]:
    """Read the texts, then one long one; seconds of processor time and MB."""
    began = time.process_time()
    sys.path.insert(0, str(ROOT))
    from extract.reader import Reader  # noqa: PLC0415
    from shared.transcript import Transcript  # noqa: PLC0415

    imported = time.process_time()
    reader = Reader()
    reader.read(Transcript.from_text(texts[0]))
    made = time.process_time()
    found = sum(len(reader.read(Transcript.from_text(text))) for text in texts)
    read = time.process_time() - made
    before = peak_mb()
    start = time.process_time()
    visits = len(reader.read(Transcript.from_text(long)))
    return {
        "import": imported - began, "start": made - imported, "read": read, "found": found, "peak": before,
        "long": time.process_time() - start, "long_peak": peak_mb(), "long_visits": visits,
    }  # fmt: skip


def peer(texts: list[str], folder: Path) -> dict[str, float]:
    """The same texts through medspaCy, its environment made in `folder` if it is not there yet."""
    python = folder / "bin" / "python"
    if not python.exists():
        venv.create(folder, with_pip=True)
        subprocess.run([python, "-m", "pip", "install", "-q", *PEER], check=True, stderr=subprocess.DEVNULL)
    with tempfile.TemporaryDirectory() as place:
        given = Path(place) / "given.json"
        given.write_text(json.dumps({"terms": TERMS, "warm": texts[:3], "texts": texts}), encoding="utf-8")
        # It prints what it reads to standard error.
        done = subprocess.run(
            [python, "-c", PEER_CODE, given],
            check=True,
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
    result: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return result


def main() -> None:
    """Run both and print the table."""
    asked = argparse.ArgumentParser(description="Words per second of Earside's reader and of medspaCy.")
    asked.add_argument("--words", type=int, default=20_000)
    asked.add_argument("--long", type=int, default=100_000)
    asked.add_argument(
        "--peer-folder",
        type=Path,
        default=Path(tempfile.gettempdir()) / "earside-bench-medspacy",
        help="where medspaCy's own environment is, or is to be made",
    )
    args = asked.parse_args()
    texts = dictations(args.words)
    words = sum(len(text.split()) for text in texts)
    long = "\n\nNext patient. ".join(dictations(args.long, seed=2))
    us, them = ours(texts, long), peer(texts, args.peer_folder)
    print(f"{words} words in {len(texts)} dictations; one core, processor time")
    print(f"{'':34}{'Earside':>12}{'medspaCy':>12}{'ratio':>8}")
    rows = [
        ("words per second", words / us["read"], words / them["read"]),
        ("seconds to make the pipeline", us["start"], them["start"]),
        ("seconds to import", us["import"], them["import"]),
        ("peak memory, MB", us["peak"], them["peak"]),
    ]
    for name, mine, theirs in rows:
        print(f"{name:34}{mine:12,.2f}{theirs:12,.2f}{mine / theirs:8.2f}")
    size, more = len(long.split()), us["long_peak"] - us["peak"]
    print(f"one text of {size} words: {size / us['long']:,.0f} a second, {us['long_visits']:.0f} visits,")
    print(f"peak memory {us['long_peak']:,.0f} MB, {more:,.0f} MB more than for the dictations one by one")


if __name__ == "__main__":
    main()
