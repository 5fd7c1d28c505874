"""The sample dictations as visits in a store, read from their scripts."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from extract.reader import Reader
from shared.record import Visit
from shared.store import Recording, Store
from shared.transcript import Transcript

SAMPLES = Path(__file__).parents[3] / "sample_audio"
ANN = "Ann Example"


@pytest.fixture(scope="session")
def visits() -> dict[str, list[Visit]]:
    """The visits of every sample script."""
    reader = Reader()
    read = {}
    for path in sorted(SAMPLES.glob("*.txt")):
        text = path.read_text(encoding="utf-8")
        read[path.stem] = reader.read(Transcript(text=text, source=path.name))
    return read


Keep = Callable[[Visit], int]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A data folder with a clinician."""
    with Store(tmp_path / "data") as store:
        store.set_person(ANN, "clinician")
    return tmp_path / "data"


@pytest.fixture
def keep(folder: Path) -> Keep:
    """Put a visit into the store; its number."""

    def put(visit: Visit) -> int:
        with Store(folder) as store:
            count = len(store.visits().rows)
            path = folder.parent / f"said-{count}.txt"
            path.write_text(str(count))
            transcript = Transcript(text="x" * 100_000, source=path.name)
            return store.keep(Recording.of(path, "text"), transcript, [visit]).visits[0]

    return put


def sign(folder: Path, number: int) -> None:
    """Sign a visit, whatever waits."""
    with Store(folder) as store:
        store.sign(number, ANN, revision=store.visit(number).revision, reason="all of it was looked at")
