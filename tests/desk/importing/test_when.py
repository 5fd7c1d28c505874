"""The time of a recording: from its metadata, else its name, else its file. Names: common practice, no source."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from desk.importing import when

MODIFIED = datetime(2022, 5, 6, 7, 8, 9, tzinfo=UTC)


@pytest.mark.parametrize(
    "name",
    ["2021-03-15T09-30-00", "20210315_093000", "PXL_20210315_093000123", "Recording 2021-03-15 at 09.30.00",
     "REC_2021_03_15_09_30_00", "20210315093000", "clinic 2021-03-15 0930"],
)  # fmt: skip
def test_names_that_state_a_time(name: str) -> None:
    assert when.in_name(name, MODIFIED) == datetime(2021, 3, 15, 9, 30).astimezone()


@pytest.mark.parametrize(
    "name", ["03-04-2021", "2021-02-30 10.00", "patient 4711", "12345678901234", "18990101", ""]
)
def test_names_that_state_none(name: str) -> None:
    assert when.in_name(name, MODIFIED) is None


def test_a_day_alone_takes_the_files_time_only_if_it_is_of_that_day() -> None:
    assert when.in_name("VID-20220506-WA0003", MODIFIED) == MODIFIED
    assert when.in_name("VID-20210315-WA0003", MODIFIED) == datetime(2021, 3, 15).astimezone()


def test_metadata_comes_first_and_clocks_never_set_are_passed_over() -> None:
    name = "20210315_093000"
    stated = {"creation_time": "2021-03-14T08:00:00.000000Z"}
    assert when.recorded(stated, name, MODIFIED) == ("2021-03-14T08:00:00.000Z", "metadata")
    assert when.recorded({"creation_time": "1904-01-01T00:00:00Z"}, name, MODIFIED)[1] == "name"
    assert when.recorded({"creation_time": "2021"}, "x", MODIFIED) == (None, None)
