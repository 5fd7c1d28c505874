"""Draw the pictures in the README: `visit.svg`, the record of the demonstration's sample, and `explain.svg`.

python docs/picture.py
"""

from __future__ import annotations

import re
from pathlib import Path

from rich.console import Console, RenderableType

from desk import listing, sources, work
from desk.explained import explained
from desk.sheet import visit_sheet
from extract.build import Builder
from extract.explain import explain
from extract.reader import Reader
from shared.store import StoredVisit
from shared.transcript import Transcript

HERE = Path(__file__).parent

SAID = (
    "Left ear. Soft, honey coloured wax. My last patient had a perforated drum, this one doesn't. "
    "Suction tube. That came out in one piece, fourteen, no, sixteen millimetres. "
    "Normally I'd use a hook there. The drum is possibly dull. No bleeding."
)


def main() -> None:
    """Write the pictures beside this file."""
    reader = Reader()
    sample = HERE.parent / "sample_audio" / work.DEMO
    (visit,) = reader.read(sources.read(str(sample), model="base").transcript)
    stored = StoredVisit(1, sample.name, 1, "2026-01-05T09:30:00Z", "draft", 1, 1, visit)
    draw("visit", "earside demo", visit_sheet(visit, title=listing.title(stored), status="draft"))
    doc = reader.annotate(SAID)
    visits = Builder(doc, Transcript.from_text(SAID)).visits()
    draw("explain", "earside explain note.txt", explained(explain(doc, visits)))


def draw(name: str, title: str, shown: RenderableType) -> None:
    """Write what a terminal would show as NAME.svg."""
    with Path("/dev/null").open("w") as nowhere:
        console = Console(record=True, width=98, file=nowhere, force_terminal=True)
        console.print(shown)
    drawn = console.export_svg(title=title, unique_id=name)
    # The font is the reader's own: a picture fetches nothing.
    drawn = re.sub(r"@font-face \{.*?\}", "", drawn, flags=re.DOTALL).replace("Fira Code", "monospace")
    drawn = re.sub(r"<!--.*?-->|<circle [^>]*/>", "", drawn).replace("<svg ", '<svg xml:space="preserve" ', 1)
    (HERE / f"{name}.svg").write_text(drawn, encoding="utf-8")


if __name__ == "__main__":
    main()
