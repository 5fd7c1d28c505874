"""Every set of small words in shared/vocabulary/sets.yaml is used by the module it is named for, and only there."""

import re
from importlib import resources
from pathlib import Path

import yaml

SETS = yaml.safe_load((resources.files("shared.vocabulary") / "sets.yaml").read_text(encoding="utf-8"))
LISTED = {(module, name) for module, sets in SETS.items() for name in sets}
USED = {
    pair
    for path in sorted((Path(__file__).parents[2] / "extract").rglob("*.py"))
    for pair in re.findall(r'word_set\(\s*"(\w+)",\s*"(\w+)"', path.read_text(encoding="utf-8"))
}


def test_every_set_is_used() -> None:
    assert sorted(LISTED - USED) == []


def test_every_set_that_is_used_is_listed() -> None:
    assert sorted(USED - LISTED) == []
    assert len(USED) > 40


def test_no_word_is_listed_twice_in_a_set() -> None:
    twice = {
        (module, name)
        for module, sets in SETS.items()
        for name, words in sets.items()
        if len(words) != len(set(words))
    }
    assert twice == set()
