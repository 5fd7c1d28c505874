"""The list: what waits, what is found, and recordings in trouble."""

import re
from pathlib import Path
from typing import Any

import pytest

from shared.store import Recording, Store


def links(page: str) -> list[int]:
    return [int(n) for n in re.findall(r'class="open" href="/visits/(\d+)"', page)]


def test_without_visits_it_says_how_to_begin(desk: Any) -> None:
    page = desk.page("/")
    assert "No visit is kept yet." in page
    assert "earside extract" in page


def test_what_waits_comes_first_and_the_first_is_in_focus(desk: Any) -> None:
    one, two = desk.dictate(desk.CLEAN, "a.wav"), desk.dictate(desk.NO_SIDE, "b.wav")
    page = desk.page("/")
    assert "<h1>2 to check</h1>" in page
    assert sorted(links(page)) == [one, two]
    assert page.count("autofocus") == 1
    assert "1 with something to decide" in page
    assert "Patient 42" in page
    assert "side not said" in page


def test_a_signed_visit_moves_to_those_of_today(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    assert desk.do(visit, "sign") == f"/?signed={visit}"
    page = desk.page("/", signed=str(visit))
    assert "Signed and locked: patient 41" in page
    assert "<h1>0 to check</h1>" in page
    assert page.index("Signed today") < page.index(f'href="/visits/{visit}"', page.index("Signed today"))


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"words": "fine suction"}, "b"),
        ({"patient": "41"}, "a"),
        ({"patient": "42"}, "b"),
        ({"finding": "before.wax.colour=dark_brown"}, "a"),
        ({"finding": "after.drum=intact"}, "ab"),
        ({"finding": "after.drum=intact", "ear": "right"}, "a"),
        ({"finding": "after.drum=perforated"}, ""),
        ({"which": "undecided"}, "b"),
        ({"which": "signed"}, ""),
        ({"since": "2000-01-01", "until": "2000-01-02"}, ""),
        ({"since": "2000-01-01"}, "ab"),
    ],
)
def test_visits_are_found(desk: Any, asked: dict[str, str], found: str) -> None:
    ids = {"a": desk.dictate(desk.CLEAN, "a.wav"), "b": desk.dictate(desk.NO_SIDE, "b.wav")}
    page = desk.page("/", **asked)
    assert sorted(links(page)) == sorted(ids[name] for name in found)
    assert ("No visit is like that." in page) == (not found)


def test_a_long_list_goes_on_where_it_ended(desk: Any) -> None:
    ids = {desk.dictate(desk.CLEAN.replace("41", str(n)), f"{n}.wav") for n in range(100, 153)}
    first = desk.page("/", which="waiting")
    more = re.search(r'href="(/\?[^"]*after=[^"]*)"', first)
    assert more is not None
    second = desk.page(more[1].replace("&amp;", "&"))
    assert len(links(first)) == 50
    assert {*links(first), *links(second)} == ids
    assert "More visits" not in second


@pytest.mark.parametrize(
    "asked", [{"since": "yesterday"}, {"which": "mine"}, {"words": "x", "after": "nonsense"}]
)
def test_what_cannot_be_looked_for_is_said(desk: Any, asked: dict[str, str]) -> None:
    desk.dictate(desk.CLEAN)
    answer = desk.client.get("/", params=asked)
    assert answer.status_code == 400
    assert "Not done" in answer.text


def test_recordings_in_trouble_are_shown_with_the_reason(desk: Any) -> None:
    with Store(desk.folder) as store:
        store.fail(Recording("", "broken.m4a", 0, "sound", Path("broken.m4a")), "cut off, <i>nothing</i>")
        store.wait(Recording("", "later.m4a", 0, "sound", Path("later.m4a")))
    for address in ("/", "/recordings"):
        page = desk.page(address)
        assert "broken.m4a" in page
        assert "cut off, &lt;i&gt;nothing&lt;/i&gt;" in page
        assert "later.m4a" in page


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
def test_days_at_the_ends_of_the_calendar_are_refused(desk: Any, day: str) -> None:
    """By every page that takes a day; west of Greenwich the year 9999 ends in the year 10000 of UTC."""
    visit = desk.dictate(desk.CLEAN)
    for address in (f"/?since={day}", f"/?until={day}", f"/register?from={day}", f"/register?to={day}"):
        assert desk.client.get(address).status_code == 400, address
    seen = desk.client.post(f"/visits/{visit}/seen-by", data={"revision": "1", "when": f"{day}T23:30"})
    postponed = desk.client.post(f"/recall/{visit}", data={"what": "postponed", "until": day})
    assert (seen.status_code, postponed.status_code) == (400, 400)
    assert "is not a date" in postponed.text
