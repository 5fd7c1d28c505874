"""What an import came to is told in sentences."""

from __future__ import annotations

from collections import Counter
from importlib import resources

import yaml

from desk.importing import deciding
from desk.importing.faults import CHANGED, DIED
from desk.importing.summary import Summary


def test_every_notice_that_must_be_decided_has_its_words() -> None:
    text = resources.files("shared").joinpath("vocabulary/guidance.yaml").read_text(encoding="utf-8")
    notices = yaml.safe_load(text)["notices"]
    assert set(deciding.WHAT) == {kind for kind, notice in notices.items() if notice.get("must_decide")}


def test_why_visits_wait_and_which_failures_are_tried_again() -> None:
    summary = Summary(read=3, undecided=2, reasons=Counter(side_unstated=2, uncertain_number=1))
    summary.fail(DIED)
    summary.fail(CHANGED)
    summary.fail(CHANGED)
    said = list(summary.lines(1.0))
    at = said.index("2 visits with something to decide before signing:")
    assert said[at + 1 : at + 3] == [
        "  in 2 the side of an ear was not said",
        "  in 1 a number was not heard surely",
    ]
    assert said[-3:] == [
        "3 files failed, each named above.",
        "  1 would fail again as they are; to try them all the same: --retry",
        "  2 may do another time, and the next import tries them again",
    ]
