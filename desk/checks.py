"""What a clinician must look at first: the reader's notices, then all that is unsaid, doubtful or unclear."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from desk import wording
from desk.lines import Line, clean, sections
from shared.record import Notice, Value, Visit

UNCLEAR = 0.5
"""A confidence below this is shown to the clinician. Set by us on the sample recordings; no source."""


@dataclass(frozen=True)
class Check:
    """One thing to look at. about: the values or the notice whose words show it."""

    message: str
    about: tuple[Value[Any] | Notice, ...]
    guidance: str = ""

    @property
    def words(self) -> set[tuple[int, int]]:
        """Where its words stand in the text."""
        return {value.chars for value in self.about if value.chars}


def checks(visit: Visit) -> list[Check]:
    """What to look at, the weightiest first."""
    notices = sorted(visit.notices, key=lambda notice: -notice.weight)
    ours = [*_unsaid(visit), *_doubtful(visit), *_unclear(visit)]
    undecided = [notice for notice in notices if notice.decision is None]
    return [*map(_noticed, undecided), *(c for c in ours if not any(_tells(n, c) for n in notices))]


def _tells(notice: Notice, check: Check) -> bool:
    """Whether the notice says the same: of these very words, or that words they are part of were unsure."""
    if notice.chars is None:
        return False
    start, end = notice.chars
    if notice.kind.startswith("uncertain_"):
        return any(a < end and start < b for a, b in check.words)
    return (start, end) in check.words


def _noticed(notice: Notice) -> Check:
    decide = "To decide before signing: " if notice.must_decide else ""
    message = clean(notice.message).removesuffix(wording.DEFER).rstrip()  # the sheet says it once
    return Check(decide + message, (notice,), clean(notice.guidance))


def _unsaid(visit: Visit) -> Iterator[Check]:
    for ear in visit.ears:
        if ear.side.value == "unstated":
            yield Check("Which ear? No side was said.", (ear.side,))


def _doubtful(visit: Visit) -> Iterator[Check]:
    for place, line in _placed(visit):
        if any(value.certainty == "possible" and not value.by_hand for value in line.values):
            yield Check(f"Said with doubt: {place}, {line.label.lower()}: {line.text}.", line.values)


def _unclear(visit: Visit) -> Iterator[Check]:
    seen = set()
    for place, line in _placed(visit):
        words = tuple(v.chars for v in line.values if v.confidence < UNCLEAR and not v.by_hand)
        if words and words not in seen:  # an inferred value shares its words with the one it came from
            seen.add(words)
            yield Check(f"Not heard clearly: {place}, {line.label.lower()}: {line.text}.", line.values)


def _placed(visit: Visit) -> Iterator[tuple[str, Line]]:
    """Every line with where it stands, e.g. "Right ear, before"."""
    above = ""
    for section in sections(visit):
        above = above if section.depth else section.heading
        place = f"{above}, {section.heading.lower()}" if section.depth else section.heading
        for line in section.lines:
            yield place, line
