"""`earside evaluate` and `earside explain`: what they print, and how they fail. With the real reader."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner, Result

from desk import checking
from desk.cli import cli
from desk.explained import LEGEND
from extract.reader import Reader
from shared.vocabulary import Vocabulary

TEXT = "Right ear. Hard brown wax. Suction tube. The drum is intact. No bleeding. It isn't sticky."
EAR = {
    "side": "right",
    "before": {"wax": [{"where": "whole", "consistency": ["hard"], "colour": ["brown"]}]},
    "procedure": {"methods": ["microsuction"], "instruments": [{"name": "suction_tube"}]},
    "after": {"drum": ["intact"]},
    "complications_denied": ["bleeding"],
}

Call = Callable[..., Result]


@cache
def reader(vocabulary: Vocabulary) -> Reader:
    """One reader for each vocabulary: making one takes a moment."""
    return Reader(vocabulary)


@pytest.fixture
def call(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Call:
    """Call a command in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("EARSIDE_DATA", "data")
    monkeypatch.setattr(checking, "Reader", reader)
    return lambda *arguments: CliRunner().invoke(cli, arguments)


def gold(path: Path, *ears: dict[str, object]) -> None:
    path.write_text(yaml.safe_dump([{"id": "ours", "text": TEXT, "visits": [{"ears": list(ears)}]}]))


def test_a_reading_that_is_all_right(call: Call, tmp_path: Path) -> None:
    gold(tmp_path / "gold.yaml", EAR)
    done = call("evaluate", "gold.yaml", "--misses")
    assert done.exit_code == 0, done.output
    assert "1 of 1 dictations exactly right; 0 with a wrong number of visits." in done.stdout
    assert "drum wrongly reassuring 0" in done.stdout
    assert "complications denied" in done.stdout


def test_misses_are_listed(call: Call, tmp_path: Path) -> None:
    gold(tmp_path / "gold.yaml", EAR | {"after": {"drum": ["perforated"]}})
    done = call("evaluate", "gold.yaml", "--misses")
    rows = [line.split() for line in done.stdout.splitlines() if line.startswith("ours")]
    assert rows == [
        ["ours", "1", "right", "drum", "after:intact", "should", "not", "be", "there"],
        ["ours", "1", "right", "drum", "after:perforated", "missed"],
    ]
    assert "drum wrongly reassuring 1, warning sign missed 1" in done.stdout
    assert "ours" not in call("evaluate", "gold.yaml").stdout


def test_the_result_for_programs(call: Call, tmp_path: Path) -> None:
    gold(tmp_path / "gold.yaml", EAR)
    (line,) = call("evaluate", "gold.yaml", "--json").stdout.splitlines()
    assert json.loads(line)["f1"] == 1.0
    assert json.loads(line)["could_hurt"] == 0


def test_a_gold_file_that_cannot_be_used(call: Call, tmp_path: Path) -> None:
    gold(tmp_path / "gold.yaml", EAR | {"side": "middle"})
    for name, says in (("gold.yaml", "ours, visit 1: ears.0.side"), ("none.yaml", "cannot be read")):
        done = call("evaluate", name)
        assert (done.exit_code, done.stdout) == (2, "")
        assert says in done.stderr
        assert len(done.stderr.splitlines()) == 1


def test_every_phrase_is_marked(call: Call, tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text(TEXT)
    done = call("explain", "note.txt")
    assert done.exit_code == 0, done.output
    text = " ".join(done.stdout.split())
    assert "Right ear [side: right]" in text
    assert "Hard [right ear, before, wax: hard] brown [right ear, before, wax: brown]" in text
    assert "intact [right ear, after, drum: intact]" in text
    assert "bleeding [right ear, no: bleeding]" in text
    assert "sticky {not recorded: denied}" in text
    assert LEGEND in text
    assert "a phrase for instrument" in text
    assert "\x1b" not in done.stdout


def test_stretches_for_programs(call: Call, tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text(TEXT)
    (line,) = call("explain", "note.txt", "--json").stdout.splitlines()
    stretches = json.loads(line)["stretches"]
    assert "".join(s["text"] for s in stretches) == TEXT
    (intact,) = [s for s in stretches if s["text"] == "intact"]
    assert intact["entries"][0]["path"] == "ears[0].after.drum[0]"
    (sticky,) = [s for s in stretches if s["text"].endswith("sticky")]
    assert (sticky["sort"], sticky["reason"]) == ("mentioned", "denied")


def test_nothing_a_terminal_would_obey_is_printed(call: Call, tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("Right ear.\x1b[31m Hard \x07wax.\nThe drum is intact [not markup].")
    done = call("explain", "note.txt")
    assert "\x1b" not in done.stdout
    assert "\x07" not in done.stdout
    assert "[not markup]" in done.stdout


def test_a_source_that_cannot_be_used(call: Call, tmp_path: Path) -> None:
    (tmp_path / "blank.txt").write_text("  \n")
    for name, says in (("none.txt", "there is no such file"), ("blank.txt", "has no words in it")):
        done = call("explain", name)
        assert (done.exit_code, done.stdout) == (2, "")
        assert says in done.stderr


OWN = """
consistency: {firm: [conker firm, hard as nails or so]}
instrument: {fine_suction_tube: [little grey one]}
"""


def test_own_words_are_checked_and_told(call: Call, tmp_path: Path) -> None:
    (tmp_path / "ours.yaml").write_text(OWN)
    done = call("vocabulary", "ours.yaml")
    assert done.exit_code == 0, done.output
    assert done.stdout.splitlines() == [
        "ours.yaml: can be used. New phrases: 3.",
        "  consistency, firm: conker firm, hard as nails or so",
        "  instrument, fine_suction_tube: little grey one",
    ]
    assert "data/vocabulary.yaml for every reading" in done.stderr


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("consistency: {crunchy: [toast]}", "consistency has no value 'crunchy'. Values are: hard, firm"),
        ("texture: {hard: [x]}", "unknown kind 'texture'. Kinds are: "),
        ("consistency: {firm: [stone hard]}", "“stone hard” means hard already"),
        ("consistency: {firm: [a (b]}", "a bracket is not closed"),
        ("consistency: [", "not valid YAML"),
        ("just words", "expected kinds with values"),
        ("", "expected kinds with values"),
        ("[" * 5000, "not valid YAML"),
    ],
)
def test_own_words_that_cannot_be_used(call: Call, tmp_path: Path, content: str, says: str) -> None:
    (tmp_path / "ours.yaml").write_text(content)
    (tmp_path / "note.txt").write_text(TEXT)
    for command in (
        ["vocabulary", "ours.yaml"],
        ["extract", "--plain", "--vocabulary", "ours.yaml", "note.txt"],
    ):
        done = call(*command)
        assert (done.exit_code, done.stdout) == (2, "")
        assert done.stderr.startswith("ours.yaml")
        assert says in done.stderr
        assert len(done.stderr.splitlines()) == 1


def test_own_words_of_the_data_folder_are_used(call: Call, tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("Right ear. The wax is conker firm, so I used the little grey one.")
    assert "vocabulary.yaml" in call("vocabulary").stderr  # where to write them
    assert "fine_suction_tube" not in call("extract", "--plain", "note.txt").stdout
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "vocabulary.yaml").write_text(OWN)
    assert "New phrases: 3" in call("vocabulary").stdout
    for command in ("extract", "explain"):
        flag = "--plain" if command == "extract" else "--json"
        assert "fine_suction_tube" in call(command, flag, "note.txt").stdout
    assert "firm" in call("extract", "--plain", "note.txt", "--data", "data").stdout
    assert "fine_suction_tube" not in call("extract", "--plain", "note.txt", "--data", "else").stdout
