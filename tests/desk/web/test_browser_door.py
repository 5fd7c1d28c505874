"""The desk's door in a real browser: signing in by keyboard, the lock, a dictation behind it; checked by axe-core."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn
from browsing import CHROMIUM, NO_CHROMIUM, Window, launched
from listening_script import scripted_parts

from desk.web.app import application
from shared.store import Store, passwords

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
axe_core = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason=NO_CHROMIUM)
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
ANN, PASSWORD = "Ann Example", "warm olive spoon"


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """A browser whose microphone is a tone."""
    with launched("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream") as browser:
        yield browser


class Served:
    """A desk with accounts on a port of its own, with a clock to be put on."""

    def __init__(self, desk: Any) -> None:
        self.seconds = 0.0
        config = uvicorn.Config(lambda: None, port=0, log_level="error", access_log=False)
        self.listener = config.bind_socket()
        host = f"127.0.0.1:{self.listener.getsockname()[1]}"
        self.address = f"http://{host}"
        app = application(desk.folder, key="k", hosts=(host,), parts=scripted_parts(lambda: desk.reader))
        app.state.bench._rereader = desk.rereader
        app.state.sessions._now = lambda: (self.seconds, self.seconds)
        self.app = config.app = app
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(
            target=self.server.run, kwargs={"sockets": [self.listener]}, daemon=True
        )
        self.thread.start()
        deadline = time.monotonic() + 30
        while not self.server.started and time.monotonic() < deadline:
            time.sleep(0.02)

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(10)


@pytest.fixture
def served(desk: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    monkeypatch.setattr(passwords, "hashed", lambda given, name: f"hash of {given}")
    monkeypatch.setattr(passwords, "fits", lambda secret, given: secret == f"hash of {given}")
    with Store(desk.folder) as store:
        store.set_password(ANN, PASSWORD)
        store.set_standing_notice("Notice at the door and in the letter of invitation, version 2")
    made = Served(desk)
    yield made
    made.stop()


def window(chromium: Any, served: Served, **options: Any) -> Window:
    made = Window(chromium.new_context(**options).new_page(), served.address)
    made.open("/?key=k")
    return made


def sign_in(at: Window, password: str = PASSWORD) -> None:
    at.page.wait_for_selector("#name:focus")
    at.page.keyboard.press("Tab")  # from the names, where one is chosen already
    at.page.keyboard.type(password)
    at.page.keyboard.press("Enter")


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "none"])
def test_one_signs_in_works_and_signs_out_by_keyboard(
    chromium: Any, desk: Any, served: Served, scripts: bool
) -> None:
    visit = desk.dictate(desk.CLEAN)
    at = window(chromium, served, java_script_enabled=scripts)
    at.page.wait_for_selector("#password")
    sign_in(at, "not the one")
    at.page.wait_for_selector("#wrong")
    at.page.wait_for_selector("#password:focus")
    at.page.keyboard.type(PASSWORD)
    at.page.keyboard.press("Enter")
    at.page.wait_for_selector("h1:has-text('1 to check')")
    at.open(f"/visits/{visit}")
    at.page.focus("#sign")
    at.page.keyboard.press("Enter")
    at.page.wait_for_selector(".done")
    with Store(desk.folder) as store:
        assert [s.who for s in store.signatures(visit)] == [ANN]
    at.page.focus("form[action='/sign-out'] button")
    at.page.keyboard.press("Enter")
    at.page.wait_for_selector("#password")
    at.open("/")
    assert at.page.url.startswith(f"{served.address}/sign-in")
    at.page.context.close()


def test_a_page_left_alone_is_locked_and_shows_nothing_any_more(
    chromium: Any, desk: Any, served: Served
) -> None:
    visit = desk.dictate(desk.CLEAN)
    at = window(chromium, served)
    sign_in(at)
    at.page.wait_for_selector("h1:has-text('1 to check')")
    at.open(f"/visits/{visit}")
    served.seconds += 600
    at.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    at.page.wait_for_selector("#password")
    assert "41" not in at.page.inner_text("body")
    at.page.evaluate("history.back()")
    at.page.wait_for_url("**/sign-in?back=%2F", wait_until="commit")  # nothing is kept in the browser
    at.page.wait_for_selector("#password")
    at.page.fill("#password", PASSWORD)
    at.page.keyboard.press("Enter")
    at.page.wait_for_selector("form[action='/lock']")
    at.page.context.close()


def test_a_dictation_is_covered_recorded_on_and_uncovered(chromium: Any, served: Served) -> None:
    at = window(chromium, served, permissions=["microphone"])
    sign_in(at)
    at.page.wait_for_selector("form[action='/lock']")
    at.open("/listen")
    at.page.focus("#begin")
    at.page.keyboard.press(" ")
    at.page.wait_for_selector("[data-state='on']")
    dictations = served.app.state.dictations
    (dictation,) = dictations._open.values()
    assert dictation.agreement == "notice"  # the usual answer, told when it began
    at.settled("document.querySelector('#record').textContent.includes('Right ear')")
    served.seconds += 600
    at.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    at.page.wait_for_selector("#locked[open] [type=password]")
    assert "Right ear" not in at.page.inner_text("body")
    axe = axe_core.Axe()
    found = axe.run(at.page, options={"runOnly": {"type": "tag", "values": WCAG}})
    assert [v["id"] for v in found.response["violations"]] == []
    at.page.keyboard.press("Escape")
    assert at.page.is_visible("#locked")
    before = dictation.listening.received
    deadline = time.monotonic() + 30
    while dictation.listening.received < before + 32_000 and time.monotonic() < deadline:
        at.page.wait_for_timeout(50)
    assert dictation.listening.received >= before + 32_000  # another second of sound
    at.page.fill("#locked [type=password]", "not the one")
    at.page.keyboard.press("Enter")
    at.page.wait_for_selector("#locked .decide")
    at.page.fill("#locked [type=password]", PASSWORD)
    at.page.keyboard.press("Enter")
    at.page.wait_for_selector("#locked", state="hidden")
    at.page.wait_for_selector("[data-state='on']")
    at.settled("document.querySelector('#record').textContent.includes('Right ear')")
    assert list(dictations._open) == [dictation.id]
    at.page.select_option("#agreement", "declined")
    at.page.wait_for_selector("[data-state='paused']")
    assert dictation.agreement == "declined"
    assert dictation.listening.paused
    at.page.click("form[action='/lock'] button")
    at.page.wait_for_selector("#locked[open] [type=password]")
    at.page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(1366, 900), (390, 844)], ids=["wide", "narrow"])
def test_its_pages_can_be_used_by_everybody(
    chromium: Any, served: Served, scheme: str, size: tuple[int, int]
) -> None:
    at = window(chromium, served, color_scheme=scheme, viewport={"width": size[0], "height": size[1]})
    axe = axe_core.Axe()
    for step in ("asked", "wrong", "/people", "/", "/listen"):
        if step == "wrong":
            sign_in(at, "no")
            at.page.wait_for_selector("#wrong")
        elif step == "/people":
            at.page.fill("#password", PASSWORD)
            at.page.keyboard.press("Enter")
            at.page.wait_for_selector("form[action='/lock']")
        if step.startswith("/"):
            at.open(step)
        found = axe.run(at.page, options={"runOnly": {"type": "tag", "values": WCAG}})
        assert [
            f"{step}: {v['id']}: {node['html'][:160]}"
            for v in found.response["violations"]
            for node in v["nodes"]
        ] == []
        assert at.page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, step
    at.page.context.close()
