"""Each value in the words of many people: terse notes, talk at the couch, letters, second languages.

`phrasebook.txt` holds a row each: what is said, then " | ", then leaves of the record that must be there ("left.drum=
intact": an ear goes by its side) and, after "!", such as must not be; "!left.agents" is any value of that field, and
"v2." leads the leaves of a second visit. Common practice, no source.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

_PARTS = ("before", "procedure", "after", "background")
ROWS = [
    line.split(" | ")
    for line in (Path(__file__).parent / "phrasebook.txt").read_text(encoding="utf-8").splitlines()
    if line and not line.startswith("#")
]


def leaves(tree: Any, path: str = "") -> Iterator[str]:
    """Every leaf of a plain record by its ear and field."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            if key not in ("side", "where") or "item" in tree:
                yield from leaves(value, path if key in _PARTS else f"{path}.{key}" if path else key)
    elif isinstance(tree, list):
        for value in tree:
            side = value.get("side") if isinstance(value, dict) else None
            yield from leaves(value, side if side and path == "ears" else path)
    else:
        yield f"{path}={tree}"


def test_rows_are_many_and_each_demands_something() -> None:
    assert len(ROWS) >= 60
    assert all(len(row) == 2 and row[1].split() for row in ROWS)
    assert len({row[0] for row in ROWS}) == len(ROWS)


@pytest.mark.parametrize(("said", "expected"), ROWS)
def test_said_in_other_words(read: Callable[[str], list[Any]], said: str, expected: str) -> None:
    found = {
        f"v{number + 1}.{leaf}" if number else leaf
        for number, visit in enumerate(read(said))
        for leaf in leaves(visit)
    }
    there = {leaf for leaf in expected.split() if not leaf.startswith("!")}
    absent = tuple(leaf[1:] for leaf in expected.split() if leaf.startswith("!"))
    assert there <= found
    assert not {
        leaf for leaf in found for no in absent if leaf == no or leaf.startswith((f"{no}=", f"{no}."))
    }
