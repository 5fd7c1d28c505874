"""What a measure found in the text is of: an instrument, a share of the canal, or a further piece."""

from __future__ import annotations

import itertools

from extract.measures import MM_PER
from extract.mentions import Mention
from shared.vocabulary import word_set

_IN = word_set("mentions", "in_place")

_FURTHER = frozenset({"one", "second", "third", "other", "another", "then", "next"})
_CARRIED = 30
"""Words over which a unit carries to a further piece."""

_PIECE_LEADS = word_set("mentions", "piece_leads")
_ROUGH = word_set("mentions", "rough")
_WORKED_WITH = word_set("mentions", "worked_with")
_OF_ITS_TUBE = 6
"""Words between a bore and the tube that it is of, at most."""
_IS = frozenset({"'s", "is", "was", "then", ","})
_FILLED_UP = frozenset({"filled", "full", "blocked", "occluded", "obstructed"})
_ANNOUNCES = word_set("mentions", "announces")
_MILLIMETRES = {("mm",), ("mms",), ("mil",), ("mils",), ("millimetres",)}
_BETWEEN_PIECES = frozenset({",", "and", "a", "then", "an"})


def is_figure_of_speech(c: Mention, found: list[Mention]) -> bool:
    """Whether a measure is part of a phrase ("call it a day")."""
    return any(
        f.start < c.start
        and c.end <= f.end
        and (f.has("tolerance", "noise", "history") or f.readings.get("occlusion") == "partial")
        for f in found
    )


def settle_sizes(row: list[str], counted: list[Mention], found: list[Mention]) -> None:
    """A length that names an instrument's size: "five millimetre speculum", "speculum, 4 mil"."""
    for c in counted:
        if c.kind != "length" or c.measure is None or c.measure.unit != "mm" or c.measure.value > 12:
            continue
        for f in found:
            sized = f.readings.get("instrument") in (
                "speculum",
                "suction_tube",
                "fine_suction_tube",
                "endoscope",
                "curette",
            )
            gap = c.start - f.end
            the = row[c.start - 1] == "the" and 0 <= gap <= 6
            if sized and (
                f.start == c.end
                or the
                or (
                    f.readings["instrument"] == "speculum"
                    and 0 <= gap <= 2
                    and _IN.issuperset(row[f.end : c.start])
                )
            ):
                text = f"{c.measure.whole}mm"
                c.measure.kind, c.measure.text = "size", text
                c.kind, c.value, c.readings = "size", text, {"size": text}
                c.linked = [f]
                break


def tubes_by_their_bore(row: list[str], counted: list[Mention], found: list[Mention]) -> list[Mention]:
    """Suction tubes named by their bore alone: "two passes with the sixteen gauge". Common practice, no source."""
    named = {i for f in found if f.has("instrument") for i in range(f.start - 1, f.end + 1)}
    tubes = []
    for c in counted:
        if c.kind == "size" and c.value.endswith("G") and not named & {c.start, c.end}:
            led = row[max(c.start - 2, 0) : c.start]
            near = any(f.has("instrument") and abs(f.start - c.start) < _OF_ITS_TUBE for f in found)
            if not near and len(led) == 2 and led[0] in _WORKED_WITH and led[1] in ("a", "an", "my", "the"):
                tubes.append(Mention(c.start, c.end, {"instrument": "suction_tube"}))
    return tubes


def settle_percents(row: list[str], counted: list[Mention]) -> None:
    """A bare number that carries on a percentage: "the right at thirty percent, the left at twenty"."""
    last: Mention | None = None
    for c in counted:
        if c.kind == "percent":
            last = c
        elif c.kind == "bare" and last is not None and c.measure is not None and 1 < c.measure.value <= 100:
            led = row[c.start - 1] in ("at", "around", "about", "maybe")
            closed = row[c.end : c.end + 1] in ([], ["."], [","])
            led = led or (row[c.start - 1] == "," and row[c.start - 2] in ("left", "right"))
            sided = row[c.end : c.end + 2] in (["on", "the"], ["in", "the"])
            if c.start - last.end < 8 and (
                (led and closed) or (sided and {"left", "right"} & set(row[c.end : c.end + 3]))
            ):
                c.measure.kind, c.kind, c.readings = "percent", "percent", {"percent": ""}


def settle_shares(row: list[str], counted: list[Mention], found: list[Mention]) -> None:
    """A bare part that tells how full the canal is: "filled, some three quarters", "about a third, soft" beside
    what the wax is like; a part of an inch is a length by then."""
    for c in counted:
        if c.kind != "bare" or c.measure is None or not 0 < c.measure.value < 1:
            continue
        at = c.start
        while at and row[at - 1] in _ROUGH:
            at -= 1
        before = row[max(at - 2, 0) : at]
        closes = row[c.end : c.end + 1] in ([], [","], ["."], [";"])
        stops = [i for i, w in enumerate(row) if w in (".", "?", "!")]
        low = max((i for i in stops if i < at), default=-1)
        high = min((i for i in stops if i >= c.end), default=len(row))
        said = [o for o in found if low < o.start < high and o.has("consistency", "colour")]
        filled = before[-1:] == [","] and before[:1] and before[0] in _FILLED_UP
        alone = before[-1:] in ([], [","], ["."], [":"]) and (said or filled)
        if closes and (alone or (_names_an_ear(row, at) and (said or at < c.start))):
            c.measure.kind, c.measure.value = "percent", c.measure.value * 100
            c.kind, c.readings = "percent", {"percent": ""}


def _names_an_ear(row: list[str], at: int) -> bool:
    """Whether what stands before word `at` names an ear, so that a share is of its canal: "left about a third"; in
    "and left about a third" it may be what remained."""
    before = row[max(at - 4, 0) : at]
    while before and before[-1] in _IS:
        before.pop()
    opens = before[-2:-1] in ([], ["."], [";"], ["the"])
    return before[-1:] == ["ear"] or (opens and before[-1:] in (["left"], ["right"], ["other"]))


def settle_pieces(row: list[str], counted: list[Mention], found: list[Mention]) -> None:
    """A bare number that measures a further piece: "twelve mil. Next one's eight", "and another of seven"."""
    last: Mention | None = None
    for c, following in itertools.pairwise(c for c in counted if c.kind != "bare" or row[c.start] != "one"):
        if _leads_to(row, c, following) and c.measure is not None:
            c.measure.kind, c.measure.unit = "length", "mm"
            c.kind, c.readings = "length", {"length": ""}
    _settle_parts_of_inches(row, counted)
    _settle_unit_after(row, counted)
    for c in counted:
        if c.kind == "length" and c.measure is not None and c.measure.unit == "mm":
            last = c
        elif c.kind == "bare" and last is not None and c.measure is not None and 1 <= c.measure.value <= 45:
            lead = row[max(c.start - 6, last.end) : c.start]
            after = row[c.end : c.end + 1]
            if row[c.end : c.end + 1] in (["altogether"], ["combined"], ["total"]) or row[
                c.end : c.end + 2
            ] in (["in", "total"], ["all", "told"]):
                c.measure.kind, c.measure.unit = "length", "mm"
                c.kind, c.readings = "length", {"length": ""}
                continue
            if row[c.start] == "one":
                continue
            joined = row[last.end : c.start] in (["and"], ["and", "then"], [",", "then"]) and after in (
                [],
                ["."],
                [","],
            )
            one_more = ["one", "more"] in [lead[i : i + 2] for i in range(len(lead))]
            named = (
                one_more
                or {"another", "next", "second", "third", "other"} & set(lead)
                or (
                    ("one" in lead or "from" in lead)
                    and {"left", "right"} & set(row[max(c.start - 7, 0) : c.start])
                )
            )
            led = named and bool(lead) and lead[-1] in _PIECE_LEADS
            near = c.start - last.end < _CARRIED and after in ([], ["."], [","])
            sized = any(
                o.kind == "size" and 0 <= o.start - c.end < 6 for o in counted
            )  # "sixteen, no, 18 gauge"
            if joined or (near and not sized and (led or _only_announced(lead))):
                c.measure.kind, c.measure.unit = "length", "mm"
                c.kind, c.readings = "length", {"length": ""}
                last = c


def _only_announced(lead: list[str]) -> bool:
    """Whether nothing but the next piece is named since the last stop ("second, eleven", "then a wee bit, four")."""
    since = max((i for i, w in enumerate(lead) if w == "."), default=-1) + 1
    said = lead[since:]
    return bool(_FURTHER & set(said)) and all(w in _ANNOUNCES for w in said) and said[-1] != "the"


def _settle_unit_after(row: list[str], counted: list[Mention]) -> None:
    """Bare numbers whose unit is told after them all: "six, four, and a three, all in mils"."""
    for i, word in enumerate(row):
        if word != "in" or tuple(row[i + 1 : i + 2]) not in _MILLIMETRES:
            continue
        at = i - (row[i - 1] == "all")
        for c in reversed([c for c in counted if c.end <= i]):
            alone = c.kind == "bare" and c.measure is not None and 1 <= c.measure.value <= 45
            if not alone or c.measure is None or not _BETWEEN_PIECES.issuperset(row[c.end : at]):
                break
            c.measure.kind, c.measure.unit = "length", "mm"
            c.kind, c.readings, at = "length", {"length": ""}, c.start


def _settle_parts_of_inches(row: list[str], counted: list[Mention]) -> None:
    """A bare part that measures a further piece: "first piece half an inch, the second one a quarter"."""
    last: Mention | None = None
    for c in counted:
        if c.measure is None:
            continue
        if c.kind == "length":
            last = c if c.measure.unit == "inch" else None
        elif c.kind == "bare" and last is not None and 0 < c.measure.value < 1:
            lead = row[max(c.start - 6, last.end) : c.start]
            further = bool(_FURTHER & set(lead)) and lead[-1] in _PIECE_LEADS
            if further and c.start - last.end < _CARRIED and row[c.end : c.end + 1] in ([], ["."], [","]):
                c.measure.kind, c.measure.unit = "length", "inch"
                c.measure.value *= MM_PER["inch"]
                c.kind, c.readings, last = "length", {"length": ""}, c


def _leads_to(row: list[str], c: Mention, following: Mention) -> bool:
    """Whether a bare number is the first of two pieces whose unit comes with the second ("one of twelve and one
    of eight mil", "first ten, then six mil")."""
    between = row[c.end : following.start]
    return (
        c.kind == "bare"
        and following.kind == "length"
        and following.measure is not None
        and c.measure is not None
        and following.measure.unit == "mm"
        and 1 < c.measure.value <= 45
        and bool({"one", "first", "piece"} & set(row[max(c.start - 3, 0) : c.start]))
        and bool(_FURTHER & set(between))
        and _FURTHER.union(_PIECE_LEADS, (",", "and", "the")).issuperset(between)
    )


def belongs_to_percent(m: Mention, counted: list[Mention]) -> bool:
    """Whether "blocked" or "full" only completes a percentage."""
    return m.has("symptom", "occlusion") and any(
        c.kind == "percent" and c.end <= m.start <= c.end + 1 for c in counted
    )
