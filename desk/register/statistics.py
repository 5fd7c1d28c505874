"""The few statistics that the register needs, by scipy, each with its source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

SMALL = 5
"""Groups of fewer are said to be small. Ours: their intervals tell next to nothing."""


@dataclass(frozen=True)
class Share:
    """n of `of`, with its Wilson 95 % interval; low and high are shares of 1, None if `of` is 0."""

    n: int
    of: int
    low: float | None
    high: float | None

    @property
    def share(self) -> float | None:
        """n / of."""
        return self.n / self.of if self.of else None

    @property
    def small(self) -> bool:
        """Whether the group is small."""
        return self.of < SMALL


def wilson(n: int, of: int) -> Share:
    """A share with its 95 % interval by Wilson's score without continuity correction (Newcombe, Stat Med
    1998;17:857-872, method 3). Raises ValueError unless 0 <= n <= of."""
    if not 0 <= n <= of:
        raise ValueError(f"{n} of {of} is no share")
    if not of:
        return Share(n, of, None, None)
    from scipy.stats import binomtest  # noqa: PLC0415  (slow to load)

    found = binomtest(n, of).proportion_ci(0.95, method="wilson")
    return Share(n, of, float(found.low), float(found.high))


@dataclass(frozen=True)
class Point:
    """One group of a p-chart: its share and its own limits, shares of 1. outside: beyond a limit."""

    n: int
    of: int
    share: float
    low: float
    high: float

    @property
    def outside(self) -> bool:
        """Whether it lies beyond a limit."""
        return not self.low <= self.share <= self.high


def p_chart(groups: Sequence[tuple[int, int]]) -> tuple[float, list[Point]]:
    """The share in all, and a point for each group (n, of) with limits of three standard errors, which differ
    with the group's size and stay within 0 to 1 (NIST/SEMATECH e-Handbook 6.3.3.2). Raises ValueError if
    all groups together are empty, or one is."""
    if not groups or not all(of > 0 and 0 <= n <= of for n, of in groups):
        raise ValueError("a p-chart needs groups that are not empty")
    centre = sum(n for n, _ in groups) / sum(of for _, of in groups)
    points = []
    for n, of in groups:
        reach = 3 * sqrt(centre * (1 - centre) / of)
        points.append(Point(n, of, n / of, max(0.0, centre - reach), min(1.0, centre + reach)))
    return centre, points


@dataclass(frozen=True)
class Spread:
    """How many numbers, their median, quartiles, smallest and largest."""

    n: int
    low: float
    quarter: float
    median: float
    three_quarters: float
    high: float


def spread(numbers: Sequence[float]) -> Spread | None:
    """The spread of some numbers, None of none. Quartiles by linear interpolation (Hyndman and Fan, Am Stat
    1996;50:361-365, definition 7)."""
    if not numbers:
        return None
    import numpy as np  # noqa: PLC0415  (slow to load)

    return Spread(len(numbers), *(float(x) for x in np.quantile(numbers, (0, 0.25, 0.5, 0.75, 1))))
