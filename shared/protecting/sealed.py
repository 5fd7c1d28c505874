"""The form of a sealed file: numbered chunks, each authenticated with its number and whether it is the last.

    header   8 bytes "EARSEAL1", 32 bytes of random salt: the file's own key is derived with it
    chunk    4 bytes: length of the text in it (little endian), the highest bit set in the last chunk
             12 bytes: random nonce
             the text, encrypted by AES-256-GCM, and its 16-byte tag; associated data: number, last or not, about

So chunks cannot be changed, swapped, left out, or taken from another file unseen, and a file that was cut off is
known by its missing last chunk (the aim of STREAM: Hoang, Reyhanitabar, Rogaway, Vizár, "Online authenticated
encryption and its nonce-reuse misuse-resistance", CRYPTO 2015). The number stands in the associated data, not in
the nonce as there, since a growing file may have to write a chunk a second time after the disk failed: a nonce
must not come twice, and a number then does. Some 4 billion chunks of one file are safe with random nonces (NIST
SP 800-38D, section 8.3).
"""

from __future__ import annotations

import contextlib
import io
import os
import struct
from array import array
from bisect import bisect_right
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from shared.errors import BadRecording
from shared.protecting.vault import NONCE_BYTES, TAG_BYTES, Vault

SUFFIX = ".sealed"
"""What a sealed file's name ends in, behind its own ending."""
CHUNK = 1 << 16
_MAGIC = b"EARSEAL1"
_SALT_BYTES = 32
HEADER_BYTES = len(_MAGIC) + _SALT_BYTES
_LENGTH = struct.Struct("<I")
_LAST = 1 << 31
_LONGEST = 1 << 24
OVERHEAD = _LENGTH.size + NONCE_BYTES + TAG_BYTES


def header() -> bytes:
    """A new file's header."""
    return _MAGIC + os.urandom(_SALT_BYTES)


def about(path: Path) -> str:
    """What a sealed file is bound to: its name without SUFFIX, so that none passes for another."""
    return path.name.removesuffix(SUFFIX)


def chunk(cipher: AESGCM, number: int, text: bytes, about: str, *, last: bool = False) -> bytes:
    """One chunk as it stands in the file."""
    nonce = os.urandom(NONCE_BYTES)
    length = _LENGTH.pack(len(text) | (_LAST if last else 0))
    return length + nonce + cipher.encrypt(nonce, text, _associated(number, last, about))


def _associated(number: int, last: bool, about: str) -> bytes:
    return struct.pack("<QB", number, last) + about.encode()


def write(vault: Vault, texts: Iterable[bytes], out: BinaryIO, about: str) -> None:
    """Seal pieces of text, of any size up to 16 MB, as one whole file. Raises OSError."""
    head = header()
    cipher = vault.file_cipher(head[len(_MAGIC) :])
    out.write(head)
    number = 0
    for text in texts:
        out.write(chunk(cipher, number, text, about))
        number += 1
    out.write(chunk(cipher, number, b"", about, last=True))


class Chunks:
    """The chunks of a sealed file, found by their lengths; nothing is opened but the one asked for.

    file: open for reading. about: see `about`. ends[n] is where chunk n ends in the text, places[n] where it begins
    in the file. end: where the next chunk would begin; a chunk that was cut off there does not count. whole: the
    last chunk is marked as such and nothing stands behind it.
    Raises BadRecording if it is no sealed file.
    """

    def __init__(self, vault: Vault, file: BinaryIO, path: Path) -> None:
        self._file, self._path, self._about = file, path, about(path)
        self.ends, self.places = array("Q"), array("Q")
        self.whole = False
        size = file.seek(0, os.SEEK_END)
        file.seek(0)
        head = file.read(HEADER_BYTES)
        if len(head) < HEADER_BYTES or not head.startswith(_MAGIC):
            raise damaged(path, "is no sealed file, or its beginning is lost")
        self.cipher = vault.file_cipher(head[len(_MAGIC) :])
        self.end, text = HEADER_BYTES, 0
        while not self.whole and self.end + OVERHEAD <= size:
            file.seek(self.end)
            (told,) = _LENGTH.unpack(file.read(_LENGTH.size))
            length = told & ~_LAST
            if length > _LONGEST or self.end + OVERHEAD + length > size:
                break
            text += length
            self.places.append(self.end)
            self.ends.append(text)
            self.end += OVERHEAD + length
            self.whole = bool(told & _LAST)
        self.whole = self.whole and self.end == size

    @property
    def size(self) -> int:
        """Bytes of text in all."""
        return self.ends[-1] if self.ends else 0

    def added(self, place: int, length: int) -> None:
        """Take note of a chunk that was written at the end."""
        self.places.append(place)
        self.ends.append(self.size + length)
        self.end = place + OVERHEAD + length

    def back_to(self, text: int) -> None:
        """Forget the chunks that end behind this byte of the text."""
        while self.ends and self.ends[-1] > text:
            self._forget_last()

    def sound_end(self) -> bytes:
        """Forget the chunk that is marked as the last, and, if there is none, those at the end that do not open,
        as a power cut leaves them. Returns the text of the last chunk that is left."""
        if self.whole and not self.open(len(self.ends) - 1):
            self._forget_last()
            return self.open(len(self.ends) - 1) if self.ends else b""
        while self.ends:
            with contextlib.suppress(BadRecording):
                return self.open(len(self.ends) - 1)
            self._forget_last()
        return b""

    def _forget_last(self) -> None:
        self.ends.pop()
        self.end = self.places.pop()
        self.whole = False

    def open(self, number: int, file: BinaryIO | None = None) -> bytes:
        """The text of a chunk. file: another opening of the file. Raises BadRecording if it was changed or is
        another's, OSError."""
        file = file or self._file
        file.seek(self.places[number])
        (told,) = _LENGTH.unpack(file.read(_LENGTH.size))
        held = file.read(NONCE_BYTES + (told & ~_LAST) + TAG_BYTES)
        try:
            return self.cipher.decrypt(
                held[:NONCE_BYTES], held[NONCE_BYTES:], _associated(number, bool(told & _LAST), self._about)
            )
        except InvalidTag as fault:
            raise damaged(
                self._path, f"was changed or damaged, or is of another store (chunk {number + 1})"
            ) from fault

    def read(self, start: int, end: int, file: BinaryIO | None = None) -> bytes:
        """The text [start, end), as far as there is any. Raises as `open`."""
        out = bytearray()
        number = bisect_right(self.ends, start)
        first = start - (self.ends[number - 1] if number else 0)
        while number < len(self.ends) and len(out) < first + end - start:
            out += self.open(number, file)
            number += 1
        return bytes(out[first : first + max(end - start, 0)])


class Sealed(io.RawIOBase):
    """A sealed file, read as if it were none. Raises BadRecording if it is not whole or was changed, OSError."""

    def __init__(self, vault: Vault, path: Path) -> None:
        self._file = path.open("rb")
        try:
            self._chunks = Chunks(vault, self._file, path)
            if not self._chunks.whole:
                raise damaged(path, "is cut off, or something was added to it")
            self._chunks.open(len(self._chunks.ends) - 1)  # truly the last
        except BaseException:
            self._file.close()
            raise
        self._at = 0
        self._held = (-1, b"")

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self._chunks.size}[whence]
        if base + offset < 0:
            raise ValueError("before the beginning")
        self._at = base + offset
        return self._at

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        ends = self._chunks.ends
        number = bisect_right(ends, self._at)
        if number >= len(ends):
            return 0
        if self._held[0] != number:
            self._held = number, self._chunks.open(number)
        piece = self._held[1][self._at - (ends[number - 1] if number else 0) :][: len(buffer)]
        buffer[: len(piece)] = piece
        self._at += len(piece)
        return len(piece)

    def close(self) -> None:
        with contextlib.suppress(AttributeError):
            self._file.close()
        super().close()


def opened(vault: Vault, path: Path) -> io.BufferedReader:
    """A sealed file open for reading, from any place. Raises as `Sealed`."""
    return io.BufferedReader(Sealed(vault, path), CHUNK)


def damaged(path: Path, what: str) -> BadRecording:
    """The failure of a sealed file."""
    return BadRecording(what, where=str(path), remedy="Take it from a backup; nothing of it was used.")
