"""The desk's door with accounts: every route for every role, the lock, and what is signed in whose name."""

from __future__ import annotations

import json
import struct
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from listening_script import find, said, scripted_parts
from starlette.routing import Mount
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from desk.web import roles
from desk.web.app import application
from dictate import speech
from shared.store import Store, passwords

HOST, KEY = "127.0.0.1:8701", "the-key"
ANN, BEN, CAT = "Ann Example", "Ben Sample", "Cat Sample"
PASSWORDS = {ANN: "warm olive spoon", BEN: "nine quiet lamps", CAT: "seven green chairs"}
IDLE = 10 * 60


class Clock:
    """A clock to be put on."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> tuple[float, float]:
        return self.seconds, self.seconds


class Browser:
    """One browser that opened the start address, at a desk with three accounts and one visit."""

    def __init__(self, app: Any, folder: Path) -> None:
        self.app, self.folder = app, folder
        self.client = TestClient(app, base_url=f"http://{HOST}", follow_redirects=False)
        self.client.headers["origin"] = f"http://{HOST}"
        self.client.get("/", params={"key": KEY})

    def sign_in(self, name: str, password: str | None = None, **more: str) -> Any:
        given = PASSWORDS[name] if password is None else password
        return self.client.post("/sign-in", data={"name": name, "password": given, **more})

    def entries(self) -> int:
        with Store(self.folder) as store:
            return store.verify().entries


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(desk: Any, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A desk with accounts; the hash costs nothing here, test_accounts.py has the real one."""
    monkeypatch.setattr(passwords, "hashed", lambda given, name: f"hash of {given}")
    monkeypatch.setattr(passwords, "fits", lambda secret, given: secret == f"hash of {given}")
    monkeypatch.setattr(speech, "find", find)
    with Store(desk.folder) as store:
        store.set_person(CAT, "auditor")
        for name, password in PASSWORDS.items():
            store.set_password(name, password)
    made = application(desk.folder, key=KEY, hosts=(HOST,), parts=scripted_parts(lambda: desk.reader))
    made.state.bench._rereader = desk.rereader
    made.state.sessions._now = clock
    return made


@pytest.fixture
def browser(app: Any, desk: Any) -> Iterator[Browser]:
    made = Browser(app, desk.folder)
    with made.client:
        yield made


# --- every route, every role


FORM = {"revision": "1", "what": "done", "id": "20260101T000000Z-0000", "name": ANN, "role": "clinician"}
NOT_FOR = {
    CAT: {"GET /listen", "GET /patient/erase"},  # an auditor reads only: also nothing is sent, see below
    BEN: {
        "POST /visits/{id:int}/sign",
        "POST /visits/{id:int}/amend",
        "POST /people",
        "POST /people/rules",
        "GET /patient/erase",
        "POST /patient/erase",
    },
    ANN: set(),
}
OWN = {"POST /sign-in", "POST /sign-out", "POST /lock", "POST /session", "POST /people/password"}
OPEN = {"GET /sign-in", "POST /sign-in", "POST /sign-out", "POST /lock", "GET /session"}


def test_every_route_says_who_may_use_it(app: Any) -> None:
    there = {name for route in app.routes for name in roles.names(route)}
    assert there == set(roles.MAY)
    assert [route.path for route in app.routes if isinstance(route, Mount)] == ["/static"]


def allowed(name: str, who: str | None) -> bool:
    """What the issue says: a clinician signs, an assistant may not sign or amend, an auditor reads only."""
    if name in OPEN:
        return True
    if who is None or name == "POST /people/now":
        return False
    if who == CAT and not name.startswith("GET "):
        return name in OWN
    return name not in NOT_FOR[who]


@pytest.mark.parametrize("who", [None, "locked", ANN, BEN, CAT])
def test_every_route_for_every_role(browser: Browser, desk: Any, clock: Clock, who: str | None) -> None:
    visit = desk.dictate(desk.CLEAN)
    filled = {
        "id:int": visit,
        "entry:int": 1,
        "paper": "none",
        "act": "accept",
        "visit": visit,
        "name": "none",
    }
    if who == "locked":
        browser.sign_in(ANN)
        clock.seconds += IDLE
        who = None
    for name in roles.MAY:
        if who:
            browser.sign_in(who)
        method, path = name.split()
        for part, value in filled.items():
            path = path.replace(f"{{{part}}}", str(value))
        before = browser.entries()
        if method == "WEBSOCKET":
            with browser.client.websocket_connect(f"ws://{HOST}{path}") as line:
                if allowed(name, who):
                    line.send_text('{"do": "nothing"}')
                    assert line.receive_json()["is"] == "fault", (name, who)
                elif (
                    who is None and browser.app.state.sessions._all
                ):  # a locked line takes sound and tells nothing
                    line.send_text('{"do": "begin"}')
                    assert "locked" in line.receive_json()["what"], (name, who)
                else:
                    with pytest.raises(WebSocketDisconnect) as closed:
                        line.receive_json()
                    assert closed.value.code == (4403 if who else 4401)
            continue
        asked = {"ref": "nobody"} if path.startswith("/patient/") else None
        answer = browser.client.request(method, path, params=asked, data=FORM if method == "POST" else None)
        sent_away = answer.headers.get("location", "").startswith("/sign-in?back=")
        refused = answer.status_code in (401, 403) or (sent_away and name != "POST /lock")
        if name == "POST /sign-in":
            refused = False  # FORM has no password in it
        assert refused is not allowed(name, who), (name, who, answer.status_code)
        if refused:
            assert browser.entries() == before, name
            assert "41" not in answer.text, name
        assert answer.status_code < 500, (name, answer.text)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_do_nothing(browser: Browser, desk: Any, method: str) -> None:
    visit = desk.dictate(desk.CLEAN)
    browser.sign_in(ANN)
    before = browser.entries()
    assert browser.client.request(method, f"/visits/{visit}/sign").status_code in (403, 405)
    assert browser.entries() == before


def test_heads_are_asked_as_pages_are(browser: Browser, desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    assert browser.client.head(f"/visits/{visit}").status_code == 303
    browser.sign_in(CAT)
    assert browser.client.head(f"/visits/{visit}").status_code == 200


def test_an_assistant_corrects_drafts_and_nothing_that_was_signed(browser: Browser, desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    browser.sign_in(BEN)
    form = {"revision": "1", "path": "ears[0].removed_mm[0]", "value": "17 mm"}
    assert browser.client.post(f"/visits/{visit}/correct", data=form).status_code == 303
    browser.sign_in(ANN)
    assert browser.client.post(f"/visits/{visit}/sign", data={"revision": "2"}).status_code == 303
    amended = browser.client.post(f"/visits/{visit}/amend", data={"revision": "3", "reason": "a slip"})
    assert amended.status_code == 303
    browser.sign_in(BEN)
    page = browser.client.get(f"/visits/{visit}").text
    assert "Sign as" not in page
    assert f"/visits/{visit}/correct" not in page
    for act in ("correct", "undo", "accept"):
        refused = browser.client.post(f"/visits/{visit}/{act}", data=form | {"revision": "4"})
        assert refused.status_code == 400
        assert "only a clinician may" in refused.text
    assert desk.status(visit) == "amending"


# --- in whose name


def test_a_signature_is_of_whoever_is_signed_in(browser: Browser, desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    with Store(desk.folder) as store:
        store.set_person("Dr Other", "clinician")
    browser.sign_in(ANN)
    browser.client.cookies.set("earside_who_8701", "Dr%20Other")
    form = {"revision": "1", "who": "Dr Other", "name": "Dr Other", "by": "Dr Other"}
    assert browser.client.post(f"/visits/{visit}/sign", data=form).status_code == 303
    with Store(desk.folder) as store:
        assert [s.who for s in store.signatures(visit)] == [ANN]
    assert browser.client.post("/people/now", data={"name": "Dr Other"}).status_code == 403


def test_without_accounts_the_desk_says_so_and_works_as_before(desk: Any) -> None:
    page = desk.page("/people")
    assert "There are no accounts: nobody has a password" in page
    desk.work_as(desk.ANN)
    visit = desk.dictate(desk.CLEAN)
    assert f"Sign as {desk.ANN}" in desk.page(f"/visits/{visit}")
    desk.do(visit, "sign")
    assert desk.status(visit) == "signed"
    assert desk.client.get("/sign-in").headers["location"] == "/people"


def test_the_first_password_is_set_on_the_page_and_from_then_on_everybody_signs_in(desk: Any) -> None:
    form = {"name": desk.ANN, "password": "warm olive spoon", "again": "warm olive spoon"}
    other = TestClient(desk.client.app, base_url=f"http://{HOST}", follow_redirects=False)
    other.get("/", params={"key": KEY})
    assert other.get("/").status_code == 200
    refused = desk.client.post("/people/password", data=form | {"again": "warm olive fork"})
    assert (refused.status_code, "not typed the same twice" in refused.text) == (400, True)
    assert desk.client.post("/people/password", data=form).status_code == 303
    assert f"Working here: </span>{desk.ANN}" in desk.page("/")  # signed in at this browser
    assert other.get("/").headers["location"] == "/sign-in?back=%2F"
    with Store(desk.folder) as store:
        assert "Argon2" not in json.dumps(str(store.accounts()))
        assert store.verify().faults == ()


# --- signing in and out


def test_wrong_passwords_are_told_and_slowed_down(browser: Browser) -> None:
    for _ in range(3):
        answer = browser.sign_in(ANN, "no", back="/recall")
        assert answer.status_code == 401
        assert "The password is wrong" in answer.text
        assert 'value="/recall"' in answer.text
        assert "set-cookie" not in answer.headers
    answer = browser.sign_in(ANN)
    assert (answer.status_code, "Wait 5 seconds" in answer.text) == (401, True)
    assert browser.sign_in(BEN).status_code == 303


def test_the_session_is_a_strict_cookie_that_ends_with_the_browser(browser: Browser) -> None:
    cookie = browser.sign_in(ANN).headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "max-age" not in cookie
    assert "expires" not in cookie
    first = browser.client.cookies["earside_in_8701"]
    browser.sign_in(ANN)
    second = browser.client.cookies["earside_in_8701"]
    assert first != second
    headers = {"cookie": f"earside_8701={KEY}; earside_in_8701={first}"}
    assert browser.client.get("/", headers=headers).status_code == 303  # an old one opens nothing


def test_signing_out_ends_it_on_the_server(browser: Browser) -> None:
    browser.sign_in(ANN)
    kept = browser.client.cookies["earside_in_8701"]
    browser.client.post("/sign-out")
    headers = {"cookie": f"earside_8701={KEY}; earside_in_8701={kept}"}
    assert browser.client.get("/", headers=headers).status_code == 303


@pytest.mark.parametrize("secret", ["", "x", "0" * 43, "ключ"])
def test_a_session_cannot_be_made_up(browser: Browser, secret: str) -> None:
    browser.sign_in(ANN)
    del browser.client.cookies["earside_in_8701"]
    headers = {"cookie": f"earside_8701={KEY}; earside_in_8701={secret}".encode()}
    assert browser.client.get("/", headers=headers).status_code in (303, 403)


def test_a_session_alone_does_not_open_the_desk(browser: Browser) -> None:
    browser.sign_in(ANN)
    del browser.client.cookies["earside_8701"]
    assert browser.client.get("/").status_code == 403


@pytest.mark.parametrize(
    "back", ["https://evil.example/", "//evil.example", "/\\evil.example", "javascript:x"]
)
def test_one_is_never_sent_away_from_the_desk(browser: Browser, back: str) -> None:
    assert browser.sign_in(ANN, back=back).headers["location"] == "/"


def test_hostile_names_do_nothing(browser: Browser) -> None:
    with Store(browser.folder) as store:
        store.set_person('Eve "><script>alert(1)</script>', "clinician")
        store.set_password('Eve "><script>alert(1)</script>', "warm olive spoon")
    page = browser.client.get("/sign-in?back=%22%3E%3Cscript%3E").text
    assert "<script>alert" not in page
    assert '"><script>' not in page


# --- people and passwords


def test_whoever_leaves_or_gets_another_password_is_out_at_once(app: Any, browser: Browser) -> None:
    second = Browser(app, browser.folder)
    browser.sign_in(BEN)
    second.sign_in(BEN)
    form = {"old": PASSWORDS[BEN], "password": "brown paper kite", "again": "brown paper kite"}
    assert browser.client.post("/people/password", data=form | {"old": "no"}).status_code == 400
    assert browser.client.post("/people/password", data=form).status_code == 303
    assert browser.client.get("/").status_code == 200
    assert second.client.get("/").status_code == 303
    with Store(browser.folder) as store:
        store.set_person(BEN, "assistant", active=False)
    assert browser.client.get("/").status_code == 303


def test_another_role_holds_at_once(browser: Browser) -> None:
    browser.sign_in(BEN)
    assert browser.client.get("/listen").status_code == 200
    with Store(browser.folder) as store:
        store.set_person(BEN, "auditor")
    assert browser.client.get("/listen").status_code == 403


def test_a_clinician_adds_people_but_sets_nobody_elses_password(browser: Browser) -> None:
    browser.sign_in(ANN)
    form = {
        "name": "Dee Sample",
        "role": "assistant",
        "password": "grey stone arch",
        "again": "grey stone arch",
    }
    assert browser.client.post("/people", data=form).status_code == 303
    assert browser.sign_in("Dee Sample", "grey stone arch").status_code == 303
    browser.sign_in(ANN)
    taken = browser.client.post("/people", data=form | {"name": BEN})
    assert (taken.status_code, "changes it themselves" in taken.text) == (400, True)
    assert browser.sign_in(BEN).status_code == 303


@pytest.mark.parametrize("change", [{"active": "no"}, {"role": "assistant"}])
def test_somebody_who_can_sign_is_always_left(browser: Browser, change: dict[str, str]) -> None:
    browser.sign_in(ANN)
    answer = browser.client.post("/people", data={"name": "ann example", "role": "clinician"} | change)
    assert (answer.status_code, "nobody would be left" in answer.text) == (400, True)
    assert browser.client.get("/people").status_code == 200


# --- the lock


def test_it_locks_after_nobody_did_anything_and_the_password_opens_it(
    browser: Browser, desk: Any, clock: Clock
) -> None:
    visit = desk.dictate(desk.CLEAN)
    browser.sign_in(ANN)
    for _ in range(3):
        clock.seconds += IDLE - 1
        assert browser.client.get(f"/visits/{visit}").status_code == 200
    clock.seconds += IDLE
    answer = browser.client.get(f"/visits/{visit}?at=ears[0].side")
    assert answer.headers["location"] == f"/sign-in?back=%2Fvisits%2F{visit}%3Fat%3Dears%5B0%5D.side"
    locked = browser.client.get(answer.headers["location"]).text
    assert f"{ANN} works here" in locked
    assert "41" not in locked
    assert browser.client.post(f"/visits/{visit}/sign", data={"revision": "1"}).status_code == 401
    assert desk.status(visit) == "draft"
    opened = browser.sign_in(ANN, back=f"/visits/{visit}")
    assert browser.client.get(opened.headers["location"]).status_code == 200


def test_asking_how_long_is_left_keeps_nothing_open_and_typing_does(browser: Browser, clock: Clock) -> None:
    browser.sign_in(ANN)
    clock.seconds += IDLE - 60
    assert browser.client.get("/session").json() == {"left": 60.0}
    clock.seconds += 30
    assert browser.client.get("/session").json() == {"left": 30.0}
    assert browser.client.post("/session").json() == {"left": 600.0}
    clock.seconds += IDLE
    assert browser.client.get("/session").json() == {"left": 0.0}
    assert browser.client.post("/session").status_code == 401


def test_the_practice_sets_when_it_locks(browser: Browser, clock: Clock) -> None:
    with Store(browser.folder) as store:
        store.set_lock_minutes(2, by=ANN)
    browser.sign_in(ANN)
    assert 'data-locks="120"' in browser.client.get("/").text
    clock.seconds += 121
    assert browser.client.get("/").status_code == 303


def test_a_laptop_that_slept_is_locked(app: Any, browser: Browser) -> None:
    """The monotonic clock stands still meanwhile, the time of day does not; and the other way round."""
    for asleep in ((1.0, IDLE + 1.0), (IDLE + 1.0, -9000.0)):
        app.state.sessions._now = lambda: (0.0, 0.0)
        browser.sign_in(ANN)
        app.state.sessions._now = lambda asleep=asleep: asleep
        assert browser.client.get("/").status_code == 303


def test_after_a_working_day_everybody_signs_in_again(browser: Browser, clock: Clock) -> None:
    browser.sign_in(ANN)
    for _ in range(14 * 6 + 1):
        clock.seconds += IDLE - 1
        answer = (
            browser.client.get("/session") if clock.seconds > 14 * 3600 else browser.client.get("/people")
        )
    assert answer.json() == {"left": 0.0}


def test_it_is_locked_by_hand(browser: Browser) -> None:
    browser.sign_in(ANN)
    assert (
        browser.client.post("/lock", data={"back": "/recall"}).headers["location"]
        == "/sign-in?back=%2Frecall"
    )
    assert browser.client.get("/recall").status_code == 303


# --- a dictation goes on behind the lock


class Page:
    """What the dictating page's script does."""

    def __init__(self, socket: Any) -> None:
        self.socket, self.told = socket, []

    def ask(self, what: str, **more: object) -> None:
        self.socket.send_text(json.dumps({"do": what, **more}))

    def send(self, pcm: bytes, at: int = 0) -> None:
        for start in range(0, len(pcm), 3200):
            self.socket.send_bytes(struct.pack("<Q", at + start) + pcm[start : start + 3200])

    def until(self, kind: str, **like: object) -> Any:
        while True:
            message = self.socket.receive_json()
            self.told.append(message)
            if message["is"] == kind and all(message[k] == v for k, v in like.items()):
                return message


def test_a_dictation_is_recorded_on_while_the_desk_is_locked(browser: Browser, clock: Clock) -> None:
    browser.sign_in(ANN)
    first, second = said(1), said(2)
    with browser.client.websocket_connect(f"ws://{HOST}/listen/sound") as socket:
        page = Page(socket)
        page.ask("begin")
        name = page.until("on")["id"]
        page.send(first)
        page.until("said")
        page.until("record")
        clock.seconds += IDLE  # speaking alone is nobody at the keys
        seen = len(page.told)
        page.send(second, at=len(first))
        page.ask("safe")
        page.ask("begin")
        assert "locked" in page.until("fault")["what"]
        page.ask("pause", bytes=len(first + second))
        assert page.until("paused")["bytes"] == len(first + second)
        page.ask("end", bytes=len(first + second))
        assert page.until("finished")["visits"] == []
        after = json.dumps(page.told[seen:]).lower()
        for word in ("jobson", "drum", "brown", "right ear"):
            assert word not in after
    assert browser.client.get("/").status_code == 303
    browser.sign_in(ANN)
    with Store(browser.folder) as store:
        (row,) = store.visits().rows
        stored = store.visit(row.id)
        sound = store.sound(stored.recording_id)
        assert stored.visit.plain()["ears"][0]["after"]["drum"] == ["intact"]
    assert sound
    assert sound.read_bytes()[44:] == first + second
    assert name


def test_a_line_cut_while_locked_goes_on_with_its_own_dictation_alone(browser: Browser, clock: Clock) -> None:
    browser.sign_in(ANN)
    with browser.client.websocket_connect(f"ws://{HOST}/listen/sound") as socket:
        page = Page(socket)
        page.ask("begin")
        name = page.until("on")["id"]
        page.send(said(1))
        page.until("said")
    clock.seconds += IDLE
    with browser.client.websocket_connect(f"ws://{HOST}/listen/sound") as socket:
        page = Page(socket)
        page.ask("go on", id="20260101T000000Z-0000")
        assert "locked" in page.until("fault")["what"]
        page.ask("go on", id=name)
        on = page.until("on")
        assert (on["words"], on["record"]) == ("", "")
    browser.sign_in(ANN)
    with browser.client.websocket_connect(f"ws://{HOST}/listen/sound") as socket:
        page = Page(socket)
        page.ask("go on", id=name)
        assert "hard brown wax" in page.until("on")["words"]


def test_whoever_leaves_while_dictating_loses_sight_of_it_but_no_sound(browser: Browser) -> None:
    browser.sign_in(BEN)
    with browser.client.websocket_connect(f"ws://{HOST}/listen/sound") as socket:
        page = Page(socket)
        page.ask("begin")
        page.until("on")
        with Store(browser.folder) as store:
            store.set_person(BEN, "assistant", active=False)
        page.ask("next")
        assert "locked" in page.until("fault")["what"]
        page.send(said(1))
        deadline = time.monotonic() + 20
        while page.until("safe")["bytes"] < len(said(1)) and time.monotonic() < deadline:
            page.ask("safe")
        assert page.told[-1]["bytes"] == len(said(1))


def test_a_new_start_asks_everybody_again(desk: Any, browser: Browser) -> None:
    browser.sign_in(ANN)
    started = application(desk.folder, key="another", cookie=KEY, hosts=(HOST,))
    with TestClient(started, base_url=f"http://{HOST}", follow_redirects=False) as client:
        client.cookies = browser.client.cookies
        assert client.get("/").headers["location"] == "/sign-in?back=%2F"
