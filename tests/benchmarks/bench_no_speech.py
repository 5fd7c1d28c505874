"""What is recorded where nobody dictates: silence, suction, music, breathing, talk behind a wall.

    python tests/benchmarks/bench_no_speech.py [--minutes 36]

The talk behind the wall is the sample recordings: as if a colleague dictated next door, the hardest case. A value
counts as marked if its confidence is under desk.checks.UNCLEAR, so that the clinician is asked to check it.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from no_speech import minutes  # noqa: E402

from desk.checks import UNCLEAR  # noqa: E402
from dictate import read  # noqa: E402
from dictate.hear import transcribe  # noqa: E402
from extract.reader import Reader  # noqa: E402

TALK = ("both_ears.opus", "history_and_referral.m4a", "right_ear.opus", "teaching_session.opus")


def main() -> None:
    """Hear it all and print what came of each sort."""
    asked = argparse.ArgumentParser(description="What is recorded where nobody dictates.")
    asked.add_argument("--minutes", type=int, default=36)
    reader, rows = Reader(), {}
    talk = [r.floats(0, len(r.samples)) for r in (read.read(ROOT / "sample_audio" / name) for name in TALK)]
    for what, sound in minutes(asked.parse_args().minutes, talk):
        heard = transcribe(sound)
        values = [v for visit in reader.read(heard) for _, v in visit.values()]
        unmarked = [v for v in values if v.confidence >= UNCLEAR]
        row = rows.setdefault(what, [0, 0.0, 0, 0, 0])
        for i, more in enumerate((1, heard.speech or 0.0, len(heard.words), len(values), len(unmarked))):
            row[i] += more
        print(f"{what}: {len(heard.words)} words, {len(values)} values, {len(unmarked)} unmarked", flush=True)
    print(f"\n{'sound':28}{'minutes':>8}{'taken for speech, s':>21}{'words':>7}{'values':>8}{'unmarked':>10}")
    for what, row in rows.items():
        print(f"{what:28}{row[0]:8}{row[1]:21.0f}{row[2]:7}{row[3]:8}{row[4]:10}")


if __name__ == "__main__":
    main()
