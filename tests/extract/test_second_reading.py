"""A value that only one of two hearings gives is to be checked; one that both give is sure, if all around is."""

from __future__ import annotations

import re
from functools import cache

import pytest

from extract.reader import Reader
from extract.second_reading import NEARLY_SURE, UNLIKE, compared
from shared.record import Value, Visit
from shared.transcript import Transcript, Word

TEXT = "Right ear. Hard brown wax. Suction. 18 mm. Drum intact. No bleeding."


@cache
def reader() -> Reader:
    return Reader()


def read(text: str, also: dict[str, str], probability: float = 0.98, **settings: str) -> Visit:
    """The one visit of a text, some words of which were heard otherwise the second time."""
    words = tuple(
        Word(chars=m.span(), seconds=(0, 1), probability=probability, also_heard=also.get(m[0].strip(".,")))
        for m in re.finditer(r"\S+", text)
    )
    (visit,) = reader().read(Transcript(text=text, words=words, settings={"second_look": "other"} | settings))
    return visit


def confidences(visit: Visit) -> dict[str, float]:
    return {path: value.confidence for path, value in visit.values()}


def test_what_both_hearings_say_is_sure() -> None:
    assert min(confidences(read(TEXT, {})).values()) > NEARLY_SURE
    assert max(confidences(read(TEXT, {}, probability=0.7)).values()) <= NEARLY_SURE


@pytest.mark.parametrize(
    ("also", "unlike"),
    [
        ({"18": "80"}, {"ears[0].removed_mm[0]"}),
        ({"No": ""}, {"ears[0].complications_denied[0]"}),
        ({"brown": "round"}, {"ears[0].before.wax[0].colour[0]"}),
        ({"Right": "left"}, {"ears[0].side"}),
        ({"intact": "in tact."}, set()),
    ],
)
def test_what_one_of_them_says_is_marked(also: dict[str, str], unlike: set[str]) -> None:
    visit = read(TEXT, also)
    assert {path for path, sure in confidences(visit).items() if sure <= UNLIKE} == unlike
    told = {notice.path for notice in visit.notices if notice.kind.startswith("uncertain_")}
    assert unlike - {"ears[0].before.wax[0].colour[0]"} <= told


def test_a_side_only_one_hearing_has_leaves_the_rest_of_the_ear_alone() -> None:
    sure = confidences(read(TEXT, {"Right": "", "ear": ""}))
    assert sure["ears[0].side"] <= UNLIKE
    assert sure["ears[0].removed_mm[0]"] > UNLIKE


def test_without_a_second_hearing_the_words_alone_tell() -> None:
    words = tuple(Word(chars=m.span(), probability=0.7) for m in re.finditer(r"\S+", TEXT))
    (visit,) = reader().read(Transcript(text=TEXT, words=words))
    assert set(confidences(visit).values()) == {0.7}


def test_each_value_is_found_once() -> None:
    visit = read("Left ear. Suction. 8 mm, then 8 mm.", {})
    gold = {"ears": [{"side": "left", "removed_mm": [8]}]}
    pieces = [right for value, right in compared(visit, gold) if value.value == 8]
    assert pieces == [True, False]
    assert all(isinstance(value, Value) and not right for value, right in compared(visit, {}))
