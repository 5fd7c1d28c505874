"""Passwords: what may be one, and its Argon2id hash.

Argon2id with the second recommended option of RFC 9106, section 4: 3 passes over 64 MiB in 4 lanes, a salt of
128 bits, a tag of 256. Which passwords are taken follows NIST SP 800-63B (from memory): length counts, no rule
on sorts of characters, any character goes; how long at least is ours.
"""

from __future__ import annotations

import threading
import unicodedata
from functools import cache
from typing import TYPE_CHECKING

from shared.errors import BadInput

if TYPE_CHECKING:
    from argon2 import PasswordHasher

LEAST, MOST = 10, 200
_DIFFERENT = 5
_COMMON = (
    "earside",
    "password",
    "passwort",
    "letmein",
    "qwerty",
    "qwertyuiop",
    "clinic",
    "clinician",
    "welcome",
)
_ONE = threading.Lock()
"""One at a time: each takes 64 MiB, and whoever tries many must not take all of the memory."""


def hashed(password: str, name: str) -> str:
    """The encoded hash of a new password of this person. Raises BadInput if it is too easily guessed."""
    plain = _normal(password)
    if not LEAST <= len(plain) <= MOST:
        raise BadInput(
            f"it needs {LEAST} to {MOST} characters",
            where="password",
            remedy="Several words make a good one.",
        )
    letters = "".join(filter(str.isalpha, plain.casefold()))
    names = name.casefold().split()
    if len(set(plain)) < _DIFFERENT or letters in {"", *names, "".join(names), *_COMMON}:
        raise BadInput("it is guessed too easily", where="password", remedy="Choose several unrelated words.")
    with _ONE:
        return _hasher().hash(plain)


def fits(secret: str, password: str) -> bool:
    """Whether a password is the one that was hashed. Takes a third of a second, so that guessing is slow."""
    from argon2.exceptions import InvalidHashError, VerificationError  # noqa: PLC0415  (slow to import)

    try:
        with _ONE:
            return _hasher().verify(secret, _normal(password[: MOST + 1]))
    except (VerificationError, InvalidHashError):
        return False


def _normal(password: str) -> str:
    """One form of what can be typed in two ways (Unicode NFKC)."""
    return unicodedata.normalize("NFKC", password)


@cache
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher, profiles  # noqa: PLC0415  (slow to import)

    return PasswordHasher.from_parameters(profiles.RFC_9106_LOW_MEMORY)
