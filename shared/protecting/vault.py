"""The data key while a program runs, and what is sealed with it.

Every use has a key of its own, derived from the data key by HKDF with SHA-256 (RFC 5869); the cipher is
AES-256-GCM (NIST SP 800-38D) from the package cryptography.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import os
from dataclasses import dataclass, field

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

KEY_BYTES = 32
NONCE_BYTES, TAG_BYTES = 12, 16


def derived(key: bytes, use: str, salt: bytes = b"") -> bytes:
    """A key for one use, from another. 32 bytes."""
    return HKDF(SHA256(), KEY_BYTES, salt or None, b"earside " + use.encode()).derive(key)


@dataclass(frozen=True)
class Vault:
    """The data key of one data folder: 32 random bytes. Never shown, never written."""

    key: bytes = field(repr=False)

    @property
    def name(self) -> str:
        """Tells data keys apart, and nothing about them: 16 hexadecimal digits."""
        return hashlib.sha256(derived(self.key, "name")).hexdigest()[:16]

    @property
    def database(self) -> bytes:
        """The key of the database."""
        return derived(self.key, "database")

    def file_cipher(self, salt: bytes) -> AESGCM:
        """The cipher of one sealed file, which has a random salt of its own."""
        return AESGCM(derived(self.key, "file", salt))

    def seal_line(self, line: bytes, about: str) -> bytes:
        """A line of text sealed as a line of Base64 (RFC 4648, section 5). about: what file it belongs to."""
        nonce = os.urandom(NONCE_BYTES)
        sealed = AESGCM(derived(self.key, "line")).encrypt(nonce, line, about.encode())
        return base64.urlsafe_b64encode(nonce + sealed)

    def open_line(self, line: bytes, about: str) -> bytes:
        """What was sealed in a line. Raises ValueError if it is not whole, changed, or of another file."""
        try:
            held = base64.b64decode(line, altchars=b"-_", validate=True)
            cipher = AESGCM(derived(self.key, "line"))
            return cipher.decrypt(held[:NONCE_BYTES], held[NONCE_BYTES:], about.encode())
        except (InvalidTag, binascii.Error, ValueError) as fault:
            raise ValueError("not a line sealed with this key") from fault
