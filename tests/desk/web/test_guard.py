"""Who is let in: only this desk's own pages, opened from the address that was printed."""

import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from desk.web import guard
from desk.web.app import application
from shared.store import Store

HOST = "127.0.0.1:8701"
KEY = "the-key"


@pytest.fixture
def visitor(tmp_path: Path) -> TestClient:
    """A browser that has not been given the key."""
    app = application(tmp_path, key=KEY, hosts=(HOST, "localhost:8701"))
    return TestClient(app, base_url=f"http://{HOST}", follow_redirects=False)


@pytest.fixture
def ours(visitor: TestClient) -> TestClient:
    """A browser that opened the printed address."""
    visitor.get("/", params={"key": KEY})
    return visitor


def test_the_printed_address_opens_the_desk_and_leaves_the_key_out_of_the_address(
    visitor: TestClient,
) -> None:
    opened = visitor.get("/", params={"key": KEY})
    assert (opened.status_code, opened.headers["location"]) == (303, "/")
    cookie = opened.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert visitor.get("/").status_code == 200


@pytest.mark.parametrize("key", ["", "wrong", "the-key2", "ключ"])
def test_nobody_else_is_let_in(visitor: TestClient, key: str) -> None:
    answer = visitor.get("/", params={"key": key} if key else None)
    assert answer.status_code == 403
    assert "earside desk" in answer.text
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("host", ["example.org", "127.0.0.1", "127.0.0.1:80", "evil.example:8701", ""])
def test_a_name_that_is_not_ours_is_refused(ours: TestClient, host: str) -> None:
    assert ours.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", [None, "null", "http://evil.example", "https://127.0.0.1:8701", "http://127.0.0.1:9"]
)
def test_other_pages_change_nothing(ours: TestClient, origin: str | None) -> None:
    headers = {"origin": origin} if origin else {}
    assert ours.post("/", headers=headers).status_code == 403
    with pytest.raises(WebSocketDisconnect), ours.websocket_connect("/listen/sound", headers=headers):
        pass


def test_our_own_pages_may(ours: TestClient) -> None:
    assert ours.post("/", headers={"origin": f"http://{HOST}"}).status_code == 405


@pytest.mark.parametrize("path", ["/", "/static/desk.css", "/nothing"])
def test_every_answer_says_what_a_page_may_do(ours: TestClient, path: str) -> None:
    headers = ours.get(path).headers
    assert "default-src 'none'" in headers["content-security-policy"]
    assert "unsafe" not in headers["content-security-policy"]
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"


def test_patients_are_not_kept_in_the_browser(ours: TestClient) -> None:
    assert ours.get("/").headers["cache-control"] == "no-store"


def test_an_unknown_page_says_so(ours: TestClient) -> None:
    answer = ours.get("/nothing")
    assert answer.status_code == 404
    assert "no such page" in answer.text


@pytest.mark.parametrize("said", [True, False], ids=["announced", "unannounced"])
def test_more_than_the_desk_takes_is_refused(ours: TestClient, said: bool) -> None:
    def pieces() -> Iterator[bytes]:
        for _ in range(40):
            yield b"x" * 100_000

    body = b"".join(pieces()) if said else pieces()
    headers = {"origin": f"http://{HOST}", "content-type": "application/x-www-form-urlencoded"}
    answer = ours.post("/people", headers=headers, content=body)
    assert answer.status_code == (413 if said else 400)
    with Store(ours.app.state.folder) as store:  # type: ignore[attr-defined]
        assert store.people() == []


@pytest.mark.parametrize("path", ["/static/../guard.py", "/static/%2e%2e/guard.py", "/static/..%2fguard.py"])
def test_no_file_but_the_pages_own_is_given_out(ours: TestClient, path: str) -> None:
    assert ours.get(path).status_code == 404


def test_nobody_frames_it(ours: TestClient) -> None:
    assert ours.get("/").headers["x-frame-options"] == "DENY"


def test_the_address_that_a_browser_is_started_with_opens_once_and_soon(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = application(tmp_path, key=KEY, once="the-other", hosts=(HOST,))
    first, second = (TestClient(app, base_url=f"http://{HOST}", follow_redirects=False) for _ in range(2))
    assert first.get("/", params={"key": "the-other"}).status_code == 303
    assert first.get("/").status_code == 200
    assert second.get("/", params={"key": "the-other"}).status_code == 403
    assert second.get("/", params={"key": KEY}).status_code == 303
    late = application(tmp_path, key=KEY, once="the-other", hosts=(HOST,))
    third = TestClient(late, base_url=f"http://{HOST}", follow_redirects=False)
    now = time.monotonic()
    monkeypatch.setattr(guard, "time", SimpleNamespace(monotonic=lambda: now + guard.ONCE_SECONDS + 1))
    assert third.get("/", params={"key": "the-other"}).status_code == 403
