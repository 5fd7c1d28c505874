"""What was not said, of what a complete record holds."""

import pytest

from desk.complete import OF_EAR, OF_VISIT, unsaid
from desk.fields import groups
from shared.record import After, Background, Ear, Procedure, SidedHistory, Value, Visit


def said(value: object) -> Value[object]:
    return Value(value=value, heard="x", chars=(0, 1))  # type: ignore[arg-type]


def words(visit: Visit) -> set[str]:
    return {f"{u.place}: {u.wanted.words}" for u in unsaid(visit)}


def test_an_empty_record_lacks_everything() -> None:
    visit = Visit(ears=[Ear(side=said("right")), Ear(side=said("left"))])
    assert len(list(unsaid(visit))) == 2 * len(OF_EAR) + len(OF_VISIT)


def test_each_ear_is_looked_at_by_itself() -> None:
    right = Ear(side=said("right"), after=After(drum=[said("intact")]))
    left = Ear(side=said("left"), complications_denied=[said("bleeding")])
    found = words(Visit(ears=[right, left]))
    assert "Left ear: drum after" in found
    assert "Right ear: drum after" not in found
    assert "Right ear: complications, also that there were none" in found
    assert "Left ear: complications, also that there were none" not in found


def test_a_denial_says_it_too() -> None:
    told = Background(history=[SidedHistory(item=said("diabetes"))], history_denied=[said("anticoagulants")])
    found = words(Visit(background=told))
    assert ": anticoagulants, or none" not in found
    assert ": immune defence and diabetes" not in found
    assert ": hearing aids, or none" in found


def test_nothing_is_said_of_what_is_there() -> None:
    ear = Ear(side=said("right"), procedure=Procedure(methods=[said("microsuction")]))
    assert "Right ear: method" not in words(Visit(ears=[ear]))


@pytest.mark.parametrize("wanted", [*OF_VISIT, *OF_EAR], ids=lambda w: w.words)
def test_every_entry_names_fields_and_values_that_exist(wanted: object) -> None:
    listed = {g.field: {v for v, _ in g.values} for g in groups()}
    typed = {"patient_reference", "before.occlusion_percent", "plan.recall.number"}
    for name in wanted.met_by:  # type: ignore[attr-defined]
        field, _, value = name.partition("=")
        assert field in listed or field in typed
        assert not value or value in listed[field]
    assert wanted.source  # type: ignore[attr-defined]
