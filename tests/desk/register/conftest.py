"""A store of visits with known figures."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from register_store import ANN

from shared.record import Visit
from shared.store import Recording, Store
from shared.transcript import Transcript

Add = Callable[..., int]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A store in which Ann Example works."""
    with Store(tmp_path) as made:
        made.set_person(ANN, "clinician")
        yield made


@pytest.fixture
def add(store: Store) -> Add:
    """Keep a visit of a day (None: not known), signed unless said otherwise."""
    numbers = itertools.count(1)

    def keep(made: Visit, day: str | None, *, signed: bool = True) -> int:
        started = {"started": f"{day}T12:00:00.000Z", "started_from": "name"} if day else {}
        recording = Recording(f"{next(numbers):064d}", "a.wav", 9, "sound", **started)
        (number,) = store.keep(recording, Transcript.from_text("word"), [made]).visits
        if signed:
            store.sign(number, ANN, revision=1)
        return number

    return keep
