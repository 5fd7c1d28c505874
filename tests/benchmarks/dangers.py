"""Errors that could hurt, one by one, and whether the clinician is asked to look at the words behind them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rapidfuzz.distance import Levenshtein

from desk.checks import checks
from dictate.doubt import parts
from extract.evaluate import MISSED, Item, Miss, Reads, danger_of, items, score
from shared.record import Value, Visit
from shared.transcript import Transcript

Span = tuple[int, int]


@dataclass(frozen=True)
class Danger:
    """kind: one of evaluate.DANGERS. marked: whether a check of the visit points at its words, or asks which ear
    it was. waits: whether signing waits until somebody has listened to the whole visit."""

    kind: str
    visit: int
    item: Item
    marked: bool
    waits: bool


def dangers(
    gold: Mapping[str, Any], heard: Transcript, visits: Sequence[Visit], reader: Reads
) -> Iterator[Danger]:
    """The errors in one dictation. gold: {id, text, visits}.

    Words of a missed sign: those heard where the reader finds it in the dictation as written; it counts as
    not marked if the reader does not find it there either.
    """
    written: list[Visit] | None = None
    for miss in score([gold], {gold["id"]: [v.plain() for v in visits]}).misses:
        if not (kind := danger_of(miss)):
            continue
        spans: list[Span] = []
        if kind != MISSED:
            spans = [v.chars for v in behind(visits[miss.visit - 1], miss.item) if v.chars]
        else:
            if written is None:
                written = reader.read(Transcript.from_text(gold["text"]))
            meant = behind(written[miss.visit - 1], miss.item) if miss.visit <= len(written) else []
            spans = [where(gold["text"], v.chars, heard.text) for v in meant if v.chars]
        looked = [w for visit in visits for check in checks(visit) for w in check.words]
        marked = any(a < end and start < b for start, end in spans for a, b in looked)
        marked |= kind != MISSED and miss.item.ear.startswith("unstated")
        waits = any(n.kind == "hard_to_hear" for visit in visits for n in visit.notices)
        for _ in range(miss.times):
            yield Danger(kind, miss.visit, miss.item, marked, waits)


def chances(gold: Mapping[str, Any], visits: Sequence[Visit]) -> Counter[str]:
    """How many errors of each kind there could be: sides, reassuring drums and lengths that were recorded, and
    warning signs that were said."""
    recorded = (Miss("", 1, item, True) for visit in visits for item in items(visit.plain()))
    said = (Miss("", 1, item, False) for visit in gold["visits"] for item in items(visit))
    found = Counter(danger_of(miss) for miss in (*recorded, *said))
    del found[""]
    return found


def behind(visit: Visit, item: Item) -> list[Value[Any]]:
    """The values of a visit that an item of its plain form comes from."""
    found, unnamed = [], 0
    names = []
    for ear in visit.ears:
        unnamed += ear.side.value == "unstated"
        names.append(f"unstated{unnamed}" if ear.side.value == "unstated" else ear.side.value)
    for path, value in visit.values():
        ear = re.match(r"ears\[(\d+)\]", path)
        said = f"{value.value}?" if value.certainty == "possible" else str(value.value)
        if (
            (names[int(ear[1])] if ear else "") == item.ear
            and re.search(rf"\b{item.field}\b", path)
            and said in (item.bare, item.bare.rstrip("0123456789") if item.field == "side" else "")
        ):
            found.append(value)
    return found


def where(written: str, span: Span, heard: str) -> Span:
    """The characters of what was heard in the place of characters of what was written."""
    ours, at = _row(written)
    theirs, there = _row(heard)
    first, last = 0, len(heard)
    for step in Levenshtein.opcodes(ours, theirs):
        for i in range(step.src_start, step.src_end):
            j = min(step.dest_start + i - step.src_start, max(step.dest_end - 1, step.dest_start))
            if at[i][1] <= span[0]:
                first = there[min(j, len(there) - 1)][0]
            if at[i][0] < span[1]:
                last = there[min(j, len(there) - 1)][1]
    return first, last


def _row(text: str) -> tuple[list[str], list[Span]]:
    row = [(part, m.span()) for m in re.finditer(r"\S+", text) for part in parts(m[0])]
    return [part for part, _ in row], [span for _, span in row]
