"""The desk in a real browser, headless: checked by keyboard alone, with the presses counted, and by axe-core.

axe-core (Deque Systems) tests the rules of WCAG 2.2 AA that a program can test; it comes with the package
axe-playwright-python.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn
from browsing import CHROMIUM, NO_CHROMIUM, Window, launched, window_of

from shared.store import Store

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
axe_core = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason=NO_CHROMIUM)
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The browser."""
    with launched() as browser:
        yield browser


@pytest.fixture
def address(desk: Any) -> Iterator[str]:
    """The desk on a port of its own, for a real browser."""
    config = uvicorn.Config(lambda: None, port=0, log_level="error", access_log=False)
    listener = config.bind_socket()
    host = f"127.0.0.1:{listener.getsockname()[1]}"
    config.app = desk.served(host)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    deadline = time.monotonic() + 30
    while not server.started and time.monotonic() < deadline:
        time.sleep(0.02)
    yield f"http://{host}"
    server.should_exit = True
    thread.join(5)


@pytest.fixture
def window(chromium: Any, desk: Any, address: str) -> Iterator[Window]:
    """A window in which Ann Example works."""
    made = window_of(chromium, desk, address, viewport={"width": 1366, "height": 900})
    yield made
    made.page.context.close()
    assert made.faults == []


def test_a_clean_visit_is_signed_from_the_list_in_three_presses(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open("/")
    window.press("Enter")
    window.page.wait_for_url("**/visits/*")
    window.press("s", "Enter")
    window.page.wait_for_selector(".done")
    assert desk.status(visit) == "signed"
    assert window.presses <= 3


def test_an_unstated_side_and_a_wrong_value_take_twelve_presses_at_most(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.NO_SIDE)  # and the wax was brown
    window.open("/")
    window.press("Enter")
    window.page.wait_for_url("**/visits/*")
    window.press("1")  # the right ear
    window.settled("!document.querySelector('.notice.must')")
    window.press("r", "j", "j", "ArrowRight", "c", "b", "r", "Enter")
    window.settled("document.activeElement.textContent.includes('by hand')")
    window.press("s", "Enter")
    window.page.wait_for_selector(".done")
    ear = desk.plain(visit)["ears"][0]
    assert desk.status(visit) == "signed"
    assert ear["side"] == "right"
    assert ear["before"]["wax"][0]["colour"] == ["brown"]
    assert window.presses <= 12


def test_keys_pressed_while_the_page_is_on_its_way_are_not_lost(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}?at=ears[0].before.occlusion")
    window.press("a", "a", "c", "b", "l", "a", "Enter")
    window.settled("document.activeElement.textContent.includes('black')")
    wax = desk.plain(visit)["ears"][0]["before"]["wax"]
    with Store(desk.folder) as store:
        found = {path for path, v in store.visit(visit).visit.values() if v.by_hand}
    assert wax == [{"where": "whole", "consistency": ["hard"], "colour": ["black"]}]
    layer = "ears[0].before.wax[0]"
    assert found == {"ears[0].before.occlusion", f"{layer}.consistency[0]", f"{layer}.colour[0]"}


def test_choosing_a_value_plays_its_seconds_and_marks_its_words(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}")
    window.press("r", "j")
    marked = window.page.eval_on_selector_all(".w.now", "words => words.map(w => w.textContent)")
    path = window.page.evaluate("document.activeElement.closest('.item').dataset.path")
    with Store(desk.folder) as store:
        value = dict(store.visit(visit).visit.values())[path]
    window.settled("!document.querySelector('#player').paused || document.querySelector('#player').ended")
    assert " ".join(marked).strip(".,") == value.heard
    start, end = value.seconds
    assert window.played[-1].endswith(f"/sound?from={start:.2f}&to={end:.2f}")


def test_a_click_does_the_same(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}")
    window.page.click("[data-path='ears[0].removed_mm[0]'] > summary")
    assert window.page.eval_on_selector_all(".w.now", "words => words.length") == 2
    window.settled("document.querySelector('#player').src.includes('/sound?')")
    assert len(window.played) == 1


def test_words_are_chosen_by_key_and_put_into_a_field(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}")
    words = desk.CLEAN.split()
    at = words.index("Keep")
    window.press("t", "Home", *["ArrowRight"] * at, "Shift+ArrowRight", "Shift+ArrowRight")
    chosen = window.page.text_content("[data-chosen]")
    window.press("Enter", "Enter")
    window.page.wait_for_selector("input[role=combobox]:focus")
    window.page.keyboard.type("canal before dry")
    window.press("Enter")
    window.page.wait_for_selector("[data-path='ears[0].before.canal[0]']")
    with Store(desk.folder) as store:
        value = store.visit(visit).visit.ears[0].before.canal[0]
    assert value.value == "dry"
    assert value.heard == chosen == "Keep it dry."


def test_words_are_put_right_in_their_place(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}")
    window.page.dblclick("#said .w:has-text('brown')")
    window.page.fill("#fixed", "yellow")
    window.page.click("text=Put the words right and read again")
    window.settled("!document.querySelector('#said').textContent.includes('dark brown')")
    assert desk.plain(visit)["ears"][0]["before"]["wax"][0]["colour"] == ["yellow"]


def test_a_length_is_typed_in_any_unit_and_undone(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}?at=ears[0].removed_mm[0]")
    window.press("c")
    window.page.wait_for_selector("input[name=value]:focus")
    window.page.keyboard.type("1.8 cm")
    window.press("Enter")
    window.settled("document.activeElement.textContent.includes('18 mm')")
    window.press("u")
    window.settled(
        "document.querySelector('[data-path=\"ears[0].removed_mm[0]\"]').textContent.includes('16 mm')"
    )
    assert desk.plain(visit)["ears"][0]["removed_mm"] == [16]


def test_a_number_is_added_by_typing_it(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}?at=ears[0].removed_mm[0]")
    window.press("i")
    window.page.wait_for_selector("input[role=combobox]:focus")
    window.page.keyboard.type("7 mm")
    window.press("Enter")
    window.page.wait_for_selector("[data-path='ears[0].removed_mm[1]']")
    assert desk.plain(visit)["ears"][0]["removed_mm"] == [16, 7]


def test_what_no_list_holds_is_never_sent(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}?at=ears[0].before.wax[0].colour[0]")
    window.press("c")
    window.page.wait_for_selector("input[role=combobox]:focus")
    window.page.keyboard.type("zebra")
    window.press("Enter")
    window.page.wait_for_selector("li.none")
    with Store(desk.folder) as store:
        assert store.visit(visit).revision == 1


def test_a_refusal_is_told_and_loses_nothing(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}?at=ears[0].removed_mm[0]")
    window.press("c")
    window.page.wait_for_selector("input[name=value]:focus")
    window.page.keyboard.type("a lot")
    window.press("Enter")
    window.page.wait_for_selector("dialog.trouble[open]")
    assert "is not a length" in window.page.text_content("dialog.trouble")
    window.press("Escape")
    assert window.page.input_value("[data-path='ears[0].removed_mm[0]'] input[name=value]") == "a lot"
    window.faults.clear()  # the browser reports the refusal itself


def test_single_keys_can_be_switched_off(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}")
    window.press("?")
    window.page.wait_for_selector("#keys[open]")
    window.page.uncheck("#single-keys")
    window.press("Escape", "x", "s")
    assert window.page.evaluate("document.activeElement.id") != "sign"
    window.open(f"/visits/{visit}")
    window.press("x", "s")
    assert window.page.evaluate("document.activeElement.id") != "sign"
    with Store(desk.folder) as store:
        assert store.visit(visit).revision == 1


def test_signed_amended_and_read_back(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.CLEAN)
    window.open(f"/visits/{visit}")
    window.press("s", "Enter")
    window.page.wait_for_selector(".done")
    window.open(f"/visits/{visit}")
    window.page.click(".amend > summary")
    window.page.fill("#amend-reason", "the length was misread")
    window.press("Enter")
    window.page.wait_for_selector("#sign")
    window.open(f"/visits/{visit}?at=ears[0].removed_mm[0]")
    window.press("c", "1", "4", "Enter")
    window.settled("document.activeElement.textContent.includes('14 mm')")
    window.press("s", "Enter")
    window.page.wait_for_selector(".done")
    window.open(f"/visits/{visit}/history")
    text = window.page.text_content("main")
    assert "the length was misread" in text
    assert "16 mm → 14 mm" in text
    assert desk.status(visit) == "amended"


def test_all_of_it_works_without_a_script(chromium: Any, desk: Any, address: str) -> None:
    visit = desk.dictate(desk.NO_SIDE)
    window = window_of(chromium, desk, address, java_script_enabled=False)
    page = window.page
    window.open("/")
    page.click("a.open")
    page.click("button:has-text('Left ear')")
    page.click("[data-path='ears[0].before.wax[0].colour[0]'] > summary")
    page.select_option("[data-path='ears[0].before.wax[0].colour[0]'] select", "brown")
    page.click("[data-path='ears[0].before.wax[0].colour[0]'] button:has-text('Put right')")
    page.click("[id^=add-ear] > summary")
    page.select_option("[id^=add-ear] select", label="Depth of wax: deep")
    page.click("[id^=add-ear] button")
    page.click("#sign")
    page.wait_for_selector(".done")
    ear = desk.plain(visit)["ears"][0]
    assert (desk.status(visit), ear["side"], ear["before"]["depth"]) == ("signed", "left", ["deep"])
    assert ear["before"]["wax"][0]["colour"] == ["brown"]
    page.context.close()


def test_a_recall_is_postponed_by_keyboard_without_a_script_and_the_register_shows_its_pictures(
    chromium: Any, desk: Any, address: str
) -> None:
    visit = desk.dictate(f"{desk.CLEAN} See again in two weeks.")
    desk.do(visit, "seen-by", when="2025-03-03T10:00")
    desk.do(visit, "sign")
    window = window_of(chromium, desk, address, java_script_enabled=False)
    page = window.page
    window.open("/recall")
    assert "Overdue: 1" in page.text_content("main")
    page.focus("summary:has-text('Mark')")
    window.press("Enter")
    page.focus("input[name=until]")
    page.fill("input[name=until]", "2099-05-04")
    window.press("Enter")
    page.wait_for_selector(".done")
    assert "recall postponed to 2099-05-04" in page.text_content(".done")
    assert "Coming: 1" in page.text_content("main")
    window.open("/register?from=2025-01-01&to=2025-12-31")
    drawn = page.locator("img.on-light")
    widths = [drawn.nth(n).evaluate("image => image.naturalWidth") for n in range(drawn.count())]
    assert len(widths) >= 3
    assert min(widths) > 0
    assert window.faults == []
    page.context.close()


def test_hostile_words_do_nothing(desk: Any, window: Window) -> None:
    visit = desk.dictate(desk.HOSTILE, "<img src=x onerror=alert(3)>.wav")
    said: list[str] = []
    window.page.on("dialog", lambda box: (said.append(box.message), box.dismiss()))
    for path in ("/", f"/visits/{visit}", f"/visits/{visit}/words", f"/visits/{visit}/history"):
        window.open(path)
        assert window.page.locator("main img, main script, main b[onmouseover]").count() == 0
    assert said == []


def test_a_visit_of_two_ears_without_a_side_stays_within_the_list(desk: Any, window: Window) -> None:
    desk.dictate(desk.NO_SIDE)
    for width in (390, 700, 980, 1280):
        window.page.set_viewport_size({"width": width, "height": 900})
        window.open("/")
        beyond = window.page.evaluate("""() => {
          const side = document.querySelector(".visits .side"), list = document.querySelector(".visits");
          side.after(" ", side.cloneNode(true));
          const edge = list.parentElement.getBoundingClientRect().right;
          return Math.max(...[...list.querySelectorAll("*")].map(e => e.getBoundingClientRect().right)) - edge;
        }""")
        assert beyond <= 0, f"{beyond} pixels at a width of {width}"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(1366, 900), (390, 844)], ids=["wide", "narrow"])
def test_every_page_can_be_used_by_everybody(
    chromium: Any, desk: Any, address: str, scheme: str, size: tuple[int, int]
) -> None:
    visit, signed = desk.dictate(desk.NO_SIDE, "a.wav"), desk.dictate(desk.CLEAN, "b.wav")
    desk.do(visit, "accept", path="ears[0].after.drum[0]")
    desk.do(signed, "sign")
    desk.dictate(f"{desk.CLEAN} Keratin plug. See again in two weeks.".replace("41", "51"), "e.wav")
    for name in ("c.wav", "d.wav"):
        other = desk.dictate(f"Patient {name[0]}1. Right ear. The wax is brown roofers mastic.", name)
        start = len(f"Patient {name[0]}1. Right ear. The wax is brown ")
        what = "ears[0].before.wax[0].consistency=clay_like"
        desk.do(other, "add", what=what, words=f"{start}-{start + 14}")
    window = window_of(
        chromium, desk, address, color_scheme=scheme, viewport={"width": size[0], "height": size[1]}
    )
    axe = axe_core.Axe()
    for path, key in (
        ("/", None),
        ("/?words=drum", None),
        ("/recordings", None),
        ("/listen", None),
        ("/people", None),
        ("/patient?ref=41", None),
        ("/patient/erase?ref=41", None),
        ("/recall", None),
        ("/register", None),
        ("/register?drafts=yes", None),
        ("/learning", None),
        ("/learning?phrase=roofers+mastic&kind=consistency", None),
        ("/nothing", None),
        (f"/visits/{visit}", None),
        (f"/visits/{visit}", "?"),
        (f"/visits/{visit}?at=ears[0].before.wax[0].colour[0]", "c"),
        (f"/visits/{visit}?at=ears[0].before.wax[0].colour[0]", "i"),
        (f"/visits/{visit}", "n"),
        (f"/visits/{visit}/words", None),
        (f"/visits/{visit}/history", None),
        (f"/visits/{signed}", None),
        (f"/visits/{signed}/history", None),
    ):
        window.open(path)
        if key:
            window.press(key)
            window.page.wait_for_timeout(100)
        found = axe.run(window.page, options={"runOnly": {"type": "tag", "values": WCAG}})
        broken = [
            f"{path} {key}: {v['id']}: {node['html'][:160]}"
            for v in found.response["violations"]
            for node in v["nodes"]
        ]
        assert broken == []
        wide = window.page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0, f"{path} is wider than the window"
    window.page.context.close()
