"""Papers as PDF, typeset by Typst: tagged, titled, in English, fonts inside (PDF/UA-1).

What is said reaches Typst as data and is never read as markup. The PDF of a letter has the sentences of the
DOCX, but the practice's template governs the DOCX alone.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, Literal

import typst

from shared.errors import EarsideError

Kind = Literal["record", "letter", "advice"]

FONTS = [
    "Noto Sans", "Noto Sans Arabic", "Noto Sans Hebrew", "Noto Sans Devanagari", "Noto Sans Bengali",
    "Noto Sans Gurmukhi", "Noto Sans Gujarati", "Noto Sans Tamil", "Noto Sans Thai", "Noto Sans Armenian",
    "Noto Sans Georgian", "Noto Sans Ethiopic",
]  # fmt: skip
"""The fonts that come with Earside, in the order of trial; for other scripts the computer's own are used."""

_HERE = Path(__file__).parent


@cache
def _fonts() -> typst.Fonts:
    return typst.Fonts(True, False, [str(_HERE / "fonts")])


def render(kind: Kind, data: dict[str, Any]) -> bytes:
    """A paper as PDF. data: what its template in `typst/` shows. Raises EarsideError if it cannot be set, as
    when no font on this computer can write a name."""
    try:
        made = typst.Compiler(
            root=_HERE / "typst",
            font_paths=_fonts(),
            sys_inputs={"data": json.dumps({"fonts": FONTS, **data})},
        ).compile(
            _HERE / "typst" / f"{kind}.typ",
            format="pdf",
            pdf_standards="ua-1",
            timestamp=datetime.now(UTC).replace(microsecond=0),
        )
    except typst.TypstError as fault:
        missing = "could not be displayed" in fault.message or "not display" in fault.message
        raise EarsideError(
            "no font here can write one of the names or words" if missing else "could not be typeset",
            where=f"{kind} of visit {data['number']}",
            remedy="Install a font for that script, or write it in other letters."
            if missing
            else "Run again with EARSIDE_DEBUG=1 for details.",
        ) from fault
    assert isinstance(made, bytes)
    return made
