"""One patient over time: every visit of a reference, ear by ear, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from desk import wording
from desk.exchange import standing
from desk.exchange.standing import Standing
from desk.lines import sections
from shared.record import Ear, Visit
from shared.store import Store, StoredVisit

NOT_SAID = "not said"
_DRUM = wording.FIELDS["before.drum"]


@dataclass(frozen=True)
class Seen:
    """A visit, and how it stands."""

    stored: StoredVisit
    standing: Standing


@dataclass(frozen=True)
class Aspect:
    """One row: what it is of, and for each visit its lines, () where nothing was said."""

    heading: str
    cells: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class EarOverTime:
    """One ear (right, left or unstated) through the visits in which it was dictated."""

    side: str
    visits: tuple[Seen, ...]
    aspects: tuple[Aspect, ...]


@dataclass(frozen=True)
class OverTime:
    """visits: the earliest first. without: how many visits of the store have no reference and are not here."""

    reference: str
    visits: tuple[Seen, ...]
    ears: tuple[EarOverTime, ...]
    rest: tuple[Aspect, ...]
    without: int


def of(store: Store, reference: str) -> OverTime:
    """All visits of a reference; references are the same if they differ in spaces and case only."""
    found = [store.visit(number) for number in store.of_patient(reference)]
    seen = tuple(Seen(stored, standing.of(stored, store.history(stored.id))) for stored in found)
    ears = tuple(ear for side in wording.EARS if (ear := _ear(side, seen)).visits)
    whole = [_by_heading(_without_ears(v.stored.visit)) for v in seen]
    return OverTime(reference, seen, ears, _aspects(whole), store.without_reference())


def _ear(side: str, seen: Sequence[Seen]) -> EarOverTime:
    """An ear; a visit with several ears of no side has a column for each."""
    pairs = [(v, ear) for v in seen for ear in v.stored.visit.ears if ear.side.value == side]
    return EarOverTime(side, tuple(v for v, _ in pairs), _aspects([_of_ear(ear) for _, ear in pairs]))


def _of_ear(ear: Ear) -> dict[str, tuple[str, ...]]:
    """The lines of an ear by what they are of; the drum by itself, as it is what one compares."""
    found: dict[str, list[str]] = {"Drum before": [], "Drum after": []}
    if ear.side.certainty == "possible":
        found["Side"] = ["said with doubt (possible)"]
    for section in sections(Visit(ears=[ear])):
        for line in section.lines:
            alone = f"{_DRUM} {section.heading.lower()}"
            if line.label == _DRUM and alone in found:
                found[alone].append(line.text)
            else:
                found.setdefault(section.heading, []).append(f"{line.label}: {line.text}")
    return {heading: tuple(lines) for heading, lines in found.items()}


def _by_heading(visit: Visit) -> dict[str, tuple[str, ...]]:
    return {s.heading: tuple(f"{line.label}: {line.text}" for line in s.lines) for s in sections(visit)}


def _without_ears(visit: Visit) -> Visit:
    return visit.model_copy(update={"ears": [], "patient_reference": None})


def _aspects(cells: Sequence[dict[str, tuple[str, ...]]]) -> tuple[Aspect, ...]:
    order = [
        "Side",
        "Drum before",
        "Drum after",
        *wording.SECTIONS.values(),
        "Both ears",
        "Background",
        "Outcome",
        "Plan",
    ]
    there = {heading for cell in cells for heading in cell}
    return tuple(Aspect(h, tuple(cell.get(h, ()) for cell in cells)) for h in order if h in there)
