"""Advice for patients: plain enough, nothing that was not recorded, no diagnosis."""

from __future__ import annotations

import re
from typing import Any, get_args

import pytest

from desk.letters.advice import parts, words
from desk.letters.practice import Practice
from shared import record
from shared.record import After, Ear, Outcome, Plan, Recall, Referral, Value, Visit


def syllables(word: str) -> int:
    """By groups of vowels, a silent e taken off: the usual count by program, from memory."""
    found = len(re.findall(r"[aeiouy]+", word.lower()))
    return max(1, found - (word.lower().endswith("e") and not word.lower().endswith("le") and found > 1))


def grade(text: str) -> float:
    """The Flesch-Kincaid grade: Kincaid, Fishburne, Rogers, Chissom, Derivation of new readability formulas
    for Navy enlisted personnel, Research Branch Report 8-75, 1975 (constants from memory)."""
    sentences = [s for s in re.split(r"[.!?:]\s+|\n", text) if re.search(r"\w", s)]
    every = re.findall(r"[A-Za-z']+", text)
    return 0.39 * len(every) / len(sentences) + 11.8 * sum(map(syllables, every)) / len(every) - 15.59


def text_of(visit: Visit, practice: Practice | None = None) -> str:
    sheet = parts(visit, practice or Practice())
    return "\n".join(line for part in sheet for line in (*part["paragraphs"], *part["points"]))


def entered(value: Any, certainty: str = "stated") -> Value[Any]:
    return Value[Any].model_validate({"value": value, "certainty": certainty, "origin": "entered"})


def test_the_formula_gives_what_is_plain_and_what_is_not() -> None:
    assert grade("The cat sat on the mat.") < 1
    assert (
        grade("Impacted cerumen occasionally necessitates otolaryngological examination under magnification.")
        > 15
    )


def test_each_sample_sheet_can_be_read_at_eleven(visits: dict[str, list[Visit]]) -> None:
    # Grade 6 in the United States is age 11 to 12.
    grades = [grade(text_of(visit)) for several in visits.values() for visit in several]
    assert max(grades) <= 6


def test_every_value_has_its_words() -> None:
    ear, visit = words()["ear"], words()["visit"]
    assert set(ear["before.occlusion"]) == set(get_args(record.Occlusion))
    assert set(ear["procedure.methods"]) == set(get_args(record.Method))
    assert set(ear["after.clearance"]) == set(get_args(record.Clearance))
    assert set(ear["drum"]) == set(get_args(record.Drum))
    assert set(ear["complications"]) == set(get_args(record.DeniedComplication))
    assert set(visit["outcome.hearing"]) == set(get_args(record.Hearing))
    assert set(visit["plan.advice"]) == set(get_args(record.Advice))
    assert set(visit["plan.referral"]) == set(get_args(record.ReferralTo))


def test_what_was_not_said_is_not_there() -> None:
    text = text_of(Visit())
    every = [line for table in words()["visit"].values() for line in table.values()]
    every += [line.format(ear="", Ear="") for table in words()["ear"].values() for line in table.values()]
    assert not [line for line in every if line in text]
    assert "Please ask us" in text


@pytest.mark.parametrize(
    ("side", "beginning"),
    [("right", "Your right ear: the eardrum"), ("unstated", "One of your ears: the eardrum")],
)
def test_the_ear_is_named_and_doubt_is_told(side: str, beginning: str) -> None:
    ear = Ear(side=entered(side), after=After(drum=[entered("healthy"), entered("perforated", "possible")]))
    text = text_of(Visit(ears=[ear]))
    assert beginning in text
    assert "We were not sure of this: the eardrum had a hole in it." in text


def test_plan_and_own_text_are_told() -> None:
    visit = Visit(
        outcome=Outcome(hearing=entered("improved")),
        plan=Plan(
            advice=[entered("keep_dry")],
            recall=Recall(number=entered(1), unit=entered("weeks")),
            referral=Referral(to=entered("ent"), urgency=entered("urgent")),
        ),
    )
    text = text_of(visit, Practice(advice="We close at <b>six</b>.\n\nCall us."))
    for line in (
        "Keep your ear dry.",
        "come back in 1 week.",
        "This is urgent.",
        "We close at <b>six</b>.",
        "Call us.",
    ):
        assert line in text
