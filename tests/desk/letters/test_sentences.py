"""Every sentence of a letter rests on values of the record, and every value is in a sentence."""

from __future__ import annotations

from collections import Counter
from typing import Any, get_args, get_origin

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from letters.reading_back import read_back
from pydantic import BaseModel

from desk.fields import bare
from desk.letters.sentences import letter
from shared.record import Background, Ear, Plan, Referral, SidedSymptom, Value, Visit

NOT_IN_SENTENCES = "patient_reference"
"""It stands above the letter."""


def values(kind: Any) -> st.SearchStrategy[Value[Any]]:
    """A value of a kind, stated or possible."""
    if kind is int:
        inner: st.SearchStrategy[Any] = st.integers(1, 100)
    elif kind is str:
        inner = st.from_regex(r"[0-9]{1,2}(G|Fr|mm)", fullmatch=True)
    else:
        inner = st.sampled_from(get_args(kind))
    certainty = st.sampled_from(["stated", "possible"])
    return st.builds(lambda v, c: Value[Any](value=v, certainty=c, origin="entered"), inner, certainty)


def of(annotation: Any) -> st.SearchStrategy[Any]:
    """Anything a field of the record may hold."""
    if get_origin(annotation) is list:
        (inner,) = get_args(annotation)
        return st.lists(of(inner), max_size=3)
    if isinstance(annotation, type) and issubclass(annotation, Value):
        return values(annotation.model_fields["value"].annotation)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        fields = {
            n: f for n, f in annotation.model_fields.items() if n not in ("notices", "extent", "taken_out")
        }
        made = st.fixed_dictionaries({name: of(field.annotation) for name, field in fields.items()})
        return made.map(lambda found: annotation.model_construct(**found))
    inners = [a for a in get_args(annotation) if a is not type(None)]
    return st.one_of(st.none(), *map(of, inners))


VISITS = of(Visit).map(lambda v: v.model_copy(update={"notices": [], "extent": None, "taken_out": None}))


def said(visit: Visit) -> tuple[list[Counter[Any]], Counter[Any]]:
    """What the record holds, as `read_back` gives it: a recall's two values share their doubt."""
    ears: list[Counter[Any]] = [Counter() for _ in visit.ears]
    whole: Counter[Any] = Counter()
    recall = visit.plan.recall if visit.plan else None
    unsure = recall is not None and "possible" in (recall.number.certainty, recall.unit.certainty)
    for path, value in visit.values():
        field, doubt = bare(path), value.certainty == "possible"
        if field == NOT_IN_SENTENCES:
            continue
        doubt = unsure if field.startswith("plan.recall") else doubt
        into = ears[int(path[5 : path.index("]")])] if path.startswith("ears[") else whole
        into[(field, value.value, doubt)] += 1
    return ears, whole


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(VISITS, st.sampled_from(["gp", "ent"]))
def test_a_letter_read_back_is_the_record(visit: Visit, to: str) -> None:
    paragraphs = letter(visit, to)
    ears, whole = read_back(paragraphs)
    assert ([Counter(e) for e in ears], Counter(whole)) == said(visit)
    sentences = [s for p in paragraphs for s in p.sentences]
    behind = [path for s in sentences for path in s.paths]
    assert set(behind) == {path for path, _ in visit.values()} - {NOT_IN_SENTENCES}
    assert all(s.text.endswith(".") and s.text[0].isupper() for s in sentences)
    assert {s.text for s in sentences if not s.paths} <= {
        "This letter reports on a visit for ear care. No referral was recorded.",
        "This letter is a report for your information.",
    }


def entered(value: str, certainty: str = "stated") -> Value[Any]:
    return Value[Any].model_validate({"value": value, "certainty": certainty, "origin": "entered"})


def test_the_referral_comes_first_then_what_was_reported() -> None:
    visit = Visit(
        background=Background(
            symptoms=[SidedSymptom(item=entered("pain"), side=entered("left"))],
            symptoms_denied=[entered("dizziness")],
        ),
        plan=Plan(referral=Referral(to=entered("ent"), urgency=entered("urgent", "possible"))),
    )
    assert letter(visit, "ent")[0].text == (
        "The patient is referred to ENT, possibly urgently. The patient reported pain in the left ear. "
        "The patient reported no dizziness."
    )


@pytest.mark.parametrize(
    ("side", "certainty", "beginning"),
    [
        ("right", "stated", "In the right ear, "),
        ("unstated", "stated", "In an ear whose side was not stated, "),
        ("left", "possible", "In what was possibly the left ear, "),
    ],
)
def test_an_ear_is_called_what_it_was_called(side: str, certainty: str, beginning: str) -> None:
    ear = Ear(side=entered(side, certainty), complications_denied=[entered("bleeding", "possible")])
    (_, paragraph) = letter(Visit(ears=[ear]), "gp")
    assert paragraph.text == f"{beginning}there was possibly no bleeding."
