"""Lengths of what came out: which of the lengths said are removed pieces, and which are the same piece twice."""

from __future__ import annotations

from dataclasses import dataclass

from extract.measures import PIECES, number_of_pieces
from extract.mentions import Mention
from extract.numbers import number_at
from extract.words import MARKS, Words
from shared.vocabulary import word_set

_AWAY = word_set("lengths", "away")
_AWAY_AFTER = word_set("lengths", "away_after")
_TOTAL = word_set("lengths", "total")
_HEADING = 6
"""Words of a sentence that only says of what the length in the next is."""
_ANOTHER = word_set("lengths", "another")
_LODGED = word_set("lengths", "lodged")
_BOUNDS = word_set("lengths", "bounds")
_REFINES = word_set("lengths", "refines")
_CLOSE = 6
"""Words between two measures of one piece."""
_MOST = 9
"""Pieces that are counted one by one."""
_SIZED = frozenset({"speculum", "endoscope", "suction_tube", "fine_suction_tube", "curette", "wax_hook"})


@dataclass(slots=True)
class Piece:
    """One removed piece: its length in whole millimetres, where it was said, its ears, and a second measure
    of the same piece in other units (the check)."""

    mention: Mention
    mm: int
    ears: tuple[int, ...]
    check: Mention | None = None


def removed_pieces(words: Words, live: list[Mention]) -> tuple[list[Piece], Piece | None]:
    """The pieces in the order said, and the length said of both ears together."""
    pieces: list[Piece] = []
    total: Piece | None = None
    previous: Mention | None = None
    for m in [m for m in live if m.kind == "length" and m.measure is not None and m.polarity != "denied"]:
        if m.measure is None or m.measure.value <= 0 or _is_not_removed(words, m, live):
            continue
        if any(_is_total(words, x) for x in (m, *m.linked) if x.kind == "length"):
            both = len(m.ears) > 1 or any(x.kind == "length" and _of_both(words, x) for x in m.linked)
            sided = {"right", "left"} & set(_said_of(words, m))
            both = both or not (pieces or sided or len(_worked_on(live)) < 2)
            if both or len({p.ears for p in pieces}) > 1:
                total = _same_total(words, total, m) or Piece(m, m.measure.whole, m.ears)
                continue
            if any(p.ears == m.ears for p in pieces):
                continue
        if (
            previous is not None
            and pieces
            and previous.measure is not None
            and _same_piece(words, previous, m)
        ):
            metric = m if m.measure.unit != "inch" and previous.measure.unit == "inch" else previous
            pieces[-1].check = m if metric is previous else previous
            if metric is m:
                pieces[-1].mention, pieces[-1].mm = m, m.measure.whole
            previous = m
            continue
        earlier = _put_right(words, m, pieces)
        if earlier is None and previous is not None and pieces and _measured_again(words, previous, m):
            earlier = pieces[-1]
        if earlier is not None:
            pieces.remove(earlier)
        pieces += [Piece(m, m.measure.whole, m.ears)] * max(1, _times(words, m) // max(1, len(m.ears)))
        previous = m
    return pieces, total


def _same_total(words: Words, total: Piece | None, m: Mention) -> Piece | None:
    """The sum said before, if this is the same one in other units; the metric one counts."""
    if total is None or m.measure is None or not _same_piece(words, total.mention, m):
        return None
    if m.measure.unit != "inch":
        return Piece(m, m.measure.whole, m.ears, check=total.mention)
    total.check = m
    return total


def _is_not_removed(words: Words, m: Mention, live: list[Mention]) -> bool:
    row = words.text
    after = row[m.end : m.end + 3]
    before = row[max(m.start - 3, 0) : m.start]
    if tells_place(row[m.end : m.end + 5]):
        return True
    if any(w in _AWAY for w in after) or any(w in ("depth", "diameter") for w in before):
        return True
    for o in live:
        beside = o.start == m.end or (o.end <= m.start <= o.end + 1 and o.value == "speculum")
        if o.kind == "instrument" and o.value in _SIZED and beside and m.measure and m.measure.value <= 12:
            return True
    foreign_words = {
        w
        for o in live
        if o.kind == "foreign_body" and set(o.ears) & set(m.ears)
        for w in row[o.start : o.end]
    }
    if row[m.end : m.end + 1] == ["of"] and foreign_words & set(row[m.end + 1 : m.end + 3]):
        return True
    start, end = words.bounds[words.sentence[m.start]]
    foreign = [o for o in live if o.kind == "foreign_body" and set(o.ears) & set(m.ears)]
    in_sentence = any(start <= o.start < end for o in foreign)
    with_wax = "all" in row[m.end : end] or any(
        o.has("head") and o.readings["head"] == "wax" and start <= o.start < end and row[o.end - 1] != "plug"
        for o in live
    )
    waxless = foreign and not any(
        o.kind in ("consistency", "colour", "percent") and set(o.ears) & set(m.ears) for o in live
    )
    of_it = row[m.end : m.end + 2] == ["of", "it"] and bool(foreign_words & set(row[start : m.start]))
    return not m.ears or ((bool(waxless) or in_sentence or of_it) and not with_wax)


def tells_place(after: list[str]) -> bool:
    """Whether a length tells how far in ("15 mil in", "5 mil from the drum")."""
    if not after or after[0] not in _AWAY_AFTER:
        return False
    if after[0] in ("from", "off", "away", "short", "past", "beyond"):
        return any(
            w in ("drum", "eardrum", "tm", "entrance", "opening", "outside", "membrane") for w in after
        )
    if len(after) < 2 or after[1] in MARKS or after[1] in ("from", "to") or after[0] == "down":
        return True
    return after[0] == "in" and after[1] in _LODGED


def _put_right(words: Words, m: Mention, pieces: list[Piece]) -> Piece | None:
    """The piece that a late remark corrects ("that second piece from the right, I misread it, it's 11")."""
    start, _ = words.bounds[words.sentence[m.start]]
    said = words.text[start : m.start]
    if not {"misread", "sorry", "correction", "wrong"} & set(said) or "that" not in said:
        return None
    mine = [p for p in pieces if p.ears == m.ears]
    order = next((_ORDER[w] for w in said if w in _ORDER), None)
    if order is None or not mine or order >= len(mine):
        return None
    return mine[order]


def _measured_again(words: Words, a: Mention, b: Mention) -> bool:
    """Whether b is the length of the same piece, looked at more closely ("about two centimetres, well, 22 mil")."""
    between = words.text[a.end : b.start]
    bounded = words.text[a.start - 1] in _BOUNDS and between == [","]  # "less than a centimetre, eight mil"
    return (a.ears == b.ears and bounded) or (
        a.ears == b.ears
        and len(between) <= _CLOSE
        and bool(_REFINES & set(between))
        and not (_ANOTHER | PIECES | {"piece"}) & set(between)
    )


def _times(words: Words, m: Mention) -> int:
    """How many pieces have this length: "two pieces of eight mil each", "two eight mil pieces"."""
    row = words.text
    start, end = words.bounds[words.sentence[m.start]]
    count = number_of_pieces(row, m.start)
    if count > 1 and {"each", "apiece"} & set(row[max(m.start - 3, start) : min(m.end + 3, end)]):
        return min(count, _MOST)
    if row[m.end : m.end + 1] and row[m.end] in PIECES and m.start > start:
        before = number_at(row, m.start - 1)
        if before is not None and before.end == m.start and before.whole and before.whole > 1:
            return min(before.whole, _MOST)
    return 1


_ORDER = {"first": 0, "second": 1, "third": 2, "last": -1}


def _is_total(words: Words, m: Mention) -> bool:
    said = _said_of(words, m)
    return (
        _sums(said)
        or ("all" in said and "told" in said)
        or (len(m.ears) > 1 and not any(w in said for w in ("each", "apiece")))
    )


def _sums(said: list[str]) -> bool:
    """Whether a sentence adds up; tools that did the work "between them" do not."""
    return any(
        w in _TOTAL and not (w == "between" and said[i + 1 : i + 2] == ["them"]) for i, w in enumerate(said)
    )


def _said_of(words: Words, m: Mention) -> list[str]:
    """The sentence of a length; with the one before it if that only says of what ("Both ears together. Ten mil.")."""
    number = words.sentence[m.start]
    start, end = words.bounds[number]
    if m.start == start and number:
        before = words.text[slice(*words.bounds[number - 1])]
        if len(before) <= _HEADING and {"ears", "both", "total"} & set(before) and _TOTAL & set(before):
            return before + words.text[start:end]
    return words.text[start:end]


def _worked_on(live: list[Mention]) -> set[int]:
    """The ears in which tools were used."""
    used = (m for m in live if m.kind in ("instrument", "method") and m.polarity != "denied")
    return {ear for m in used for ear in m.ears}


def _of_both(words: Words, m: Mention) -> bool:
    said = _said_of(words, m)
    return "both" in said or "two" in said or "ears" in said


def _same_piece(words: Words, a: Mention, b: Mention) -> bool:
    """Whether two lengths are one piece measured twice: close together, other units, nothing new in between."""
    if a.measure is None or b.measure is None or a.ears != b.ears:
        return False
    between = words.text[a.end : b.start]
    if len(between) > 9 or any(w in _ANOTHER for w in between):
        return False
    if a.measure.value == b.measure.value and len(between) < 4:
        return True
    return (a.measure.unit == "inch") != (b.measure.unit == "inch") and "and" not in between[:1]
