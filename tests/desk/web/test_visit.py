"""The checking page: every act, and what may not be done."""

import re
import wave
from html.parser import HTMLParser
from io import BytesIO
from typing import Any

import pytest

from shared.store import Store


def begins_at(page: str) -> str:
    found = re.search(r'data-begin="([^"]*)"', page)
    assert found is not None
    return found[1]


def test_the_page_shows_the_record_with_words_and_seconds(desk: Any) -> None:
    page = desk.page(f"/visits/{desk.dictate(desk.CLEAN)}")
    assert 'data-path="ears[0].before.wax[0].colour[0]"' in page
    assert "dark brown" in page
    assert "Hear it at" in page
    assert page.count('class="ear-picture"') == 2
    assert f"Sign as {desk.ANN}" in page


def test_what_must_be_decided_comes_before_the_record(desk: Any) -> None:
    page = desk.page(f"/visits/{desk.dictate(desk.NO_SIDE)}")
    assert page.index("No side was said") < page.index('class="sheet ear')
    assert begins_at(page).startswith("notice-")
    assert "to decide before signing" in page


def test_the_right_ear_stands_on_the_left(desk: Any) -> None:
    page = desk.page(f"/visits/{desk.dictate('Patient 5. Left ear, soft wax. Right ear, hard wax.')}")
    assert page.index('data-place="right"') < page.index('data-place="left"')


def test_a_notice_is_answered_by_its_button(desk: Any) -> None:
    visit = desk.dictate(desk.NO_SIDE)
    desk.do(visit, "correct", path="ears[0].side", value="left", notice="0")
    assert desk.plain(visit)["ears"][0]["side"] == "left"
    assert "No side was said" not in desk.page(f"/visits/{visit}")


def test_values_are_accepted_corrected_removed_and_added(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    colour = "ears[0].before.wax[0].colour[0]"
    place = desk.do(visit, "accept", path=colour)
    assert place.startswith(f"/visits/{visit}?at=")
    assert colour not in place, "one goes on to the next value"
    desk.do(visit, "correct", path=colour, value="light brown")
    desk.do(visit, "correct", path="ears[0].removed_mm[0]", value="1.8 cm")
    desk.do(visit, "remove", path="ears[0].complications_denied[0]")
    desk.do(visit, "add", what="ears[0].before.depth=deep")
    desk.do(visit, "add", what="plan.recall=", amount="6 months")
    ear = desk.plain(visit)["ears"][0]
    assert ear["before"]["wax"][0]["colour"] == ["light_brown"]
    assert ear["before"]["depth"] == ["deep"]
    assert ear["removed_mm"] == [18]
    assert len(ear["complications_denied"]) == 1
    assert desk.plain(visit)["plan"]["recall"] == {"number": 6, "unit": "months"}


def test_choosing_the_value_that_stands_confirms_it(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    desk.do(visit, "correct", path="ears[0].removed_mm[0]", value="16 mm")
    with Store(desk.folder) as store:
        assert store.visit(visit).visit.ears[0].removed_mm[0].confirmed_by == desk.ANN


def test_words_can_be_put_behind_an_added_value(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    start = desk.CLEAN.index("Keep it dry")
    desk.do(visit, "add", what="ears[0].before.canal=dry", words=f"{start}-{start + 11}")
    with Store(desk.folder) as store:
        value = store.visit(visit).visit.ears[0].before.canal[-1]
    assert (value.heard, value.origin) == ("Keep it dry", "entered")
    assert value.seconds is not None


def test_wax_can_be_added_where_none_was_recorded(desk: Any) -> None:
    visit = desk.dictate("Patient 6. Right ear. The drum is intact.")
    desk.do(visit, "add", what="ears[0].before.wax.colour=orange")
    assert desk.plain(visit)["ears"][0]["before"]["wax"] == [{"where": "whole", "colour": ["orange"]}]


def test_everything_is_undone_and_done_again(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    before = desk.plain(visit)
    desk.do(visit, "remove", path="ears[0].removed_mm[0]")
    removed = desk.plain(visit)
    desk.do(visit, "undo")
    assert desk.plain(visit) == before
    desk.do(visit, "redo")
    assert desk.plain(visit) == removed != before


def test_ears_are_swapped(desk: Any) -> None:
    visit = desk.dictate("Patient 5. Left ear, soft wax. Right ear, hard wax.")
    before = [ear["side"] for ear in desk.plain(visit)["ears"]]
    desk.do(visit, "swap")
    assert [ear["side"] for ear in desk.plain(visit)["ears"]] == before[::-1]


def test_words_are_put_right_and_read_again_without_a_script(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    page = desk.page(f"/visits/{visit}/words")
    assert desk.CLEAN in page
    desk.do(visit, "words", text=desk.CLEAN.replace("dark brown", "yellow"))
    assert desk.plain(visit)["ears"][0]["before"]["wax"][0]["colour"] == ["yellow"]


def test_a_visit_is_divided_and_made_one_again(desk: Any) -> None:
    both = f"{desk.CLEAN} Soft wax on the left, nothing else."
    visit = desk.dictate(both)
    desk.do(visit, "split", at=str(both.index("Soft wax on")))
    with Store(desk.folder) as store:
        other = store.next_visit(visit)
    assert other is not None
    assert desk.plain(other)["ears"][0]["side"] == "left"
    assert "Make one visit of this and the next" in desk.page(f"/visits/{visit}")
    desk.do(visit, "merge")
    assert len(desk.plain(visit)["ears"]) == 2
    assert desk.status(other) == "replaced"


def test_what_is_undecided_needs_a_reason_to_be_signed(desk: Any) -> None:
    visit = desk.dictate(desk.NO_SIDE)
    refused = desk.client.post(f"/visits/{visit}/sign", data={"revision": "1"})
    assert refused.status_code == 400
    assert "to decide before signing" in refused.text
    assert desk.status(visit) == "draft"
    desk.do(visit, "sign", reason="the patient left before it could be asked")
    assert "the patient left before it could be asked" in desk.page(f"/visits/{visit}")


def test_a_notice_is_decided_with_a_reason(desk: Any) -> None:
    visit = desk.dictate(desk.NO_SIDE)
    refused = desk.client.post(
        f"/visits/{visit}/decide", data={"revision": "1", "number": "0", "decision": "seen"}
    )
    assert refused.status_code == 400
    desk.do(visit, "decide", number="0", decision="seen", reason="ask the patient")
    assert "Decided: 1" in desk.page(f"/visits/{visit}")


def test_a_signed_visit_is_locked_until_it_is_amended(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    desk.do(visit, "sign")
    page = desk.page(f"/visits/{visit}")
    assert "Put right" not in page
    assert f"</b> by {desk.ANN}, clinician" in page
    refused = desk.client.post(
        f"/visits/{visit}/remove", data={"revision": "2", "path": "ears[0].removed_mm[0]"}
    )
    assert refused.status_code == 400
    assert "locked" in refused.text
    desk.do(visit, "amend", reason="the length was misread")
    desk.do(visit, "correct", path="ears[0].removed_mm[0]", value="14")
    page = desk.page(f"/visits/{visit}")
    assert "What was signed before" in page
    assert "16 mm" in page[page.index("What was signed before") :]
    desk.do(visit, "sign")
    history = desk.page(f"/visits/{visit}/history")
    assert "the length was misread" in history
    assert history.count("The record as it was signed") == 2
    assert desk.status(visit) == "amended"


def test_an_amendment_needs_a_reason(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    desk.do(visit, "sign")
    answer = desk.client.post(f"/visits/{visit}/amend", data={"revision": "2", "reason": "  "})
    assert answer.status_code == 400
    assert desk.status(visit) == "signed"


def test_the_history_shows_the_record_as_it_was(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    desk.do(visit, "remove", path="ears[0].removed_mm[0]")
    history = desk.page(f"/visits/{visit}/history")
    first, last = sorted(map(int, re.findall(rf"/visits/{visit}/history/(\d+)", history)))
    assert "16 mm" in desk.page(f"/visits/{visit}/history/{first}")
    assert "16 mm" not in desk.page(f"/visits/{visit}/history/{last}")


def test_an_assistant_corrects_and_does_not_sign(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    desk.work_as(desk.BEN)
    page = desk.page(f"/visits/{visit}")
    assert "Put right" in page
    assert "Sign as" not in page
    assert desk.client.post(f"/visits/{visit}/sign", data={"revision": "1"}).status_code == 400
    assert desk.status(visit) == "draft"


def test_what_somebody_changed_meanwhile_is_not_overwritten(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    desk.do(visit, "remove", path="ears[0].removed_mm[0]")
    answer = desk.client.post(f"/visits/{visit}/accept", data={"revision": "1", "path": ""})
    assert answer.status_code == 409
    assert "has been changed since" in answer.text


@pytest.mark.parametrize(
    ("act", "fields"),
    [
        ("accept", {"path": "ears[9].side"}),
        ("correct", {"path": "ears[0].removed_mm[0]", "value": "a lot"}),
        ("correct", {"path": "nothing", "value": "x"}),
        ("add", {"what": ""}),
        ("add", {"what": "ears[0].removed_mm="}),
        ("decide", {"number": "77", "decision": "seen"}),
        ("split", {"at": "x"}),
        ("merge", {}),
        ("words", {"text": "unchanged"}),
        ("explode", {}),
        ("seen-by", {"when": "soon"}),
    ],
)
def test_what_cannot_be_done_is_said_and_changes_nothing(desk: Any, act: str, fields: dict[str, str]) -> None:
    visit = desk.dictate(desk.CLEAN)
    before = desk.plain(visit)
    if fields.get("text") == "unchanged":
        fields = {"text": desk.CLEAN}
    answer = desk.client.post(f"/visits/{visit}/{act}", data={"revision": "1", **fields})
    assert answer.status_code == 400
    assert "Not done" in answer.text
    assert desk.plain(visit) == before


def test_there_is_no_such_visit(desk: Any) -> None:
    for address in ("/visits/7", "/visits/7/history", "/visits/7/sound?from=0&to=1"):
        assert desk.client.get(address).status_code == 400


class Parts(HTMLParser):
    """The tags and the names of attributes of a page, as a browser reads them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}


def test_hostile_words_stay_words(desk: Any) -> None:
    visit = desk.dictate(desk.HOSTILE, "<img src=x onerror=alert(3)>.wav")
    desk.do(visit, "decide", number="0", decision="dismissed", reason="<svg onload=alert(4)>")
    for address in ("/", f"/visits/{visit}", f"/visits/{visit}/words", f"/visits/{visit}/history"):
        page = desk.page(address)
        assert "img" not in Parts(page).tags
        assert page.count("<script") == 1, "only the desk's own"
        assert not [name for name in Parts(page).attributes if name.startswith("on")]
        assert str(777 * 777) not in page, "the words are no template"


def test_the_words_behind_a_value_are_played(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    answer = desk.client.get(f"/visits/{visit}/sound", params={"from": "5.00", "to": "6.00"})
    assert answer.headers["content-type"] == "audio/wav"
    with wave.open(BytesIO(answer.content)) as sound:
        assert sound.getframerate() == 16_000
        assert sound.getnframes() / 16_000 == pytest.approx(1.7, abs=0.01)


@pytest.mark.parametrize(
    "asked", [{}, {"from": "x", "to": "1"}, {"from": "-1", "to": "1"}, {"from": "nan", "to": "1"}]
)
def test_seconds_are_checked(desk: Any, asked: dict[str, str]) -> None:
    visit = desk.dictate(desk.CLEAN)
    assert desk.client.get(f"/visits/{visit}/sound", params=asked).status_code == 400
