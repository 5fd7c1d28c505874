"""`earside show`, `list`, `search`, `schema`, `completion`, `demo`, and help."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from click.testing import Result

from desk import work
from desk.cli import cli
from shared.record import PlainVisit, Visit

Earside = Callable[..., Result]

ROOT = Path(__file__).parents[2]
NO_SIDE = "looked in, sixteen millimetres"


@pytest.fixture
def kept(earside: Earside, tmp_path: Path) -> None:
    (tmp_path / "good.wav").write_bytes(b"RIFF\0\0")
    (tmp_path / "note.txt").write_text(NO_SIDE)
    assert earside("extract", "good.wav", "note.txt").exit_code == 0


@pytest.mark.usefixtures("kept")
def test_show_puts_what_must_be_checked_first(earside: Earside) -> None:
    shown = earside("show", "2").stdout
    assert shown.index("DRAFT, not signed") < shown.index("Check first") < shown.index("Ear, side not said")
    assert "To decide before signing: No side was said." in shown
    assert "“sixteen millimetres”" in shown
    assert "16 mm" in shown


@pytest.mark.usefixtures("kept")
def test_show_says_doubt_in_words_and_gives_the_time(earside: Earside) -> None:
    shown = earside("show", "1").stdout
    assert re.search(r"Wax +hard \(possible\) +“maybe hard” +01:03", shown)
    assert re.search(r"Right ear +“right ear” +01:00", shown)
    assert "\x1b" not in shown  # no colour codes in a pipe


@pytest.mark.usefixtures("kept")
def test_show_without_a_number_shows_the_latest(earside: Earside) -> None:
    assert earside("show").stdout == earside("show", "2").stdout
    assert json.loads(earside("show", "--plain").stdout) == {
        "ears": [{"side": "unstated", "removed_mm": [16]}]
    }
    full = json.loads(earside("show", "1", "--full").stdout)
    assert Visit.model_validate(full).ears[0].removed_mm[0].value == 16


@pytest.mark.usefixtures("kept")
def test_list_has_the_latest_first(earside: Earside) -> None:
    rows = [json.loads(line) for line in earside("list", "--json").stdout.splitlines()]
    assert [(r["id"], r["recording"], r["to_decide"]) for r in rows] == [
        (2, "note.txt", 1),
        (1, "good.wav", 0),
    ]
    listed = earside("list").stdout.splitlines()
    assert listed[0].split()[:2] == ["Visit", "Read"]
    assert len(listed) == 4


@pytest.mark.usefixtures("kept")
def test_search_shows_where_it_was_said(earside: Earside) -> None:
    found = earside("search", "millimetre", "looked").stdout
    assert "[looked] in, sixteen [millimetres]" in found
    rows = [json.loads(line) for line in earside("search", "--json", "maybe").stdout.splitlines()]
    assert [r["visits"] for r in rows] == [[1]]
    nothing = earside("search", "tympanoplasty")
    assert (nothing.stdout, nothing.stderr, nothing.exit_code) == ("", "Nothing found.\n", 0)


def test_nothing_kept_yet(earside: Earside) -> None:
    for command in ("show", "list"):
        done = earside(command)
        assert (done.stdout, done.exit_code) == ("", 0)
        assert done.stderr.startswith("No visit is kept yet. Start with: earside extract")
    done = earside("show", "7")
    assert (done.stderr, done.exit_code) == ("visit 7: there is no such visit. See: earside list\n", 2)


def test_what_was_dictated_cannot_command_the_terminal(earside: Earside, tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("\x1b[31mred[bold] right ear, sixteen millimetres")
    (tmp_path / "n2.txt").write_text("\x1b[31mred, sixteen millimetres")
    earside("extract", "note.txt", "n2.txt")
    for command in (["show", "1"], ["show", "2"], ["list"], ["search", "red"]):
        assert "\x1b" not in earside(*command).stdout


def test_schema_is_that_of_the_record(earside: Earside) -> None:
    assert json.loads(earside("schema").stdout) == Visit.model_json_schema()
    assert json.loads(earside("schema", "plain").stdout) == PlainVisit.model_json_schema()


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion(earside: Earside, shell: str) -> None:
    assert "_EARSIDE_COMPLETE" in earside("completion", shell).stdout


def test_demo_keeps_nothing(earside: Earside, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "good.opus").write_bytes(b"OggS\0")
    monkeypatch.setattr(work, "_sample", lambda name: tmp_path / "good.opus")
    done = earside("demo")
    assert done.exit_code == 0
    assert "“sixteen millimetres”" in done.stdout
    assert "nothing of it was kept" in done.stderr
    assert "Next: " in done.stderr
    assert not (tmp_path / "data").exists()
    assert earside("demo", "--data", "kept").exit_code == 0
    assert "Right ear" in earside("show", "--data", "kept").stdout


def test_demo_outside_a_checkout(earside: Earside, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(work, "DEMO", "no such recording.opus")
    done = earside("demo")
    assert "they come with the source" in done.stderr
    assert (len(done.stderr.splitlines()), done.exit_code) == (1, 1)


@pytest.mark.parametrize("name", sorted(cli.commands))
def test_every_command_has_help_an_example_and_a_place_in_the_manual(earside: Earside, name: str) -> None:
    shown = earside(name, "--help").stdout
    assert f"Example:\n    earside {name}" in shown
    context = click.Context(cli.commands[name])
    assert not cli.commands[name].get_short_help_str(limit=45).endswith("...")
    described = [p for p in cli.commands[name].get_params(context) if isinstance(p, click.Option)]
    assert all(option.help for option in described)
    assert f"`earside {name}" in (ROOT / "README.md").read_text() + (ROOT / "DEVELOPERS.md").read_text()
