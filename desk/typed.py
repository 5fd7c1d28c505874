"""What a person types for a value: checked against the field, put into the record's own form."""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

from desk import wording
from desk.address import Place, place_of_field
from extract.measures import MM_PER
from shared.errors import BadInput

_UNITS = {
    **dict.fromkeys(("", "mm", "mms", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("cm", "cms", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("in", "ins", "inch", "inches", '"', "″", "′′", "”", "''"), "inch"),
}
_LENGTH = re.compile(
    r"(?:(?P<whole>\d{1,4}(?:[.,]\d{1,4})?)(?![\d/]))?(?:[\s-]*(?P<top>\d{1,3})\s*/\s*(?P<bottom>\d{1,3}))?"
    r"\s*(?P<unit>[^\d\s.,/-]{0,12})\.?"
)
_LONGEST_MM = 500
_LONGEST_WORDS = 60
_RANGES = {
    "ears.before.occlusion_percent": (0, 100, "a percentage from 0 to 100"),
    "background.softener.days": (0, 400, "a number of days from 0 to 400"),
    "plan.recall.number": (1, 400, "a number from 1 to 400"),
}
_LENGTHS = ("ears.removed_mm", "removed_total_mm")


def value(place: Place, given: str | int) -> tuple[str | int, str]:
    """The value, and its certainty: a trailing "?" makes it possible rather than stated.

    Closed lists take their values in any spelling of blanks and capitals, and as they are shown; lengths are
    taken in any unit. Raises BadInput, naming the field and what it takes.
    """
    text = unicodedata.normalize("NFC", str(given)).strip()
    if place.field in _LENGTHS:
        return millimetres(text, place.path), "stated"
    if place.takes is int:
        return _number(text, place), "stated"
    if not place.closed:
        if not text or len(text) > _LONGEST_WORDS or not text.isprintable():
            raise BadInput(f"takes 1 to {_LONGEST_WORDS} characters on one line", where=place.path)
        return text, "stated"
    doubtful, wanted = text.endswith("?"), _plain(text.removesuffix("?"))
    shown = {_plain(word): listed for listed, word in shown_values(place.field).items()}
    found = wanted if wanted in place.closed else shown.get(wanted)
    if found not in place.closed:
        raise BadInput(
            f"{text!r} is not a value of this field",
            where=place.path,
            remedy=f"It takes: {', '.join(place.closed)}.",
        )
    return found, "possible" if doubtful else "stated"


def shown_values(field: str) -> dict[str, str]:
    """The words in which each value of a closed list is shown, for choosing from. field: without numbers."""
    short = field.removeprefix("ears.")
    for key in (short, short.rpartition(".")[0]):
        if key in wording.VALUES_BY_FIELD:
            own = wording.VALUES_BY_FIELD[key]
            break
    else:
        own = {}
    return {
        v: own.get(v) or wording.VALUES.get(v) or v.replace("_", " ") for v in place_of_field(field).closed
    }


def millimetres(text: str, where: str = "length") -> int:
    """A length typed in any unit as whole millimetres, half up: "18", "1.8 cm", "3/4 in", "1 1/2 inches".

    No unit means millimetres. Raises BadInput.
    """
    typed = unicodedata.normalize("NFKC", re.sub(r"(\d)\s*([½¼¾⅛⅜⅝⅞])", r"\1 \2", text)).replace("⁄", "/")
    found = _LENGTH.fullmatch(typed.strip().lower())
    unit = _UNITS.get(found["unit"]) if found else None
    if found is None or unit is None or not (found["whole"] or found["top"]):
        raise BadInput(
            f"{text!r} is not a length",
            where=where,
            remedy="Type a number with mm, cm or in, e.g. 18 mm or 3/4 in.",
        )
    number = Fraction((found["whole"] or "0").replace(",", "."))
    if found["top"]:
        if int(found["bottom"]) == 0:
            raise BadInput(f"{text!r} is not a length", where=where, remedy="Nothing can be divided by 0.")
        number += Fraction(int(found["top"]), int(found["bottom"]))
    mm = int(number * MM_PER[unit] + Fraction(1, 2))
    if not 0 < mm <= _LONGEST_MM:
        raise BadInput(f"{mm} mm cannot be", where=where, remedy=f"A length is 1 to {_LONGEST_MM} mm.")
    return mm


def _number(text: str, place: Place) -> int:
    least, most, wanted = _RANGES.get(place.field, (0, 1000, "a whole number"))
    bare = text.removesuffix("%").strip() if place.field.endswith("percent") else text
    if not bare.isascii() or not bare.isdigit() or not least <= int(bare) <= most:
        raise BadInput(f"{text!r} is not {wanted}", where=place.path, remedy=f"Type {wanted}.")
    return int(bare)


def _plain(word: str) -> str:
    return "_".join(word.strip().lower().replace("-", " ").replace("_", " ").split())
