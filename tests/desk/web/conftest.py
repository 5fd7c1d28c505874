"""A desk with visits in it, read by the real reader from invented dictations, each word with a time."""

from __future__ import annotations

import re
import wave
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from desk.rereading import Rereader
from desk.web.app import application
from extract.reader import Reader
from shared.store import Recording, Store
from shared.transcript import Transcript, Word

HOST, KEY = "127.0.0.1:8701", "the-key"
ANN, BEN = "Ann Example", "Ben Sample"

CLEAN = (
    "Patient 41. Consent given. Right ear. The canal is completely blocked with hard dark brown wax. "
    "Microsuction. One piece, sixteen millimetres. The canal is clear now. The drum is intact. "
    "No bleeding, no pain. Keep it dry."
)
NO_SIDE = (
    "Patient 42. Consent given. The canal is completely blocked with soft yellow wax. Microsuction with a fine "
    "suction tube. The canal is clear now. The drum is intact. No bleeding."
)
HOSTILE = (
    "Patient <script>alert(1)</script> 43. Consent given. Right ear <b onmouseover=alert(2)>hard\" 'wax</b>, "
    "{{ 777 * 777 }} eighty millimetres. The drum is intact."
)


class Desk:
    """The pages as a browser sees them, and the store under them."""

    ANN, BEN, CLEAN, NO_SIDE, HOSTILE = ANN, BEN, CLEAN, NO_SIDE, HOSTILE

    def __init__(self, folder: Path, reader: Reader, rereader: Rereader) -> None:
        self.folder, self.reader, self.rereader = folder, reader, rereader
        self.client = TestClient(self.served(HOST), base_url=f"http://{HOST}", follow_redirects=False)
        self.client.headers["origin"] = f"http://{HOST}"
        self.client.get("/", params={"key": KEY})
        with Store(folder) as store:
            store.set_person(ANN, "clinician")
            store.set_person(BEN, "assistant")

    def served(self, host: str) -> Starlette:
        """The pages under an address."""
        app = application(self.folder, key=KEY, hosts=(host,))
        app.state.bench._rereader = self.rereader
        return app

    def dictate(self, text: str, name: str = "morning.wav") -> int:
        """Keep the visits of a dictation, two words a second; the id of the first."""
        return keep(self.folder, self.reader, text, name)

    def work_as(self, name: str) -> None:
        """Choose who is working."""
        assert self.client.post("/people/now", data={"name": name}).status_code == 303

    def page(self, address: str, **query: str) -> str:
        """The page at an address."""
        answer = self.client.get(address, params=query or None)
        assert answer.status_code == 200, answer.text
        return answer.text

    def do(self, visit: int, act: str, **fields: str) -> str:
        """Do something to a visit, on the revision that stands; where the browser is sent."""
        with Store(self.folder) as store:
            revision = store.visit(visit).revision
        answer = self.client.post(f"/visits/{visit}/{act}", data={"revision": str(revision), **fields})
        assert answer.status_code == 303, answer.text
        return answer.headers["location"]

    def plain(self, visit: int) -> dict[str, object]:
        """The record as it stands."""
        with Store(self.folder) as store:
            return store.visit(visit).visit.plain()

    def status(self, visit: int) -> str:
        """The state it is in."""
        with Store(self.folder) as store:
            return store.visit(visit).status


def keep(folder: Path, reader: Reader, text: str, name: str, *, probability: float = 0.95) -> int:
    """Put a dictation into a store, with a sound of the same length: a tone."""
    words = tuple(
        Word(chars=m.span(), seconds=(n / 2, n / 2 + 0.4), probability=probability)
        for n, m in enumerate(re.finditer(r"\S+", text))
    )
    transcript = Transcript(text=text, words=words, source=name, duration=len(words) / 2, model="base")
    path = folder / "incoming" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        tone = np.sin(np.arange(len(words) * 8_000) * (2 * np.pi * 440 / 16_000)) * 9_000
        file.writeframes(tone.astype("<i2").tobytes() + text.encode())  # no two recordings are the same
    with Store(folder) as store:
        return store.keep(Recording.of(path, "sound"), transcript, reader.read(transcript)).visits[0]


@pytest.fixture(scope="session")
def reader() -> Reader:
    """The reader with the shipped vocabulary; it takes a second to make."""
    return Reader()


@pytest.fixture(scope="session")
def rereader(reader: Reader) -> Rereader:
    """The same, to read again with."""
    return Rereader(reader)


@pytest.fixture
def desk(tmp_path: Path, reader: Reader, rereader: Rereader) -> Iterator[Desk]:
    """A desk without visits at which a clinician works."""
    made = Desk(tmp_path / "data", reader, rereader)
    made.work_as(ANN)
    yield made
    made.client.close()
