"""On the pages: agreement to being recorded, the practice's rules, all that is held of a patient, erasing."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from listening_script import find, said, scripted_parts
from starlette.testclient import TestClient

from desk import agreeing
from desk.web.app import application
from dictate import speech
from shared.store import Store

HOST, KEY, ANN = "127.0.0.1:8701", "the-key", "Ann Example"


@pytest.fixture
def client(desk: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """A browser at a desk that listens by a script."""
    monkeypatch.setattr(speech, "find", find)
    app = application(desk.folder, key=KEY, hosts=(HOST,), parts=scripted_parts(lambda: desk.reader))
    with TestClient(app, base_url=f"http://{HOST}", follow_redirects=False) as browser:
        browser.headers["origin"] = f"http://{HOST}"
        browser.get("/", params={"key": KEY})
        browser.post("/people/now", data={"name": ANN})
        yield browser


def until(socket: Any, kind: str) -> Any:
    while True:
        message = socket.receive_json()
        if message["is"] == kind:
            return message
        assert message["is"] not in ("fault", "missing"), message


def dictated(client: TestClient, *steps: tuple[bytes, str]) -> list[int]:
    """Dictate pieces, with the answer that was given after each; the visits."""
    with client.websocket_connect(f"ws://{HOST}/listen/sound") as socket:
        socket.send_text('{"do": "begin"}')
        name, at = until(socket, "on")["id"], 0
        for pcm, answer in steps:
            for start in range(0, len(pcm), 3200):
                socket.send_bytes(struct.pack("<Q", at + start) + pcm[start : start + 3200])
            at += len(pcm)
            if answer:
                socket.send_text(json.dumps({"do": "agreement", "what": answer}))
                assert until(socket, "agreement")["what"] == answer
    with client.websocket_connect(f"ws://{HOST}/listen/sound") as socket:  # cut off, and gone on with
        socket.send_text(json.dumps({"do": "go on", "id": name}))
        on = until(socket, "on")
        assert on["agreement"] == next((a for _, a in reversed(steps) if a), "open")
        whole = b"".join(pcm for pcm, _ in steps)
        socket.send_bytes(struct.pack("<Q", on["bytes"] - 2) + whole[on["bytes"] - 2 :])
        socket.send_text(json.dumps({"do": "end", "bytes": at}))
        visits: list[int] = until(socket, "finished")["visits"]
    return visits


def answers(folder: Path, visits: list[int]) -> list[Any]:
    with Store(folder) as store:
        assert store.verify().faults == ()
        return [(a.what, a.who) if (a := store.agreement(one)) else None for one in visits]


def test_the_answer_is_kept_with_the_visit_it_was_given_in(desk: Any, client: TestClient) -> None:
    visits = dictated(client, (said(1), "agreed"), (said(3), ""))
    assert answers(desk.folder, visits) == [("agreed", ANN), None]
    with Store(desk.folder) as store:
        record = json.dumps(store.visit(visits[0]).visit.plain())
    assert "agreed" not in record
    assert "consent" not in record


def test_a_later_answer_is_the_later_patients_and_the_last_one_stands(desk: Any, client: TestClient) -> None:
    visits = dictated(client, (said(1), "declined"), (b"", "agreed"), (said(3), "declined"))
    assert answers(desk.folder, visits) == [("agreed", ANN), ("declined", ANN)]
    page = client.get(f"/visits/{visits[1]}").text
    assert "Being recorded: the patient does not want it" in page
    assert "To have the recording erased, put in a patient reference" in page


def test_the_standing_notice_is_named_and_chosen_beforehand(desk: Any, client: TestClient) -> None:
    form = {"recordings": "keep", "lock": "10", "notice": "Notice at the door, version 2"}
    assert client.post("/people/rules", data=form).status_code == 303
    page = client.get("/listen").text
    assert 'data-usual="notice"' in page
    assert "our standing notice: Notice at the door, version 2" in page
    (visit,) = dictated(client, (said(1), "notice"))
    assert answers(desk.folder, [visit]) == [("notice", ANN)]
    assert "“Notice at the door, version 2”" in client.get(f"/visits/{visit}").text


@pytest.mark.parametrize("what", ["yes", "", None, 3, ["agreed"]])
def test_no_other_answer_is_taken(client: TestClient, what: object) -> None:
    with client.websocket_connect(f"ws://{HOST}/listen/sound") as socket:
        socket.send_text('{"do": "begin"}')
        until(socket, "on")
        socket.send_text(json.dumps({"do": "agreement", "what": what}))
        assert "no answer" in until(socket, "fault")["what"]


def test_what_was_said_is_offered_and_linked(desk: Any) -> None:
    visit = desk.dictate(f"Patient 41. She agrees to be recorded. {desk.CLEAN.partition('. ')[2]}")
    page = desk.page(f"/visits/{visit}")
    assert "not asked yet" in page
    assert "as was said: “She agrees to be recorded.”" in page
    desk.do(visit, "agreement", what="agreed", words="12-38")
    with Store(desk.folder) as store:
        found = store.agreement(visit)
    assert found
    assert (found.heard, found.chars) == ("She agrees to be recorded.", (12, 38))
    assert "Said: “She agrees to be recorded.”" in desk.page(f"/visits/{visit}")


@pytest.mark.parametrize(
    ("text", "there"),
    [
        ("He is happy for the visit to be recorded.", True),
        ("Consent to audio recording given, right ear next.", True),
        ("She does not agree to be recorded.", False),
        ("He would rather not be recorded.", False),
        ("Recorded hearing thresholds were fine.", True),  # offered only: a person reads it and decides
        ("Consent given. Right ear.", False),  # to the procedure
        ("Recorder on. She agrees.", False),
    ],
)
def test_where_agreement_seems_to_stand(text: str, there: bool) -> None:
    assert (agreeing.said(text, 0, len(text)) is not None) is there


def test_the_rules_are_set_by_a_clinician_alone(desk: Any) -> None:
    form = {"recordings": "days", "days": "30", "lock": "5", "notice": ""}
    desk.work_as(desk.BEN)
    assert "The practice’s rules" not in desk.page("/people")
    assert desk.client.post("/people/rules", data=form).status_code == 400
    desk.work_as(desk.ANN)
    for bad in ({"days": "0.5"}, {"days": "99999"}, {"lock": "0"}, {"lock": ""}):
        assert desk.client.post("/people/rules", data=form | bad).status_code == 400
    assert desk.client.post("/people/rules", data=form).status_code == 303
    with Store(desk.folder) as store:
        assert (store.keep_days(), store.lock_minutes(), store.standing_notice()) == (30, 5, "")


def test_all_that_is_held_is_handed_out(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    assert 'href="/patient/held.zip?ref=41"' in desk.page("/patient", ref="41")
    answer = desk.client.get("/patient/held.zip", params={"ref": "41"})
    assert answer.headers["content-disposition"] == 'attachment; filename="held-on-one-patient.zip"'
    assert answer.headers["cache-control"] == "no-store"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as file:
        assert f"visit-{visit}/record.json" in file.namelist()
        assert file.testzip() is None
    assert [p.name for p in desk.folder.iterdir() if p.is_dir() and p.name.startswith("tmp")] == []
    assert desk.client.get("/patient/held.zip", params={"ref": "none"}).status_code == 400


def test_erasing_asks_again_and_leaves_a_tombstone(desk: Any) -> None:
    visit = desk.dictate(desk.CLEAN)
    page = desk.page("/patient/erase", ref="41")
    assert "the recordings only" in page
    form = {"ref": "41", "what": "everything", "reason": "asked in writing", "again": "42"}
    for bad in ({}, {"again": "41", "what": ""}, {"again": "41", "reason": " "}):
        assert desk.client.post("/patient/erase", data=form | bad).status_code == 400
    desk.work_as(desk.BEN)
    assert desk.client.post("/patient/erase", data=form | {"again": "41"}).status_code == 400
    assert desk.status(visit) == "draft"
    desk.work_as(desk.ANN)
    answer = desk.client.post("/patient/erase", data=form | {"again": " 4 1"})
    assert answer.status_code == 200
    assert "morning.wav: the file that was taken in" in answer.text
    for path in (
        f"/visits/{visit}",
        f"/visits/{visit}/history",
        f"/visits/{visit}/history/1",
        f"/visits/{visit}/words",
    ):
        gone = desk.client.get(path)
        assert (gone.status_code, "was erased on" in gone.text) == (400, True), path
    for path in ("/", "/?words=wax", "/recall", "/register", "/learning", "/recordings", "/patient?ref=41"):
        assert "hard dark brown" not in desk.client.get(path).text
    with Store(desk.folder) as store:
        assert store.verify().faults == ()
        assert len(store.verify().tombstones) == 1
