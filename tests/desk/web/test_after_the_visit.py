"""Recall and the register in the browser: what they list, what can be marked, what is written to files."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import icalendar
import pytest

from shared.store import Store

AGAIN = "{} See again in six months."


@pytest.fixture
def overdue(desk: Any) -> int:
    """A signed visit of a year ago, of which the day is known."""
    visit = desk.dictate(AGAIN.format(desk.CLEAN))
    day = date.today() - timedelta(days=365)
    desk.do(visit, "seen-by", when=f"{day}T10:00")
    desk.do(visit, "sign")
    return int(visit)


def marked(desk: Any, visit: int, **fields: str) -> Any:
    return desk.client.post(f"/recall/{visit}", data=fields)


def test_without_recalls_the_page_says_so(desk: Any) -> None:
    assert "No recall is open." in desk.page("/recall")
    assert "0 visits" in desk.page("/register")


def test_a_recall_is_listed_postponed_and_done(desk: Any, overdue: int) -> None:
    text = desk.page("/recall")
    assert "1 to see again" in text
    assert "Overdue: 1" in text
    assert "checked by Ann Example" in text
    new = date.today() + timedelta(days=200)
    answer = marked(desk, overdue, what="postponed", until=str(new))
    assert (answer.status_code, answer.headers["location"]) == (303, f"/recall?marked={overdue}")
    text = desk.page("/recall", marked=str(overdue))
    assert f"recall postponed to {new}" in text
    assert "Coming: 1" in text
    assert "postponed by Ann Example" in text
    marked(desk, overdue, what="done")
    assert "0 to see again" in desk.page("/recall")
    assert "Open again" in desk.page("/recall")
    assert "recall done" in desk.page(f"/visits/{overdue}/history")
    with Store(desk.folder) as store:
        assert store.verify().faults == ()


def test_marks_that_cannot_be_say_what_to_do(desk: Any, overdue: int) -> None:
    for fields, words in (
        ({"what": "postponed"}, "needs the day"),
        ({"what": "postponed", "until": "soon"}, "not a date"),
        ({"what": "lost"}, "cannot be"),
    ):
        answer = marked(desk, overdue, **fields)
        assert (answer.status_code, words in answer.text) == (400, True), fields
    desk.client.cookies.delete("earside_who_8701")
    assert "nobody has said who is working" in marked(desk, overdue, what="done").text


def test_the_list_as_files(desk: Any, overdue: int) -> None:
    calendar = desk.client.get("/recall.ics")
    assert calendar.headers["content-type"].startswith("text/calendar")
    (event,) = icalendar.Calendar.from_ical(calendar.content).walk("VEVENT")
    assert event["summary"] == "Ear recall: 41"
    assert "41,6 months" in desk.client.get("/recall.csv").text


def test_the_register_shows_shares_with_intervals_and_pictures_with_words(desk: Any, overdue: int) -> None:
    desk.dictate(desk.NO_SIDE, "draft.wav")
    since = date.today() - timedelta(days=400)
    text = desk.page("/register", **{"from": str(since)})
    assert "1 visit with 1 ear, 1 of them worked on." in text
    assert "1 draft or open amendment of this period left out" in text
    assert "20.7 to 100.0 %, small group" in text  # Wilson, 1 of 1
    assert 'alt="Ears cleared completely, month by month: 1 month, 100.0 % in all' in text
    picture = desk.client.get("/register/cleared.svg", params={"from": str(since)})
    assert picture.headers["content-type"].startswith("image/svg+xml")
    assert b"<script" not in picture.content
    dark = desk.client.get("/register/cleared.svg", params={"from": str(since), "dark": "yes"})
    assert dark.content != picture.content
    assert "Ears cleared,completely" in desk.client.get("/register.csv", params={"from": str(since)}).text
    assert "2 visits with 2 ears" in desk.page("/register", **{"from": str(since), "drafts": "yes"})


def test_a_register_follows_what_changes(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    assert "0 visits with 0 ears" in desk.page("/register")
    desk.do(visit, "sign")
    assert "1 visit with 1 ear" in desk.page("/register")


@pytest.mark.parametrize(
    ("query", "words"),
    [({"from": "May"}, "not a date"), ({"from": "2026-02-01", "to": "2026-01-01"}, "before it begins")],
)
def test_periods_that_are_none(desk: Any, query: dict[str, str], words: str) -> None:
    answer = desk.client.get("/register", params=query)
    assert (answer.status_code, words in answer.text) == (400, True)
    assert desk.client.get("/register/nothing.svg").status_code == 400
