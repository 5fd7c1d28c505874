"""What an ear looked like before the work and after it."""

from __future__ import annotations

from typing import Any

from extract.build.complications import is_of_wax
from extract.build.values import Values, first_of_each
from extract.measures import FILL_WORDS
from extract.mentions import Mention
from extract.words import STOPS, Words
from shared.record import After, Before, Value, Wax

_NOT_OF_FILL = frozenset(
    [
        "out",
        "removed",
        "better",
        "gone",
        "chance",
        "people",
        "patients",
        "sure",
        "clear",
        "cleared",
        "hearing",
    ]
)


def before(values: Values, mine: list[Mention], live: list[Mention], index: int) -> Before:
    """What was found in ear `index`. mine: the mentions of that ear; live: those of the whole visit."""
    found = Before()
    percent = [m for m in mine if m.kind == "percent" and _is_fill(values.words, m)]
    occlusion = [m for m in mine if m.kind == "occlusion" and m.polarity != "denied"]
    if percent:
        amount = percent[-1].measure.whole if percent[-1].measure is not None else 0
        found.occlusion_percent = values.value(percent[-1], amount)
        word = "none" if amount == 0 else "complete" if amount >= 100 else "partial"
        found.occlusion = values.value(percent[-1], word, "inferred")
    if occlusion and not (percent and found.occlusion_percent):
        found.occlusion = values.value(occlusion[-1], occlusion[-1].value)
    none_of_it = [m for m in mine if m.kind == "ellipsis" and m.value == "none" and is_of_wax(values, m)]
    if none_of_it and not occlusion and not percent:
        found.occlusion = values.value(none_of_it[0], "none")
    found.wax = _wax(values, mine)
    if any(m.kind == "same" and _compares_ears(values, m) for m in mine):
        found.wax = _completed(found.wax, _copied_wax(values, mine, live, index))
    found.depth = values.listed(m for m in mine if m.kind == "depth")
    foreign = [m for m in mine if m.kind == "foreign_body" and m.polarity != "denied"]
    if foreign:
        named = next((m for m in foreign if m.value != "other"), foreign[0])
        found.foreign_body = values.value(named, named.value)
    found.skin = values.listed(m for m in mine if m.kind == "skin" and m.when == "before")
    found.canal = values.listed(m for m in mine if m.kind == "canal" and m.when == "before")
    found.drum = _drum(values, mine, "before")
    return found


def after(values: Values, mine: list[Mention]) -> After:
    """How an ear was left."""
    left = After()
    cleared = [m for m in mine if m.kind == "clearance"]
    if cleared:
        value = cleared[-1].value
        if cleared[-1].polarity == "denied":
            value = {"complete": "partial", "partial": "complete"}.get(value, value)
        left.clearance = values.value(cleared[-1], value)
    left.drum = _drum(values, mine, "after")
    left.canal = values.listed(m for m in mine if m.kind == "canal" and m.when == "after")
    left.skin = values.listed(m for m in mine if m.kind == "skin" and m.when == "after")
    return left


def _drum(values: Values, mine: list[Mention], when: str) -> list[Value[Any]]:
    seen = [m for m in mine if m.kind in ("drum", "not_seen") and m.when == when]
    holes = [m for m in seen if m.value == "perforated" and m.polarity == "affirmed"]
    # "I thought it was intact, but there's a hole": the last word stands.
    return values.listed(m for m in seen if m.value != "intact" or not _put_right(values, m, holes))


def _put_right(values: Values, m: Mention, later: list[Mention]) -> bool:
    """Whether something said after a mention in its sentence takes its place; in one breath with it ("intact and
    perforated"), or in a sentence of its own, it contradicts it, and the desk asks."""
    here = values.words.sentence[m.start]
    return any(o.start > m.end + 1 and values.words.sentence[o.start] == here for o in later)


def _wax(values: Values, mine: list[Mention]) -> list[Wax]:
    entries: dict[str, Wax] = {}
    said = [m for m in mine if m.kind in ("consistency", "colour") and m.polarity != "denied"]
    for m in first_of_each(said, lambda m: (m.layer, m.kind, m.value)):
        layer = m.layer or "whole"
        entry = entries.get(layer)
        if entry is None:
            entry = entries[layer] = Wax(where=values.value(m, layer, "heard" if m.layer else "inferred"))
            entry.where.certainty = "stated"
        getattr(entry, m.kind).append(values.value(m, m.value))
    return list(entries.values())


def _compares_ears(values: Values, m: Mention) -> bool:
    """Whether "the same" speaks of the other ear or of wax."""
    here = [o for o in values.mentions if values.words.sentence[o.start] == values.words.sentence[m.start]]
    if any(o.kind == "hearing_outcome" for o in here):
        return False
    return (
        m.value == "as_other"
        or len(values.doc._.ears.get(m.visit, [])) > 1
        or any(o.has("ear_cue") or o.readings.get("head") == "wax" for o in here)
    )


def _copied_wax(values: Values, mine: list[Mention], live: list[Mention], index: int) -> list[Wax]:
    same = next(m for m in mine if m.kind == "same")
    other = [m for m in live if m.ears and index not in m.ears and m.start < same.start]
    copied = _wax(values, other)
    for entry in copied:
        its: list[Value[Any]] = [entry.where, *entry.consistency, *entry.colour]
        for v in its:
            v.origin = "inferred"
    return copied


def _completed(own: list[Wax], copied: list[Wax]) -> list[Wax]:
    """An ear's own wax with what another's gives it: all of it, or the consistency or colour that was not said."""
    if not own or len(own) != 1 or len(copied) != 1 or own[0].where.value != copied[0].where.value:
        return own or copied
    own[0].consistency = own[0].consistency or copied[0].consistency
    own[0].colour = own[0].colour or copied[0].colour
    return own


def _is_fill(words: Words, m: Mention) -> bool:
    """Whether a percentage tells how full the canal is, not how much came out or how well somebody hears."""
    after = words.text[m.end : m.end + 5]
    if FILL_WORDS & {*words.text[m.start : m.end + 1]}:
        return True
    if after[:1] == [","] and {"it", "that", "them", "those"} & set(after[1:4]):
        return True  # "fifteen percent, sucked that out": the clause after it has its own object
    after = after[1:] if after[:1] == [","] else after[:4]
    stop = next(
        (
            i
            for i, w in enumerate(after)
            if w in STOPS
            or w in ("all", ",")
            or (w == "and" and after[i + 1 : i + 2] in (["a"], ["an"], ["the"]))
        ),
        len(after),
    )
    after = after[:stop]
    if after[:1] == ["out"] and after[1:2] and after[1] in ("at", "near", "by", "towards"):
        return True
    return _NOT_OF_FILL.isdisjoint(after)
