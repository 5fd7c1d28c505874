"""The progress of an import: minutes of sound within long files too, and the time left at the measured speed."""

from __future__ import annotations

from desk.importing.beats import Beat
from desk.importing.showing import Bar


def test_progress_within_a_long_file_and_the_time_left() -> None:
    now = [0.0]
    bar = Bar("Importing", 2, 7200.0, clock=lambda: now[0])
    assert bar.words() == "0 of 2 files"
    now[0] = 60.0
    bar.under_way("long.m4a", Beat(600.0, 3600.0))
    assert bar.words() == "0 of 2 files, 10 of 120 min, 10.0 times real time, 11:00 left"
    bar.under_way("long.m4a", Beat())  # not stuck, nothing new
    now[0] = 180.0
    bar.under_way("other.m4a", Beat(1200.0, 3600.0))
    assert bar.words() == "0 of 2 files, 30 of 120 min, 10.0 times real time, 9:00 left"
    bar.step("long.m4a", 3600.0)
    assert bar.words().startswith("1 of 2 files, 80 of 120 min")


def test_what_was_heard_by_an_earlier_import_does_not_promise_speed_for_long() -> None:
    now = [0.0]
    bar = Bar("Importing", 1, 36_000.0, clock=lambda: now[0])
    now[0] = 1.0
    bar.under_way("long.m4a", Beat(18_000.0, 36_000.0))
    for _ in range(100):
        now[0] += 6.0
        bar.under_way("long.m4a", Beat(18_000.0 + 10 * (now[0] - 1.0), 36_000.0))
    assert bar.words() == "0 of 1 files, 400 of 600 min, 10.0 times real time, 20:00 left"
