"""The key file: the data key, wrapped once for the passphrase and once for the recovery key.

    earside.key   JSON: version, name of the data key, and two slots. The slot "passphrase" has the settings of
                  Argon2id, by which a key comes from the passphrase (RFC 9106; the second recommended option of
                  section 4: 3 passes, 64 MiB, 4 lanes); the slot "recovery" needs none, as a recovery key is
                  160 random bits, and takes HKDF. In each the data key is encrypted with that key by AES-256-GCM;
                  all that stands around it is authenticated.

Whoever has the key file and the passphrase, or the key file and the recovery key, can read the store; who has
neither cannot, and nobody can help them.
"""

from __future__ import annotations

import base64
import json
import os
import unicodedata
from pathlib import Path
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id

from shared.errors import BadInput, StoreError
from shared.protecting.vault import KEY_BYTES, NONCE_BYTES, Vault, derived

NAME = "earside.key"
SHORTEST = 12
"""Characters a passphrase must have; set by us. NIST SP 800-63B-4 asks for 15 where it stands alone."""
_LONGEST = 1024
_VERSION = 1
_SALT_BYTES = 16
_RECOVERY_BYTES = 20
_ARGON2 = {"passes": 3, "kibibytes": 1 << 16, "lanes": 4}
_MOST = {"passes": 16, "kibibytes": 1 << 20, "lanes": 16}
"""More than that no key file of ours asks for: a changed one must not take all the memory."""
_MISREAD = str.maketrans("018", "OIB", " -\t\r\n")

Slot = dict[str, Any]


class WrongPassphrase(BadInput):
    """The passphrase, or the recovery key, does not open this store."""


def argon2id(passphrase: bytes, salt: bytes, *, passes: int, kibibytes: int, lanes: int) -> bytes:
    """A key of 32 bytes from a passphrase."""
    return Argon2id(
        salt=salt, length=KEY_BYTES, iterations=passes, lanes=lanes, memory_cost=kibibytes
    ).derive(passphrase)


def is_there(folder: Path) -> bool:
    """Whether a data folder is protected."""
    return (folder / NAME).exists()


def check_passphrase(passphrase: str) -> None:
    """Raises BadInput if it is too short or too long to be one."""
    if not SHORTEST <= len(passphrase) <= _LONGEST:
        raise BadInput(
            f"a passphrase has at least {SHORTEST} characters",
            remedy="Take four or five words that have nothing to do with each other or with you.",
        )


def make(vault: Vault, passphrase: str) -> tuple[bytes, str]:
    """A key file for a data key, and its recovery key, which is kept nowhere. Raises BadInput (passphrase)."""
    held: dict[str, Any] = {"version": _VERSION, "data_key": vault.name}
    held["passphrase"] = _passphrase_slot(vault, passphrase)
    held["recovery"], recovery = _recovery_slot(vault)
    return _text(held), recovery


def open_with_passphrase(text: bytes, passphrase: str, where: Path) -> Vault:
    """The data key. Raises WrongPassphrase, StoreError (no key file, or damaged)."""
    slot = _slot(text, "passphrase", where)
    asked = {name: slot.get(name) for name in _ARGON2}
    if not all(isinstance(n, int) and 1 <= n <= _MOST[name] for name, n in asked.items()):
        raise _damaged(where)
    key = argon2id(_bytes(passphrase), _raw(slot, "salt", where), **asked)  # type: ignore[arg-type]
    return _unwrapped(text, "passphrase", key, where, "that is not the passphrase of this store")


def open_with_recovery(text: bytes, recovery: str, where: Path) -> Vault:
    """The data key, by the recovery key as a person types it. Raises as `open_with_passphrase`."""
    wrong = "that is not the recovery key of this store"
    try:
        raw = base64.b32decode(recovery.upper().translate(_MISREAD))
    except ValueError:
        raw = b""
    if len(raw) != _RECOVERY_BYTES:
        raise WrongPassphrase(
            wrong, where=str(where), remedy="It has eight groups of four letters and digits."
        )
    key = derived(raw, "recovery", _raw(_slot(text, "recovery", where), "salt", where))
    return _unwrapped(text, "recovery", key, where, wrong)


def with_passphrase(text: bytes, vault: Vault, passphrase: str) -> bytes:
    """The key file with another passphrase; the recovery key stays. Raises BadInput."""
    return _text({**json.loads(text), "passphrase": _passphrase_slot(vault, passphrase)})


def with_new_recovery(text: bytes, vault: Vault) -> tuple[bytes, str]:
    """The key file with another recovery key, and that key; the passphrase stays."""
    slot, recovery = _recovery_slot(vault)
    return _text({**json.loads(text), "recovery": slot}), recovery


def _passphrase_slot(vault: Vault, passphrase: str) -> Slot:
    check_passphrase(passphrase)
    salt = os.urandom(_SALT_BYTES)
    slot = {"kdf": "argon2id", **_ARGON2, "salt": _written(salt)}
    return _wrapped(vault, "passphrase", slot, argon2id(_bytes(passphrase), salt, **_ARGON2))


def _recovery_slot(vault: Vault) -> tuple[Slot, str]:
    raw, salt = os.urandom(_RECOVERY_BYTES), os.urandom(_SALT_BYTES)
    slot = {"kdf": "hkdf-sha256", "salt": _written(salt)}
    told = base64.b32encode(raw).decode()
    groups = "-".join(told[i : i + 4] for i in range(0, len(told), 4))
    return _wrapped(vault, "recovery", slot, derived(raw, "recovery", salt)), groups


def _wrapped(vault: Vault, name: str, slot: Slot, key: bytes) -> Slot:
    nonce = os.urandom(NONCE_BYTES)
    sealed = AESGCM(key).encrypt(nonce, vault.key, _around(name, vault.name, slot))
    return {**slot, "nonce": _written(nonce), "wrapped": _written(sealed)}


def _unwrapped(text: bytes, name: str, key: bytes, where: Path, wrong: str) -> Vault:
    slot, data_key = _slot(text, name, where), json.loads(text).get("data_key", "")
    around = {n: value for n, value in slot.items() if n not in ("nonce", "wrapped")}
    try:
        held = AESGCM(key).decrypt(
            _raw(slot, "nonce", where), _raw(slot, "wrapped", where), _around(name, data_key, around)
        )
    except InvalidTag as fault:
        raise WrongPassphrase(wrong, where=str(where.parent), remedy="Try again.") from fault
    return Vault(held)


def _around(name: str, data_key: str, slot: Slot) -> bytes:
    return json.dumps([_VERSION, name, data_key, slot], sort_keys=True).encode()


def _slot(text: bytes, name: str, where: Path) -> Slot:
    try:
        held = json.loads(text)
        version, slot = held["version"], held[name]
    except (ValueError, KeyError, TypeError) as fault:
        raise _damaged(where) from fault
    if version != _VERSION:
        raise StoreError("was written by a newer Earside", where=str(where), remedy="Update Earside.")
    if not isinstance(slot, dict):
        raise _damaged(where)
    return slot


def _raw(slot: Slot, name: str, where: Path) -> bytes:
    try:
        return base64.b64decode(slot[name], validate=True)
    except (ValueError, KeyError, TypeError) as fault:
        raise _damaged(where) from fault


def _damaged(where: Path) -> StoreError:
    return StoreError(
        "is no key file, or is damaged",
        where=str(where),
        remedy="Take it from a backup: without it nobody can read this store.",
    )


def _text(held: dict[str, Any]) -> bytes:
    return json.dumps(held, indent=1).encode() + b"\n"


def _written(raw: bytes) -> str:
    return base64.b64encode(raw).decode()


def _bytes(passphrase: str) -> bytes:
    """One form for what looks the same on different keyboards (RFC 8265, section 4.2: NFC)."""
    return unicodedata.normalize("NFC", passphrase).encode("utf-8", "surrogatepass")
