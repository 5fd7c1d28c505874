"""The dictating page's line to the desk: sound that is cut off, sent twice, gone on with; and what comes back."""

from __future__ import annotations

import json
import struct
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from listening_script import find, said, scripted_parts
from starlette.testclient import TestClient, WebSocketTestSession
from starlette.websockets import WebSocketDisconnect

from desk.web.app import application
from dictate import speech
from extract.reader import Reader
from shared.store import Store

HOST, KEY = "127.0.0.1:8701", "the-key"
LINE = f"ws://{HOST}/listen/sound"
PIECE = 3_200
Message = dict[str, Any]


@pytest.fixture
def client(tmp_path: Path, reader: Reader, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """A browser at a desk whose detector and recogniser are scripted."""
    monkeypatch.setattr(speech, "find", find)
    app = application(tmp_path, key=KEY, hosts=(HOST,), parts=scripted_parts(lambda: reader))
    with TestClient(app, base_url=f"http://{HOST}", follow_redirects=False) as browser:
        browser.headers["origin"] = f"http://{HOST}"
        browser.get("/", params={"key": KEY})
        yield browser


class Page:
    """What the page's script does."""

    def __init__(self, socket: WebSocketTestSession) -> None:
        self.socket = socket
        self.told: list[Message] = []

    def ask(self, what: str, **more: object) -> None:
        self.socket.send_text(json.dumps({"do": what, **more}))

    def send(self, pcm: bytes, at: int = 0) -> None:
        """Send sound that begins at byte `at` of the recording."""
        for start in range(0, len(pcm), PIECE):
            self.socket.send_bytes(struct.pack("<Q", at + start) + pcm[start : start + PIECE])

    def until(self, kind: str) -> Message:
        """Read on to the next message of a kind."""
        while True:
            message: Message = self.socket.receive_json()
            self.told.append(message)
            if message["is"] == kind:
                return message


@pytest.fixture
def page(client: TestClient) -> Iterator[Page]:
    with client.websocket_connect(LINE) as socket:
        yield Page(socket)


def plain(folder: Path, visits: list[int]) -> list[dict[str, Any]]:
    with Store(folder) as store:
        return [store.visit(one).visit.plain() for one in visits]


def test_a_dictation_from_its_first_sound_to_its_visit(page: Page, tmp_path: Path) -> None:
    page.ask("begin")
    assert page.until("on")["bytes"] == 0
    page.send(said(1, 2))
    record = page.until("record")["record"]
    assert "Right ear" in record
    assert "brown" in record
    page.ask("end", bytes=len(said(1, 2)))
    (visit,) = plain(tmp_path, page.until("finished")["visits"])
    assert visit["ears"][0]["side"] == "right"
    assert visit["ears"][0]["after"]["drum"] == ["intact"]
    assert {"level", "speech", "guess", "said", "safe", "finishing"} <= {m["is"] for m in page.told}


def test_a_cut_line_is_gone_on_with_and_nothing_is_kept_twice(client: TestClient, tmp_path: Path) -> None:
    pcm = said(1, 2)
    half = len(pcm) // 2
    with client.websocket_connect(LINE) as socket:
        first = Page(socket)
        first.ask("begin")
        name = first.until("on")["id"]
        first.send(pcm[:half])
        first.until("safe")
    with client.websocket_connect(LINE) as socket:
        second = Page(socket)
        second.ask("go on", id=name)
        received = second.until("on")["bytes"]
        assert 0 < received <= half
        begin = max(received - 2 * PIECE, 0)
        second.send(pcm[begin:], at=begin)
        second.ask("end", bytes=len(pcm))
        visits = second.until("finished")["visits"]
    with Store(tmp_path) as store:
        sound = store.sound(store.visit(visits[0]).recording_id)
    assert sound
    assert sound.read_bytes()[44:] == pcm


def test_sound_that_is_missing_is_asked_for(page: Page) -> None:
    page.ask("begin")
    page.until("on")
    page.send(b"\0" * PIECE)
    page.send(b"\0" * PIECE, at=3 * PIECE)
    assert page.until("missing")["bytes"] == PIECE


def test_it_does_not_end_before_all_sound_has_come(page: Page) -> None:
    page.ask("begin")
    page.until("on")
    page.send(said(1))
    page.ask("end", bytes=len(said(1)) + PIECE)
    assert page.until("missing")["bytes"] == len(said(1))


def test_nothing_is_kept_while_paused(page: Page, tmp_path: Path) -> None:
    pcm = said(1)
    page.ask("begin")
    page.until("on")
    page.send(pcm)
    page.ask("pause", bytes=len(pcm))
    assert page.until("paused")["bytes"] == len(pcm)
    page.send(said(3), at=len(pcm))
    page.ask("resume", bytes=len(pcm))
    assert page.until("resumed")["bytes"] == len(pcm)
    page.send(said(2), at=len(pcm))
    page.ask("end", bytes=len(pcm) + len(said(2)))
    (visit,) = plain(tmp_path, page.until("finished")["visits"])
    assert [ear["side"] for ear in visit["ears"]] == ["right"]


def test_the_next_patient_is_listened_to_while_the_last_is_made_a_record(page: Page, tmp_path: Path) -> None:
    page.ask("begin")
    first = page.until("on")["id"]
    page.send(said(1))
    page.ask("next", bytes=len(said(1)))
    second = page.until("on")
    assert (second["bytes"], second["id"] != first) == (0, True)
    page.send(said(4))
    page.ask("end", bytes=len(said(4)))
    page.until("finished")
    sides: set[tuple[str, ...]] = set()
    for _ in range(200):  # the first patient's record is made aside
        with Store(tmp_path) as store:
            sides = {tuple(row.ears) for row in store.visits().rows}
        if len(sides) == 2:
            break
        time.sleep(0.05)
    assert sides == {("right",), ("unstated",)}


def test_what_was_left_can_be_finished_without_its_page(client: TestClient, tmp_path: Path) -> None:
    with client.websocket_connect(LINE) as socket:
        left = Page(socket)
        left.ask("begin")
        name = left.until("on")["id"]
        left.send(said(1))
        while left.until("safe")["bytes"] < len(said(1)):
            left.ask("safe")
    assert name in client.get("/listen").text
    answer = client.post("/listen/finish", data={"id": name})
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/visits/")
    assert name not in client.get("/listen").text


@pytest.mark.parametrize("name", ["../../earside", "", "x" * 300, None, 7, "20260101T000000Z-abcd"])
def test_no_other_file_can_be_named(page: Page, name: object) -> None:
    page.ask("go on", id=name)
    assert page.until("fault")["what"]


@pytest.mark.parametrize("text", ["", "{", "[]", "7", '{"do": 7}', '{"do": "sign"}', '{"do": "end"}', "\x00"])
def test_what_is_not_understood_gets_an_answer(page: Page, text: str) -> None:
    page.socket.send_text(text)
    assert page.until("fault")["remedy"]


@pytest.mark.parametrize("piece", [b"", b"\0" * 8, b"\0" * 9, b"\0" * 400_000])
def test_a_bad_piece_of_sound_is_refused_and_the_line_stays(page: Page, piece: bytes) -> None:
    page.ask("begin")
    page.until("on")
    page.socket.send_bytes(piece)
    page.until("fault")
    page.send(b"\0" * PIECE)
    assert page.until("safe")["bytes"] >= 0


def test_another_page_cannot_listen(client: TestClient) -> None:
    with (
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect(LINE, headers={"origin": "http://evil.example"}),
    ):
        pass


def test_the_page_shows_both_ears_and_how_to_begin(client: TestClient) -> None:
    text = client.get("/listen").text
    for words in ("Begin", "Right ear", "Left ear", "Not said yet", "Foot pedal"):
        assert words in text
