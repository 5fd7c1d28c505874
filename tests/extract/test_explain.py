"""The text with every phrase explained: nothing lost, everything recorded shown, reasons for the rest."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from extract.build import Builder
from extract.explain import DENIED, OTHER_MEASURE, Explained, explain
from extract.gold import load_gold
from extract.reader import Reader
from shared.transcript import Transcript

SAMPLES = sorted((Path(__file__).resolve().parents[2] / "sample_audio").glob("*.yaml"))

SAID = (
    "Right ear. Hard brown wax. Suction tube. The wax is out. The drum is intact. No bleeding. ",
    "Eighteen, no, sixteen millimetres. ",
    "If the drum were perforated you'd stop. ",
    "Left ear, sorry, the right ear. ",
    "Next patient. Left ear. ",
    "My sister had grommets. ",
    "The weather is grey.\n\n",
    "“Olé” – naïve, 12½ mm… ",
)


@cache
def reader() -> Reader:
    return Reader()


def explained(text: str) -> list[Explained]:
    return explain(reader().annotate(text))


def by_text(text: str) -> dict[str, Explained]:
    return {part.text: part for part in explained(text)}


def test_what_is_recorded_is_shown_with_its_place_ear_and_rule() -> None:
    found = by_text(SAID[0])
    hard, tube, drum, bled = found["Hard"], found["Suction tube"], found["intact"], found["No bleeding"]
    assert [(e.path, e.field, e.side, e.value.value) for e in hard.entries] == [
        ("ears[0].before.wax[0].consistency[0]", "ears.before.wax.consistency", "right", "hard")
    ]
    assert {e.value.value for e in tube.entries} == {"suction_tube", "microsuction"}
    assert tube.rule == "a phrase for instrument, partly inferred"
    assert [e.path for e in drum.entries] == ["ears[0].after.drum[0]"]
    assert [e.path for e in bled.entries] == ["ears[0].complications_denied[0]"]
    assert bled.rule.endswith(DENIED)
    assert found["Right ear"].entries[0].path == "ears[0].side"


@pytest.mark.parametrize(
    ("text", "words", "reason"),
    [
        ("Right ear. Hard wax. Usually the drum is perforated in these.", "perforated", "a general remark"),
        ("Right ear. Hard wax. It isn't sticky.", "isn't sticky", DENIED),
        (
            "Right ear. Hard wax. Eighteen, no, sixteen millimetres came out.",
            "Eighteen",
            "taken back by the speaker",
        ),
        ("It's the left, sorry, the right ear. Hard wax.", "the left", "taken back by the speaker"),
        ("Right ear. Hard wax. Three weeks of rain.", "Three weeks", OTHER_MEASURE["interval"]),
    ],
)
def test_why_a_phrase_is_not_recorded(text: str, words: str, reason: str) -> None:
    part = by_text(text)[words]
    assert (part.sort, part.reason, part.entries) == ("mentioned", reason, ())
    assert part.meant


def test_an_ordinary_text_has_nothing_to_explain() -> None:
    text = "The train was late, so we walked home and cooked."
    assert [(p.text, p.sort) for p in explained(text)] == [(text, "other")]
    assert explained("") == []


def test_visits_are_numbered() -> None:
    text = "Patient 4471. Right ear. Hard wax. Next patient, 5582. Left ear. Soft wax."
    found = by_text(text)
    assert [e.visit for e in found["Hard"].entries] == [1]
    assert [e.visit for e in found["Soft"].entries] == [2]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(SAID), max_size=8).map("".join) | st.text(max_size=60))
def test_the_stretches_join_up_to_the_text(text: str) -> None:
    found = explained(text)
    assert "".join(part.text for part in found) == text
    at = 0
    for part in found:
        assert part.chars == (at, at + len(part.text))
        assert (part.sort == "recorded") == bool(part.entries)
        assert (part.sort == "mentioned") == bool(part.reason)
        at = part.chars[1]


@pytest.mark.parametrize("one", load_gold(SAMPLES), ids=lambda one: str(one["id"]))
def test_every_recorded_value_is_shown(one: dict[str, str]) -> None:
    doc = reader().annotate(one["text"])
    visits = Builder(doc, Transcript.from_text(one["text"])).visits()
    shown = {(e.visit, e.path) for part in explain(doc, visits) for e in part.entries}
    recorded = {
        (number, path)
        for number, visit in enumerate(visits, 1)
        for path, value in visit.values()
        if not (path.endswith(".where") and value.value == "whole")
    }
    assert recorded
    assert shown == recorded
