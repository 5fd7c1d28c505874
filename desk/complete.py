"""What a complete record of ear wax removal would hold, and what of it was not said. Nothing is filled in.

The list and its sources: Schwartz et al., clinical practice guideline on earwax, 2017 (AAO17); NICE NG98, 2018;
British Society of Audiology, Aural care, 2021 (BSA21); Skills for Health SFHCHS20, 2021 (NOS); Nursing and
Midwifery Council, The Code (NMC); General Medical Council, Good medical practice, 2024 (GMC). Local protocol
and professional judgement decide what a record needs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from desk import fields, wording
from shared.record import Visit

_COMMON = "common practice, no source"


@dataclass(frozen=True)
class Wanted:
    """One thing a complete record holds. met_by: fields, from the ear on, or "field=value"; any one will do."""

    words: str
    source: str
    met_by: tuple[str, ...]


@dataclass(frozen=True)
class Unsaid:
    """What was not said. place: the ear in words, "" for the visit."""

    place: str
    wanted: Wanted


def _story(*items: str) -> tuple[str, ...]:
    return tuple(f"background.{kind}={item}" for item in items for kind in ("history.item", "history_denied"))


OF_VISIT = (
    Wanted("who the patient is", "NOS", ("patient_reference",)),
    Wanted("consent", "NMC 4.2, NOS", ("background.consent",)),
    Wanted(
        "why: a symptom, or a view that was blocked",
        "AAO17 statement 2A",
        ("background.symptoms.item", "before.occlusion", "before.occlusion_percent"),
    ),
    Wanted("anticoagulants, or none", "AAO17 statement 2B", _story("anticoagulants")),
    Wanted("immune defence and diabetes", "AAO17 statement 2B", _story("immunosuppressed", "diabetes")),
    Wanted(
        "ear surgery, grommets or a perforation, or none of them",
        "AAO17 statement 2B",
        _story("ear_surgery", "grommets", "perforation", "mastoid_cavity"),
    ),
    Wanted("hearing aids, or none", "AAO17 statement 4", _story("hearing_aids")),
    Wanted("softener: which, and how long", "NG98", ("background.softener.agent",)),
    Wanted("after-care that was told", "BSA21, NG98", ("plan.advice",)),
    Wanted("when to come back", _COMMON, ("plan.recall.number", "plan.advice=return_if_symptoms")),
)
OF_EAR = (
    Wanted("how much wax", "NOS", ("before.occlusion", "before.occlusion_percent")),
    Wanted("the wax", "NOS", ("before.wax.consistency", "before.wax.colour", "before.occlusion=none")),
    Wanted("canal and skin before", "NOS", ("before.canal", "before.skin")),
    Wanted("drum before", "NOS", ("before.drum",)),
    Wanted("method", "NG98, BSA21", ("procedure.methods",)),
    Wanted("instruments", _COMMON, ("procedure.instruments.name",)),
    Wanted("cleared or not", "AAO17, the look at the end", ("after.clearance",)),
    Wanted("drum after", "AAO17, the look at the end", ("after.drum",)),
    Wanted("complications, also that there were none", "GMC", ("complications", "complications_denied")),
)


def unsaid(visit: Visit) -> Iterator[Unsaid]:
    """What a complete record would hold and this one does not, ear by ear, then for the visit."""
    for number, ear in enumerate(visit.ears):
        held = _held(visit, f"ears[{number}].")
        for wanted in OF_EAR:
            if not held & set(wanted.met_by):
                yield Unsaid(wording.EARS[ear.side.value], wanted)
    held = _held(visit, "")
    for wanted in OF_VISIT:
        if not held & set(wanted.met_by):
            yield Unsaid("", wanted)


def _held(visit: Visit, under: str) -> set[str]:
    """The fields that hold something, each also with its values."""
    found = [(fields.bare(p), v.value) for p, v in visit.values() if p.startswith(under)]
    return {field for field, _ in found} | {f"{field}={value}" for field, value in found}
