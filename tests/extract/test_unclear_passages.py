"""Where a few words running were hard to hear, the clinician is asked to listen, recorded or not."""

from __future__ import annotations

import re
from functools import cache

import pytest

from extract.notices.guidance import guidance
from extract.notices.passages import unclear
from extract.reader import Reader
from shared.record import Notice
from shared.transcript import Transcript, Word

TEXT = (
    "Right ear. Hard brown wax filling the canal. Suction under the microscope. One piece, 18 mm. "
    "The rum was hat as a tomato. No bleeding. The patient was comfortable throughout and is happy."
)
LOST = "rum was hat as a tomato."


@cache
def reader() -> Reader:
    return Reader()


def heard(unsure: str, probability: float | None = 0.4) -> list[Notice]:
    """The notices of TEXT, some words of which, running, were hard to hear."""
    start = TEXT.index(unsure)
    words = tuple(
        Word(
            chars=m.span(),
            seconds=(m.start(), m.end()),
            probability=probability if start <= m.start() < start + len(unsure) else 0.98,
        )
        for m in re.finditer(r"\S+", TEXT)
    )
    (visit,) = reader().read(Transcript(text=TEXT, words=words))
    return [n for n in visit.notices if n.kind in ("hard_to_hear", "unclear_passage")]


def test_a_passage_from_which_nothing_was_recorded_is_shown_with_its_time() -> None:
    (notice,) = heard(LOST)
    assert notice.kind == "unclear_passage"
    assert notice.heard == LOST
    assert notice.chars == notice.seconds == (TEXT.index(LOST), TEXT.index(LOST) + len(LOST))
    assert notice.message.startswith(f"“{LOST}” was hard to hear")


@pytest.mark.parametrize("unsure", ["brown", "18", "rum was"])
def test_a_word_or_two_among_clear_ones_are_no_passage(unsure: str) -> None:
    assert heard(unsure) == []


def test_a_visit_that_was_hard_to_hear_is_to_be_decided() -> None:
    first, second = heard(TEXT[: TEXT.index("rum")])
    assert (first.kind, first.must_decide) == ("hard_to_hear", True)
    assert first.message.startswith("More than half of this visit")
    assert second.kind == "unclear_passage"


def test_words_of_a_person_are_as_said() -> None:
    assert heard(TEXT, probability=None) == []
    assert heard(LOST, probability=0.98) == []


@pytest.mark.parametrize(
    ("sure", "runs"),
    [
        ("", []),
        ("1", []),
        ("0", [(0, 1)]),
        ("11111", []),
        ("1111100011111", [(4, 9)]),
        ("110001111110001100", [(1, 6), (10, 18)]),
        ("0001111000", [(0, 10)]),
        ("0001111111000", [(0, 4), (9, 13)]),
    ],
)
def test_the_runs(sure: str, runs: list[tuple[int, int]]) -> None:
    """Likely and unlikely words as 1 and 0: two unlikely ones of five are a passage at a limit of 0.65."""
    assert (guidance().limits.passage_words, guidance().limits.passage_probability) == (5, 0.65)
    words = [Word(chars=(i, i + 1), probability=float(p)) for i, p in enumerate(sure)]
    assert unclear(words) == runs
