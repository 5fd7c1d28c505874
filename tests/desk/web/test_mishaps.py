"""What nobody expected: said without quoting anything, on the page and in the terminal."""

from typing import Any

import pytest

from shared.errors import StoreError
from shared.store import Store


def test_an_unexpected_fault_is_told_without_its_message(
    desk: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("Mrs Example has wax")

    monkeypatch.setattr(Store, "counts", broken)
    answer = desk.client.get("/")
    told = answer.text + capsys.readouterr().err
    assert answer.status_code == 500
    assert "ZeroDivisionError" in told
    assert "Mrs Example" not in told
    assert answer.headers["cache-control"] == "no-store"


def test_a_store_that_cannot_be_used_is_told(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise StoreError("the disk is full", where="earside.db", remedy="Make room.")

    monkeypatch.setattr(Store, "counts", broken)
    answer = desk.client.get("/")
    assert answer.status_code == 500
    assert "Make room." in answer.text
