"""Measures in doubt: against each other, against the anatomy, and numbers that sound alike."""

from __future__ import annotations

from collections.abc import Iterator

from extract.lengths import removed_pieces
from extract.mentions import Mention
from extract.notices.guidance import guidance
from extract.notices.view import Located, VisitView
from shared.record import Notice

_TEENS = {n * 10: n + 10 for n in range(4, 10)}
"""Forty and fourteen to ninety and nineteen: they differ by the last sound only."""


def measured(view: VisitView) -> Iterator[Notice]:
    """Doubts about the measures of one visit."""
    pieces = [v for v in view.values if v.field == "ears.removed_mm"]
    for v in pieces:
        yield from _length(view, v)
        if v.value.certainty == "possible":
            yield view.notice("length_open", v, number=str(v.value.value))
    yield from _two_units(view, pieces)
    yield from _not_recorded(view)
    yield from _total(view, pieces)
    for v in view.values:
        if v.field == "plan.recall.number" and v.value.certainty == "possible":
            yield view.notice("recall_open", v, number=str(v.value.value))
        digits = str(v.value.value).rstrip("GFrm")
        if v.field == "ears.procedure.instruments.size" and digits.isdigit() and int(digits) in _TEENS:
            teen = _TEENS[int(digits)]
            yield view.notice("size_teen_or_ty", v, number=f"{teen} or {digits}")


def _length(view: VisitView, v: Located) -> Iterator[Notice]:
    limits = guidance().limits
    mm = v.value.value
    if mm > limits.piece_note_mm and mm in _TEENS and _in_millimetres(view, v):
        yield view.notice("length_teen_or_ty", v, number=f"{_TEENS[mm]} or {mm}")
    elif mm > limits.piece_ask_mm:
        yield view.notice("length_over_canal", v, limit=str(limits.piece_ask_mm))
    elif mm > limits.piece_note_mm:
        yield view.notice("length_long", v, limit=str(limits.piece_note_mm))
    elif mm <= 0:
        yield view.notice("length_zero", v)


def _in_millimetres(view: VisitView, v: Located) -> bool:
    """Whether the number recorded is the number said: "eighty millimetres", not "eight centimetres"."""
    said = (m.measure for m in view.live if m.measure is not None and view.chars(m) == v.value.chars)
    return all(measure.unit == "mm" for measure in said)


def _two_units(view: VisitView, recorded: list[Located]) -> Iterator[Notice]:
    """A piece measured in two units that differ by more than rounding."""
    for piece in removed_pieces(view.words, view.live)[0]:
        check, measure = piece.check, piece.mention.measure
        if check is None or check.measure is None or measure is None:
            continue
        if abs(float(measure.value - check.measure.value)) > guidance().limits.same_within_mm:
            chars = view.chars(piece.mention)
            v = next((v for v in recorded if v.value.chars == chars), None)
            number = str(check.measure.whole)
            other = view.quoted(check)
            yield view.notice("length_disagreement", v or piece.mention, other=other, number=number)


def _not_recorded(view: VisitView) -> Iterator[Notice]:
    limits = guidance().limits
    for m in view.live:
        if m.kind != "length" or m.measure is None:
            continue
        if m.measure.value <= 0:
            yield view.notice("length_zero", m)
        elif m.measure.value > limits.width_ask_mm and _is_width(view, m):
            yield view.notice("width_over_canal", m, limit=str(limits.width_ask_mm))


def _is_width(view: VisitView, m: Mention) -> bool:
    return any(w in guidance().limits.width_words for w in view.words.text[m.end : m.end + 2])


def _total(view: VisitView, pieces: list[Located]) -> Iterator[Notice]:
    whole = sum(v.value.value for v in pieces)
    for v in view.values:
        if v.field == "removed_total_mm" and v.value.value < whole - guidance().limits.same_within_mm:
            yield view.notice("total_below_pieces", v, number=str(whole))
