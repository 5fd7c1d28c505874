"""Accounts: passwords kept as Argon2id hashes, wrong tries slowed down, and none of it changed unseen."""

from __future__ import annotations

import re
import sqlite3
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from shared.errors import BadInput, NotAllowed
from shared.store import Store, accounts, passwords
from shared.store.accounts import TryLater

ANN, BEN, CAT = "Ann Example", "Ben Sample", "Cat Sample"
PASSWORD, OTHER = "warm olive spoon", "nine quiet lamps"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path) as opened:
        opened.set_person(ANN, "clinician")
        opened.set_person(BEN, "assistant")
        yield opened


def test_argon2id_is_that_of_rfc_9106() -> None:
    """The test vector of RFC 9106, section 5.3 (from memory), and the parameters of its section 4."""
    from argon2.low_level import ARGON2_VERSION, Type, core, ffi, lib  # noqa: PLC0415

    out, parts = ffi.new("uint8_t[]", 32), [ffi.new("uint8_t[]", b) for b in
        (b"\x01" * 32, b"\x02" * 16, b"\x03" * 8, b"\x04" * 12)]  # fmt: skip
    context = ffi.new(
        "argon2_context *",
        {
            "version": ARGON2_VERSION, "out": out, "outlen": 32, "pwd": parts[0], "pwdlen": 32,
            "salt": parts[1], "saltlen": 16, "secret": parts[2], "secretlen": 8, "ad": parts[3], "adlen": 12,
            "t_cost": 3, "m_cost": 32, "lanes": 4, "threads": 4, "allocate_cbk": ffi.NULL,
            "free_cbk": ffi.NULL, "flags": lib.ARGON2_DEFAULT_FLAGS,
        },
    )  # fmt: skip
    assert core(context, Type.ID.value) == 0
    assert bytes(ffi.buffer(out)).hex() == "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659"
    secret = passwords.hashed(PASSWORD, ANN)
    assert secret.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    salt, tag = secret.split("$")[4:]
    assert (len(salt), len(tag)) == (22, 43)  # 128 and 256 bits in base64 without padding
    assert PASSWORD not in secret
    assert passwords.hashed(PASSWORD, ANN) != secret


def test_only_the_right_password_signs_in(store: Store) -> None:
    store.set_password(ANN, PASSWORD)
    assert store.sign_in("ann  EXAMPLE", PASSWORD).person.role == "clinician"
    for name, given in ((ANN, PASSWORD + "x"), (ANN, ""), (BEN, PASSWORD), ("Nobody", PASSWORD)):
        with pytest.raises(NotAllowed, match="the password is wrong"):
            store.sign_in(name, given)


def test_a_password_typed_with_other_keys_is_the_same(store: Store) -> None:
    store.set_password(ANN, "caf\u00e9 au lait")
    assert store.sign_in(ANN, "cafe\u0301 au lait").person.name == ANN


@pytest.mark.parametrize(
    "easy", ["", "short", "x" * 201, "aaaaaaaaaaaa", "Ann Example 1", "password123", "1234567890"]
)
def test_what_is_guessed_too_easily_is_refused(store: Store, easy: str) -> None:
    with pytest.raises(BadInput):
        store.set_password(ANN, easy)
    assert store.accounts() == {}


def test_the_first_account_is_a_clinicians(store: Store) -> None:
    with pytest.raises(BadInput, match="must be a clinician's"):
        store.set_password(BEN, PASSWORD)
    store.set_password(ANN, PASSWORD)
    store.set_password(BEN, OTHER, by=ANN)
    assert list(store.accounts()) == [ANN, BEN]


def test_somebody_who_left_does_not_sign_in(store: Store) -> None:
    store.set_password(ANN, PASSWORD)
    store.set_person(ANN, "clinician", active=False)
    with pytest.raises(NotAllowed, match="wrong"):
        store.sign_in(ANN, PASSWORD)
    assert list(store.accounts()) == [ANN]  # the desk does not fall back to names at their word
    with pytest.raises(NotAllowed, match="does not work here"):
        store.set_password(ANN, OTHER)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Any:
    """A clock to be put on, and a hash that costs nothing."""

    class Clock(datetime):
        at = datetime(2026, 1, 5, 9, tzinfo=UTC)

        @classmethod
        def now(cls, tz: Any = None) -> datetime:
            return cls.at

    monkeypatch.setattr(accounts, "datetime", Clock)
    monkeypatch.setattr(passwords, "fits", lambda secret, given: given == PASSWORD)
    return Clock


def test_wrong_tries_are_slowed_down_and_a_right_one_ends_it(store: Store, clock: Any) -> None:
    store.set_password(ANN, PASSWORD)
    waits = []
    for _ in range(12):
        with pytest.raises(NotAllowed) as wrong:
            store.sign_in(ANN, "no")
        while isinstance(wrong.value, TryLater):
            waits.append(wrong.value.seconds)
            with pytest.raises(TryLater):
                store.sign_in(ANN, PASSWORD)  # even the right one is not looked at too early
            clock.at += timedelta(seconds=wrong.value.seconds)
            with pytest.raises(NotAllowed) as wrong:
                store.sign_in(ANN, "no")
    assert waits == [5, 10, 20, 40, 80, 160, 320, 640, 900]
    clock.at += timedelta(seconds=900)
    assert store.sign_in(ANN, PASSWORD)
    assert store.sign_in(ANN, PASSWORD)


def test_tries_are_counted_for_all_programs_and_after_a_start(store: Store, clock: Any) -> None:
    store.set_password(ANN, PASSWORD)
    for _ in range(3):
        with Store(store.folder) as another, pytest.raises(NotAllowed):
            another.sign_in(ANN, "no")
    with Store(store.folder) as another, pytest.raises(TryLater, match="Wait 5 seconds"):
        another.sign_in(ANN, PASSWORD)


def test_a_clock_set_back_does_not_keep_anybody_out_for_longer(store: Store, clock: Any) -> None:
    store.set_password(ANN, PASSWORD)
    for _ in range(3):
        with pytest.raises(NotAllowed):
            store.sign_in(ANN, "no")
    clock.at -= timedelta(days=300)
    with pytest.raises(TryLater, match="Wait 5 seconds"):
        store.sign_in(ANN, PASSWORD)


def test_a_hundred_tries_at_once_are_looked_at_three_times(store: Store, monkeypatch: Any) -> None:
    looked = []
    monkeypatch.setattr(passwords, "fits", lambda secret, given: looked.append(given))
    store.set_password(ANN, PASSWORD)

    def guess(n: int) -> None:
        with Store(store.folder) as mine, pytest.raises(NotAllowed):
            mine.sign_in(ANN, f"guess {n}")

    threads = [threading.Thread(target=guess, args=(n,)) for n in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(looked) == 3


def test_no_password_is_kept_in_the_clear(store: Store, tmp_path: Path) -> None:
    store.set_password(ANN, PASSWORD)
    store.sign_in(ANN, PASSWORD)
    for file in tmp_path.rglob("*"):
        assert not file.is_file() or PASSWORD.encode() not in file.read_bytes(), file


@pytest.mark.parametrize(
    ("sql", "told"),
    [
        ("UPDATE people SET role = 'clinician' WHERE name = 'Ben Sample'", "Ben Sample: their role"),
        ("INSERT INTO people VALUES ('Cat Sample', 'clinician', 1, '')", "Cat Sample: their role"),
        ("DELETE FROM people WHERE name = 'Ben Sample'", "Ben Sample: their role"),
        ("UPDATE accounts SET secret = 'x'", "Ann Example: their password"),
        ("DELETE FROM accounts", "Ann Example: their password"),
        (
            "INSERT INTO accounts (name, secret, changed) VALUES ('Ben Sample', 'x', '')",
            "Ben Sample: their password",
        ),
    ],
)
def test_what_is_changed_behind_it_is_found(store: Store, tmp_path: Path, sql: str, told: str) -> None:
    store.set_password(ANN, PASSWORD)
    assert store.verify().faults == ()
    with sqlite3.connect(tmp_path / "earside.db") as db:
        db.execute(sql)
    db.close()
    (fault,) = store.verify().faults
    assert fault.startswith(told)


def test_all_that_is_done_to_accounts_is_in_the_history(store: Store) -> None:
    store.set_password(ANN, PASSWORD)
    store.set_password("ben sample", OTHER, by=ANN)
    store.set_person("BEN SAMPLE", "auditor", by=ANN)
    store.drop_password(BEN, by=ANN)
    with pytest.raises(BadInput, match="has no password"):
        store.drop_password(BEN)
    told = [re.findall(r'"what":"([^"]+)"', r["content"])[0] for r in
        store._rows("SELECT content FROM entries WHERE kind = 'account' ORDER BY seq")]  # fmt: skip
    assert told == [
        "Ann Example was given a password at the terminal",
        "Ben Sample was given a password",
        "Ben Sample has no password any more",
    ]
    assert store.verify().faults == ()
