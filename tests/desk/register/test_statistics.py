"""The statistics, held against published worked examples and other programs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from desk.register.statistics import SMALL, p_chart, spread, wilson

# Newcombe, Stat Med 1998;17:857-872, table I, method 3 (Wilson's score, no continuity correction).
NEWCOMBE = [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0, 0.1611),
    (1, 29, 0.0061, 0.1718),
]

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2: defective chips on 30 wafers of 50.
WAFERS = [
    12,
    15,
    8,
    10,
    4,
    7,
    16,
    9,
    14,
    10,
    5,
    6,
    17,
    12,
    22,
    8,
    10,
    5,
    13,
    11,
    20,
    18,
    24,
    15,
    9,
    12,
    7,
    13,
    9,
    6,
]


@pytest.mark.parametrize(("n", "of", "low", "high"), NEWCOMBE)
def test_wilson_intervals_are_newcombes(n: int, of: int, low: float, high: float) -> None:
    found = wilson(n, of)
    assert (round(found.low or 0, 4), round(found.high or 0, 4)) == (low, high)


@settings(max_examples=200, deadline=None)
@given(st.integers(1, 5000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_wilson_intervals_are_those_of_statsmodels(group: tuple[int, int]) -> None:
    proportion = pytest.importorskip("statsmodels.stats.proportion")
    found = wilson(*group)
    assert (found.low, found.high) == pytest.approx(
        proportion.proportion_confint(*group, method="wilson"), abs=1e-9
    )
    assert 0 <= (found.low or 0) <= group[0] / group[1] + 1e-12
    assert found.small == (group[1] < SMALL)


def test_nothing_of_nothing_has_no_interval() -> None:
    assert (wilson(0, 0).share, wilson(0, 0).low) == (None, None)
    with pytest.raises(ValueError, match="3 of 2"):
        wilson(3, 2)


def test_the_p_chart_is_that_of_the_handbook() -> None:
    centre, points = p_chart([(n, 50) for n in WAFERS])
    assert round(centre, 4) == 0.2313
    assert {(round(p.low, 4), round(p.high, 4)) for p in points} == {(0.0524, 0.4102)}
    assert [n for n, p in enumerate(points, 1) if p.outside] == [15, 23]


def test_limits_differ_with_the_size_of_the_group_and_stay_within_the_possible() -> None:
    _, (few, many) = p_chart([(1, 4), (20, 400)])
    assert few.high > many.high > 0
    assert few.low == 0
    _, points = p_chart([(4, 4), (99, 100)])
    assert max(p.high for p in points) == 1
    with pytest.raises(ValueError, match="not empty"):
        p_chart([(0, 0)])


def test_quartiles() -> None:
    # Hyndman and Fan's definition 7, the default of R's quantile(): 1..10 gives 3.25, 5.5, 7.75 (from memory).
    found = spread(list(range(1, 11)))
    assert found is not None
    assert (found.quarter, found.median, found.three_quarters) == (3.25, 5.5, 7.75)
    assert spread([]) is None
    assert np.median([3, 1, 2]) == getattr(spread([3, 1, 2]), "median", None)
