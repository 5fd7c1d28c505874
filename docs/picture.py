"""Draw `visit.svg`, the picture in the README: the record of the demonstration's sample.

python docs/picture.py
"""

from __future__ import annotations

import re
from pathlib import Path

from rich.console import Console

from desk import listing, sources, work
from desk.sheet import visit_sheet
from extract.reader import Reader
from shared.store import StoredVisit


def main() -> None:
    """Write the picture beside this file."""
    sample = Path(__file__).parent.parent / "sample_audio" / work.DEMO
    reading = sources.read(str(sample), model="base")
    (visit,) = Reader().read(reading.transcript)
    stored = StoredVisit(1, sample.name, 1, "2026-01-05T09:30:00Z", "draft", 1, 1, visit)
    with Path("/dev/null").open("w") as nowhere:
        console = Console(record=True, width=98, file=nowhere, force_terminal=True)
        console.print(visit_sheet(visit, title=listing.title(stored), status="draft"))
    drawn = console.export_svg(title="earside demo", unique_id="visit")
    # The font is the reader's own: a picture fetches nothing.
    drawn = re.sub(r"@font-face \{.*?\}", "", drawn, flags=re.DOTALL).replace("Fira Code", "monospace")
    drawn = re.sub(r"<!--.*?-->|<circle [^>]*/>", "", drawn).replace("<svg ", '<svg xml:space="preserve" ', 1)
    Path(__file__).with_name("visit.svg").write_text(drawn, encoding="utf-8")


if __name__ == "__main__":
    main()
