"""Whether a data folder is protected, and its data key: asked for once, then held until the program ends.

Where the passphrase comes from, in this order: the first line of the file that EARSIDE_PASSPHRASE_FILE names, the
system's keyring if it was put there (`.[keyring]`), whoever is at the keyboard (`asking`).
"""

from __future__ import annotations

import os
import threading
from pathlib import Path

from shared.errors import BadInput, StoreError
from shared.protecting import asking, key_file
from shared.protecting.key_file import WrongPassphrase
from shared.protecting.vault import Vault

VARIABLE = "EARSIDE_PASSPHRASE_FILE"
TRIES = 3
_KEYRING = "earside"

_held: dict[Path, Vault] = {}
_lock = threading.RLock()


def vault(folder: Path) -> Vault | None:
    """The data key of a data folder; None if it is not protected.

    Raises WrongPassphrase, StoreError (no passphrase was given, or the key file is damaged), BadInput (the file
    with the passphrase cannot be read).
    """
    if not key_file.is_there(folder):
        return None
    folder = folder.resolve()
    with _lock:
        if folder not in _held:
            _held[folder] = _unlocked(folder)
        return _held[folder]


def hold(folder: Path, vault: Vault) -> None:
    """Take a data key that is known already."""
    with _lock:
        _held[folder.resolve()] = vault


def forget() -> None:
    """Let go of all data keys."""
    with _lock:
        _held.clear()


def held() -> dict[Path, Vault]:
    """All data keys held, for a worker process of this program."""
    with _lock:
        return dict(_held)


def take(given: dict[Path, Vault]) -> None:
    """In a worker process: the data keys of its program."""
    with _lock:
        _held.update(given)


def passphrase_in(path: Path) -> str:
    """The first line of a file. Raises BadInput if it cannot be read or is empty."""
    try:
        with path.open(encoding="utf-8-sig") as file:
            line = file.readline(4096).rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as fault:
        raise BadInput(
            "the passphrase cannot be read from it", where=str(path), remedy="Check it."
        ) from fault
    if not line:
        raise BadInput("its first line is to be the passphrase", where=str(path), remedy="Check it.")
    return line


def read_key_file(folder: Path) -> bytes:
    """The key file of a data folder. Raises StoreError."""
    path = folder / key_file.NAME
    try:
        return path.read_bytes()
    except OSError as fault:
        raise StoreError(
            f"cannot be read ({fault.strerror})", where=str(path), remedy="Check who may read it."
        ) from fault


def _unlocked(folder: Path) -> Vault:
    text, where = read_key_file(folder), folder / key_file.NAME
    if named := os.environ.get(VARIABLE):
        return key_file.open_with_passphrase(text, passphrase_in(Path(named)), where)
    if (kept := in_keyring(folder)) is not None:
        return key_file.open_with_passphrase(text, kept, where)
    for left in range(TRIES - 1, -1, -1):
        given = asking.ask(folder) if asking.ask else None
        if given is None:
            break
        try:
            return key_file.open_with_passphrase(text, given, where)
        except WrongPassphrase:
            if not left:
                raise
    raise StoreError(
        "is protected, and nobody is here to give its passphrase",
        where=str(folder),
        remedy=f"Run it in a terminal, or name a file with the passphrase in {VARIABLE}.",
    )


def in_keyring(folder: Path) -> str | None:
    """The passphrase in the system's keyring; None if there is none, or no keyring."""
    try:
        import keyring  # noqa: PLC0415  (optional)

        kept = keyring.get_password(_KEYRING, str(folder.resolve()))
        return None if kept is None else str(kept)
    except Exception:  # whatever ails the keyring, there are other ways
        return None


def put_in_keyring(folder: Path, passphrase: str) -> None:
    """Keep the passphrase in the system's keyring. Raises BadInput if there is none."""
    try:
        import keyring  # noqa: PLC0415  (optional)

        keyring.set_password(_KEYRING, str(folder.resolve()), passphrase)
    except Exception as fault:
        raise BadInput(
            "there is no keyring here that takes it",
            where="--keyring",
            remedy="It needs the package keyring and an unlocked session; without it the passphrase is asked for.",
        ) from fault
