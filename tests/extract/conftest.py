"""What the tests of the reading share: one reader for all, and short ways to ask it for a record."""

from collections.abc import Callable
from typing import Any

import pytest

from extract.reader import Reader
from shared.transcript import Transcript

Plain = dict[str, Any]


@pytest.fixture(scope="session")
def reader() -> Reader:
    """The reader with the shipped vocabulary; making it takes longer than any of the tables."""
    return Reader()


@pytest.fixture(scope="session")
def read(reader: Reader) -> Callable[[str], list[Plain]]:
    """What is said -> the visits in the plain form."""
    return lambda said: [visit.plain() for visit in reader.read(Transcript.from_text(said))]


@pytest.fixture(scope="session")
def visit(read: Callable[[str], list[Plain]]) -> Callable[[str], Plain]:
    """What is said -> its one visit in the plain form, {} if nothing is recorded."""

    def one(said: str) -> Plain:
        visits = read(said)
        assert len(visits) < 2, "cut into several visits"
        return visits[0] if visits else {}

    return one


@pytest.fixture(scope="session")
def sides(visit: Callable[[str], Plain]) -> Callable[[str], dict[str, Plain]]:
    """What is said -> the ears of its one visit by side; those without one: unstated, unstated2."""

    def by_side(said: str) -> dict[str, Plain]:
        found: dict[str, Plain] = {}
        for ear in visit(said).get("ears", []):
            name = ear["side"]
            while name in found:
                name = f"{ear['side']}{int(name.removeprefix(ear['side']) or 1) + 1}"
            found[name] = ear
        return found

    return by_side


@pytest.fixture(scope="session")
def wax(sides: Callable[[str], dict[str, Plain]]) -> Callable[[str], dict[str, str]]:
    """What is said of one ear -> its layers of wax: {"surface": "hard brown"}."""

    def layers(said: str) -> dict[str, str]:
        ears = list(sides(said).values())
        assert len(ears) < 2, "more than one ear"
        entries = ears[0].get("before", {}).get("wax", []) if ears else []
        return {e["where"]: " ".join(e.get("consistency", []) + e.get("colour", [])) for e in entries}

    return layers
