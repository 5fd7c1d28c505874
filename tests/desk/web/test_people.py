"""Who works here: chosen once, kept until the browser is closed."""

from typing import Any

import pytest
from starlette.testclient import TestClient

from desk.web.app import application
from shared.store import Store

HOST, KEY = "127.0.0.1:8702", "the-key"


def test_the_first_clinician_is_added_and_works_at_once(tmp_path: Any) -> None:
    app = application(tmp_path, key=KEY, hosts=(HOST,))
    client = TestClient(app, base_url=f"http://{HOST}", headers={"origin": f"http://{HOST}"})
    client.get("/", params={"key": KEY})
    assert "Begin with the clinician who signs" in client.get("/people").text
    page = client.post("/people", data={"name": "  Ann   Example ", "role": "clinician"}).text
    assert "Working here: </span>Ann Example" in page


def test_who_works_is_chosen_and_shown_on_every_page(desk: Any) -> None:
    desk.work_as(desk.BEN)
    for address in ("/", "/people"):
        assert f"Working here: </span>{desk.BEN}" in desk.page(address)


def test_the_name_is_forgotten_with_the_browser(desk: Any) -> None:
    cookie = desk.client.post("/people/now", data={"name": desk.ANN}).headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "max-age" not in cookie
    assert "expires" not in cookie


@pytest.mark.parametrize(
    "back", ["https://evil.example/", "//evil.example", "/\\evil.example", "javascript:x"]
)
def test_one_is_never_sent_away_from_the_desk(desk: Any, back: str) -> None:
    assert desk.client.post("/people/now", data={"name": desk.ANN, "back": back}).headers["location"] == "/"


@pytest.mark.parametrize(
    ("name", "role"),
    [("", "clinician"), ("earside", "clinician"), ("x" * 101, "clinician"), ("Cat", "owner")],
)
def test_names_and_roles_are_checked(desk: Any, name: str, role: str) -> None:
    assert desk.client.post("/people", data={"name": name, "role": role}).status_code == 400


def test_somebody_who_left_can_do_nothing(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    desk.client.post("/people", data={"name": desk.ANN, "role": "clinician", "active": "no"})
    page = desk.page(f"/visits/{visit}")
    assert "Choose your name" in page
    assert "Sign as" not in page
    answer = desk.client.post(f"/visits/{visit}/sign", data={"revision": "1"})
    assert answer.status_code == 400
    assert desk.status(visit) == "draft"


def test_people_are_in_the_history(desk: Any) -> None:
    with Store(desk.folder) as store:
        assert store.verify().faults == ()
        assert {p.name for p in store.people()} == {desk.ANN, desk.BEN}
