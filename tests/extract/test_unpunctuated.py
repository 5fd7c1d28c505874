"""Whole dictations as some recognisers give them: without a mark, and without capital letters.

The dictations of test_dictations.py, their marks taken away, against the same records and the same bars. The weights
of the pauses (vocabulary/pauses.yaml) are fitted on the marks of our own sets, so that figures on those are better than
on others; the acceptance dictations were not used. A bar that is not reached is an expected failure with the figure.
"""

import os
import re
from functools import cache
from pathlib import Path

import pytest

from extract.evaluate import DANGERS, MISSED, REASSURED, UNSAID, WRONG_SIDE, Evaluation, evaluate
from extract.gold import load_gold
from extract.reader import Reader

ROOT = Path(__file__).parents[2]
SHARED = Path(os.environ.get("EARSIDE_SHARED", ROOT.parent / "shared"))
OURS = sorted(p for p in (ROOT / "tests" / "dictations").glob("*.yaml") if p.stem != "misheard")
GOLD = sorted((SHARED / "gold").glob("*.yaml"))
F1 = 0.97
BARS = ("F1", *DANGERS)
WAYS = ("capitals", "small letters")
SHORT_OF: dict[tuple[str, str, str], str] = {
    ("ours", "capitals", "F1"): "0.9608",
    ("ours", "capitals", WRONG_SIDE): "1",
    ("ours", "capitals", REASSURED): "1",
    ("ours", "capitals", MISSED): "4",
    ("ours", "capitals", UNSAID): "1",
    ("ours", "small letters", "F1"): "0.9354",
    ("ours", "small letters", WRONG_SIDE): "1",
    ("ours", "small letters", REASSURED): "11",
    ("ours", "small letters", MISSED): "7",
    ("ours", "small letters", UNSAID): "4",
}
"""What is not reached yet: (dictations, way, bar) -> the figure measured."""

MARKS = re.compile(r"(?<!\d)[.,;:?!…]|[.,;:?!…](?!\d)|\s[–—-]+\s|[\"“”()\[\]]")


def stripped(text: str, way: str) -> str:
    """The text without its marks; figures keep theirs (1.5, 3/4)."""
    bare = " ".join(MARKS.sub(" ", text).split())
    return bare.lower() if way == "small letters" else bare


@cache
def evaluated(whose: str, way: str) -> Evaluation:
    gold = load_gold(OURS if whose == "ours" else GOLD)
    return evaluate([{**one, "text": stripped(one["text"], way)} for one in gold], _reader())


@cache
def _reader() -> Reader:
    return Reader()


@pytest.mark.parametrize(
    ("said", "left"),
    [
        ("One piece, 1.5 cm. Drum (left) intact - good!", "One piece 1.5 cm Drum left intact good"),
        ("No, sixteen; well-healed… “fine”: 3/4 inch", "No sixteen well-healed fine 3/4 inch"),
    ],
)
def test_marks_are_taken_away(said: str, left: str) -> None:
    assert stripped(said, "capitals") == left
    assert stripped(said, "small letters") == left.lower()


@pytest.mark.parametrize(
    ("whose", "way", "bar"),
    [
        pytest.param(
            whose,
            way,
            bar,
            marks=[
                pytest.mark.skipif(
                    whose == "gold" and not GOLD, reason=f"no dictations in {SHARED / 'gold'}"
                ),
                *(
                    [pytest.mark.xfail(reason=f"measured: {SHORT_OF[whose, way, bar]}", strict=True)]
                    if (whose, way, bar) in SHORT_OF
                    else []
                ),
            ],
        )
        for whose in ("ours", "gold")
        for way in WAYS
        for bar in BARS
    ],
)
def test_dictations_without_marks(whose: str, way: str, bar: str) -> None:
    result = evaluated(whose, way)
    if bar == "F1":
        assert result.total.f1 >= F1, f"{result.total.f1:.4f}"
    else:
        assert result.dangers[bar] == 0, result.dangers


def test_every_known_shortfall_is_of_a_way_and_a_bar() -> None:
    assert all(whose in ("ours", "gold") and way in WAYS and bar in BARS for whose, way, bar in SHORT_OF)
    assert {WRONG_SIDE, REASSURED, MISSED, UNSAID} == set(DANGERS)
