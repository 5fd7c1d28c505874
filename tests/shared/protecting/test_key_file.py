"""The key file: Argon2id as RFC 9106 has it, and nobody gets in without the passphrase or the recovery key."""

from __future__ import annotations

import json
from pathlib import Path

import argon2.low_level
import pytest
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import BadInput, StoreError
from shared.protecting import asking, key_file, unlocking
from shared.protecting.key_file import WrongPassphrase
from shared.protecting.vault import Vault

PASSPHRASE = "four quiet otters swim"
VAULT = Vault(bytes(range(32)))
WHERE = Path("data", key_file.NAME)


@pytest.fixture(scope="module")
def made() -> tuple[bytes, str]:
    return key_file.make(VAULT, PASSPHRASE)


def test_argon2id_is_that_of_the_rfc() -> None:
    """RFC 9106, section 5.3: the test vector of Argon2id."""
    tag = Argon2id(
        salt=b"\x02" * 16,
        length=32,
        iterations=3,
        lanes=4,
        memory_cost=32,
        ad=b"\x04" * 12,
        secret=b"\x03" * 8,
    ).derive(b"\x01" * 32)
    assert tag.hex() == "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659"


def test_the_key_is_what_another_implementation_makes_with_the_second_recommended_option(
    made: tuple[bytes, str],
) -> None:
    """RFC 9106, section 4: t=3, p=4, m=2^16 KiB, 128-bit salt, 256-bit tag. The other: the reference C code, as
    the package argon2-cffi brings it."""
    slot = json.loads(made[0])["passphrase"]
    assert (slot["passes"], slot["lanes"], slot["kibibytes"]) == (3, 4, 65536)
    salt = bytes(range(16))
    theirs = argon2.low_level.hash_secret_raw(
        PASSPHRASE.encode(), salt, 3, 65536, 4, 32, argon2.low_level.Type.ID
    )
    assert key_file.argon2id(PASSPHRASE.encode(), salt, passes=3, kibibytes=65536, lanes=4) == theirs


def test_passphrase_and_recovery_key_open_it(made: tuple[bytes, str]) -> None:
    text, recovery = made
    assert key_file.open_with_passphrase(text, PASSPHRASE, WHERE) == VAULT
    assert key_file.open_with_recovery(text, recovery, WHERE) == VAULT
    assert len(recovery.replace("-", "")) == 32
    typed = recovery.lower().replace("-", " ").replace("o", "0").replace("i", "1")
    assert key_file.open_with_recovery(text, typed, WHERE) == VAULT


def test_others_do_not(made: tuple[bytes, str]) -> None:
    text, recovery = made
    with pytest.raises(WrongPassphrase, match="not the passphrase"):
        key_file.open_with_passphrase(text, PASSPHRASE + "s", WHERE)
    other = recovery[:-1] + ("A" if recovery[-1] != "A" else "B")
    for wrong in (other, "", "ABCD", "é" * 32, recovery[:-2]):
        with pytest.raises(WrongPassphrase, match="not the recovery key"):
            key_file.open_with_recovery(text, wrong, WHERE)


def test_neither_data_key_nor_recovery_key_nor_passphrase_stands_in_it(made: tuple[bytes, str]) -> None:
    text, recovery = made
    for secret in (VAULT.key.hex(), recovery, recovery.replace("-", ""), PASSPHRASE):
        assert secret.encode() not in text
    assert VAULT.key not in text
    assert "key=" not in repr(VAULT)


def test_what_looks_the_same_is_the_same() -> None:
    """RFC 8265, section 4.2: composed and decomposed letters count as one (NFC)."""
    text, _ = key_file.make(VAULT, "caf\u00e9 au lait \u00e9t\u00e9")
    assert key_file.open_with_passphrase(text, "cafe\u0301 au lait e\u0301te\u0301", WHERE) == VAULT


def test_another_passphrase_and_another_recovery_key(made: tuple[bytes, str]) -> None:
    text, recovery = made
    changed = key_file.with_passphrase(text, VAULT, "another long passphrase")
    assert key_file.open_with_passphrase(changed, "another long passphrase", WHERE) == VAULT
    assert key_file.open_with_recovery(changed, recovery, WHERE) == VAULT
    with pytest.raises(WrongPassphrase):
        key_file.open_with_passphrase(changed, PASSPHRASE, WHERE)
    renewed, new = key_file.with_new_recovery(text, VAULT)
    assert key_file.open_with_recovery(renewed, new, WHERE) == VAULT
    assert key_file.open_with_passphrase(renewed, PASSPHRASE, WHERE) == VAULT
    with pytest.raises(WrongPassphrase):
        key_file.open_with_recovery(renewed, recovery, WHERE)


@pytest.mark.parametrize("short", ["", "eleven char", "x" * 1025])
def test_a_passphrase_has_a_length(short: str) -> None:
    with pytest.raises(BadInput, match="at least 12"):
        key_file.make(VAULT, short)


@pytest.mark.parametrize(
    "place", [("passphrase", "lanes"), ("passphrase", "kibibytes"), ("passphrase", "kdf")]
)
def test_settings_that_were_changed_do_not_open_it(made: tuple[bytes, str], place: tuple[str, str]) -> None:
    held = json.loads(made[0])
    held[place[0]][place[1]] = "scrypt" if place[1] == "kdf" else held[place[0]][place[1]] // 2
    with pytest.raises(WrongPassphrase):
        key_file.open_with_passphrase(json.dumps(held).encode(), PASSPHRASE, WHERE)


def test_settings_that_would_take_all_memory_are_refused(made: tuple[bytes, str]) -> None:
    held = json.loads(made[0])
    held["passphrase"]["kibibytes"] = 1 << 30
    with pytest.raises(StoreError, match="damaged"):
        key_file.open_with_passphrase(json.dumps(held).encode(), PASSPHRASE, WHERE)


@given(st.binary(max_size=60) | st.recursive(st.none() | st.integers() | st.text(max_size=5), lambda inner: st.lists(
    inner, max_size=3) | st.dictionaries(st.sampled_from(["version", "passphrase", "recovery", "salt"]), inner)
).map(lambda made: json.dumps(made).encode()))  # fmt: skip
def test_anything_else_is_said_to_be_damaged(text: bytes) -> None:
    for way in (key_file.open_with_passphrase, key_file.open_with_recovery):
        with pytest.raises((StoreError, WrongPassphrase)):
            way(text, "A" * 32, WHERE)


def test_the_key_is_asked_for_once_and_held(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    unlocking.forget()
    assert unlocking.vault(tmp_path) is None
    text, _ = key_file.make(VAULT, PASSPHRASE)
    (tmp_path / key_file.NAME).write_bytes(text)
    with pytest.raises(StoreError, match="nobody is here to give its passphrase"):
        unlocking.vault(tmp_path)
    given = ["wrong passphrase", PASSPHRASE]
    monkeypatch.setattr(asking, "ask", lambda folder: given.pop(0))
    assert unlocking.vault(tmp_path) == VAULT
    assert unlocking.vault(tmp_path) == VAULT
    assert not given
    unlocking.forget()
    given += ["wrong"] * 5
    with pytest.raises(WrongPassphrase):
        unlocking.vault(tmp_path)
    assert len(given) == 2


def test_a_file_can_hold_the_passphrase(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    unlocking.forget()
    text, _ = key_file.make(VAULT, PASSPHRASE)
    (tmp_path / key_file.NAME).write_bytes(text)
    held = tmp_path / "secret"
    monkeypatch.setenv(unlocking.VARIABLE, str(held))
    with pytest.raises(BadInput, match="cannot be read"):
        unlocking.vault(tmp_path)
    held.write_text("\n")
    with pytest.raises(BadInput, match="first line"):
        unlocking.vault(tmp_path)
    held.write_text(f"{PASSPHRASE}\r\nsomething else\n")
    assert unlocking.vault(tmp_path) == VAULT
    unlocking.forget()
