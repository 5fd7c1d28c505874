"""A recording read again: what nobody has worked on gives way, what somebody has stays, and nothing is there twice."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from shared.record import Ear, Extent, Value, Visit
from shared.store import Change, Kept, Recording, Store, standing
from shared.transcript import Transcript

ANN = "Ann Example"
TEXT = "Right ear, wax. Next patient. Left ear, wax. Next patient. Right ear, wax."
BOUNDS = ((0.0, 60.0), (60.5, 120.0), (121.0, 200.0))


def visit(seconds: tuple[float, float] | None, mm: int = 10, patient: str | None = None) -> Visit:
    side, said = Value(value="right", heard="Right", chars=(0, 5)), TEXT[:9]
    start = int(seconds[0]) if seconds else 0
    return Visit(
        patient_reference=Value(value=patient, origin="entered") if patient else None,
        ears=[Ear(side=side, removed_mm=[Value(value=mm, heard=said, chars=(0, 9))])],
        extent=Extent(chars=(start, start + 50), seconds=seconds, confidence=1.0),
    )


def recording() -> Recording:
    return Recording(sha256="a" * 64, name="morning.m4a", bytes=10, kind="sound")


def words(model: str = "base") -> Transcript:
    return Transcript(text=TEXT, duration=200.0, model=model)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as opened:
        opened.set_person(ANN, "clinician")
        yield opened
        assert not opened.verify().faults


@pytest.fixture
def first(store: Store) -> Kept:
    """Three visits, the middle one corrected by a person."""
    kept = store.keep(recording(), words(), [visit(b) for b in BOUNDS])
    correct(store, kept.visits[1])
    return kept


def correct(store: Store, number: int) -> None:
    at = store.visit(number)
    changed = at.visit.model_copy(update={"plan": None, "notices": []})
    changed.ears[0].removed_mm = [Value(value=44, origin="entered")]
    store.change(number, Change("correct", "put the length right", changed), ANN, revision=at.revision)


def stands(store: Store, kept: Kept) -> list[tuple[object, ...]]:
    """Of each visit that stands, in order: its length, its number in the recording, when it begins."""
    found = [store.visit(number) for number in kept.visits]
    return [(v.visit.ears[0].removed_mm[0].value, v.ordinal, v.visit.extent.seconds[0]) for v in found]  # type: ignore


def test_only_what_nobody_worked_on_is_read_afresh(store: Store, first: Kept) -> None:
    again = store.keep(recording(), words(), [visit(b, 12) for b in BOUNDS])
    assert again.outcome == "partly"
    assert stands(store, again) == [(12, 1, 0.0), (44, 2, 60.5), (12, 3, 121.0)]
    assert again.visits[1] == first.visits[1]
    assert [store.visit(n).status for n in first.visits] == ["replaced", "draft", "replaced"]
    assert sorted(row.id for row in store.visits().rows) == sorted(again.visits)
    assert store.next_visit(again.visits[0]) == first.visits[1]
    same = store.keep(recording(), words(), [visit(b, 12) for b in BOUNDS])
    assert (same.outcome, same.visits) == ("unchanged", again.visits)


def test_signed_visits_stay_even_if_all_is_to_be_replaced(store: Store) -> None:
    kept = store.keep(recording(), words(), [visit(b) for b in BOUNDS])
    correct(store, kept.visits[0])
    signed = store.visit(kept.visits[2])
    store.sign(signed.id, ANN, revision=signed.revision)
    again = store.keep(recording(), words(), [visit(b, 12) for b in BOUNDS], replace=True)
    assert again.outcome == "partly"
    assert stands(store, again) == [(12, 1, 0.0), (12, 2, 60.5), (10, 3, 121.0)]
    assert store.visit(signed.id).status == "signed"


@pytest.mark.parametrize(
    "bounds",
    [
        [(0.0, 60.0), (60.5, 200.0)],  # the end of the one that stays is not seen any more
        [(0.0, 90.0), (90.5, 120.0), (121.0, 200.0)],
        [(0.0, 60.0), (60.5, 119.6), (119.6, 200.0)],  # the same words, divided otherwise
        [(0.0, 200.0)],
        [],
        [None, None, None],
    ],
)
def test_a_reading_that_divides_it_differently_is_not_used(
    store: Store, first: Kept, bounds: list[tuple[float, float] | None]
) -> None:
    again = store.keep(recording(), words(), [visit(b, 12) for b in bounds])
    assert (again.outcome, again.visits) == ("left", first.visits)
    assert [value for value, *_ in stands(store, again)] == [10, 44, 10]


@pytest.mark.parametrize(("by", "outcome"), [(0.4, "partly"), (-0.9, "partly"), (1.5, "left")])
def test_words_of_another_model_have_slightly_other_times(
    store: Store, first: Kept, by: float, outcome: str
) -> None:
    moved = [(start + by if start else 0.0, end + by) for start, end in BOUNDS]
    assert store.keep(recording(), words("tiny.en"), [visit(b, 12) for b in moved]).outcome == outcome


def test_visits_that_are_new_beside_one_that_stays_stand_in_the_order_of_the_recording(
    store: Store, first: Kept
) -> None:
    bounds = [(0.0, 30.0), (30.0, 60.0), BOUNDS[1], (121.0, 150.0), (150.0, 160.0), (160.0, 200.0)]
    again = store.keep(recording(), words(), [visit(b, 12) for b in bounds])
    assert [(mm, start) for mm, _, start in stands(store, again)] == [
        (44 if n == 2 else 12, start) for n, (start, _) in enumerate(bounds)
    ]
    assert sorted(number for _, number, _ in stands(store, again)) == [1, 2, 4, 5, 6, 7]


def test_an_erased_visit_does_not_come_back(store: Store) -> None:
    kept = store.keep(
        recording(), words(), [visit(b, patient=p) for b, p in zip(BOUNDS, ("1", "2", "3"), strict=True)]
    )
    for number in kept.visits[1:]:
        store.sign(number, ANN, revision=store.visit(number).revision)
    store.erase_patient("1", ANN, "asked for")
    again = store.keep(recording(), words(), [visit(b, 12) for b in BOUNDS])
    assert (again.outcome, again.visits) == ("left", kept.visits[1:])


def test_who_was_entered_with_the_recording_goes_over(store: Store) -> None:
    listed = Recording(sha256="a" * 64, name="morning.m4a", bytes=10, kind="sound", clinician=ANN)
    store.keep(listed, words(), [visit(b, patient="4711") for b in BOUNDS[:2]])
    again = store.keep(recording(), words(), [visit(BOUNDS[0], 12), visit((60.5, 90.0), 12)])
    assert again.outcome == "replaced"
    found = [store.visit(number) for number in again.visits]
    assert [(v.visit.patient_reference and v.visit.patient_reference.value, v.clinician) for v in found] == [
        ("4711", ANN),
        (None, None),
    ]


def test_the_numbers_that_put_visits_in_order() -> None:
    stay = [(visit((10.0, 20.0)), 7.0), (visit((30.0, 40.0)), 5000.0)]
    new = [visit((s, s + 1.0)) for s in (0.0, 5.0, 21.0, 25.0, 41.0, 50.0)]
    found = [place for place in standing.places(stay, new) if place is not None]
    assert found == sorted(set(found))
    assert found[1] < 7.0 < found[2]
    assert found[3] < 5000.0 < found[4]
    assert standing.places([], new) == [None] * 6
