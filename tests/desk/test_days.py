"""Days at the ends of the calendar are refused in a line by every command that takes one: no reckoning leaves it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from desk import days
from desk.cli import cli
from shared.errors import BadInput
from shared.store import Store

ENDS = ("0001-01-01", "9999-12-31", "1899-12-31", "3000-01-01")


@pytest.mark.parametrize("day", ENDS)
@pytest.mark.parametrize(
    "command",
    ["list --since", "register --from", "register --to", "export visits --since", "export visits --until",
     "recall 1 --by Ann --postpone"],
)  # fmt: skip
def test_a_day_that_cannot_be_meant(tmp_path: Path, command: str, day: str) -> None:
    with Store(tmp_path) as store:
        store.set_person("Ann", "clinician")
    told = CliRunner().invoke(cli, [*command.split(), day, "--data", str(tmp_path)], prog_name="earside")
    assert told.exit_code == 2
    assert f"'{day}' cannot be meant" in told.output


@pytest.mark.parametrize("day", ["1900-01-01", "2999-12-31"])
def test_the_first_and_the_last_day_are_taken(tmp_path: Path, day: str) -> None:
    Store(tmp_path).close()
    for command in (["list", "--since", day], ["register", "--from", day, "--to", day]):
        told = CliRunner().invoke(cli, [*command, "--data", str(tmp_path)], prog_name="earside")
        assert told.exit_code == 0, told.output


def test_typed_into_a_page() -> None:
    assert days.typed("", "dates") is None
    assert days.typed("2026-03-02", "dates") == date(2026, 3, 2)
    for given in (*ENDS, "2 March", "2026-02-30"):
        with pytest.raises(BadInput, match="is not a date"):
            days.typed(given, "dates")
