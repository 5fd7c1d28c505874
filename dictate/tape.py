"""The sound of a journal on the disk: a WAV file that grows, or, in a protected data folder, the same in sealed chunks.

Bytes count from the first sample. Whatever is put behind a place that was put before is forgotten first: after a
failed flush it may be gone. All raise OSError.
"""

from __future__ import annotations

import io
import os
import struct
from pathlib import Path
from typing import Protocol

from dictate.journals import HEADER_BYTES, RATE
from shared.protecting import files, sealed
from shared.protecting.vault import Vault

BYTES_A_SECOND = 2 * RATE
_UNKNOWN = 0xFFFFFFFF
_UNFLUSHED_BYTES = 1 << 20
"""More than a power cut can take by far; nothing that large is ever cut off."""


class Tape(Protocol):
    """What a journal writes to, one thread at a time; `read` and `size` may be used from any."""

    path: Path

    size: int
    """Bytes of sound on the disk when it was opened."""

    def put(self, sound: bytes, at: int) -> None:
        """Write sound at this byte, where some was put before or all of it ends."""

    def flush(self) -> None:
        """Have it reach the disk."""

    def read(self, start: int, end: int) -> bytes:
        """The bytes [start, end) of what was flushed."""

    def finish(self) -> None:
        """Mark it as whole, and flush."""

    def close(self) -> None:
        """Let go of the file."""


def opened(folder: Path, name: str, vault: Vault | None) -> Tape:
    """The tape of a journal, new or gone on with. Raises OSError, and as `sealed.Chunks`."""
    plain = folder / f"{name}.wav"
    # What was left over from before the store was protected goes on as it began.
    if vault is None or plain.exists():
        return Plain(plain)
    return Sealed(files.sealed_name(plain), vault)


def _file(path: Path) -> io.FileIO:
    # Patients' talk: for this user's eyes only.
    how = os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0)
    return os.fdopen(os.open(path, how, 0o600), "r+b", buffering=0)


class Plain:
    """A WAV file. Until it is finished its header gives no length, as programs do that write into a pipe, so cut off
    after any byte it is a readable recording."""

    def __init__(self, path: Path) -> None:
        self.path, self._file = path, _file(path)
        self.size = max(path.stat().st_size - HEADER_BYTES, 0) // 2 * 2
        self._file.truncate(HEADER_BYTES + self.size)  # no half sample
        self._end = self.size
        _put(self._file, header(), 0)

    def put(self, sound: bytes, at: int) -> None:
        _put(self._file, sound, HEADER_BYTES + at)
        self._end = at + len(sound)

    def flush(self) -> None:
        os.fsync(self._file.fileno())

    def read(self, start: int, end: int) -> bytes:
        with self.path.open("rb") as file:
            file.seek(HEADER_BYTES + start)
            return file.read(end - start)

    def finish(self) -> None:
        _put(self._file, header(self._end), 0)
        self.flush()

    def close(self) -> None:
        self._file.close()


class Sealed:
    """The same WAV file in chunks as `shared.protecting.sealed` has them, one for each `put`. Its header never gives
    a length, since the chunk that holds it is not written again. What a power cut left behind the last sound chunk
    is cut off."""

    def __init__(self, path: Path, vault: Vault) -> None:
        self.path, self._file, self._about = path, _file(path), sealed.about(path)
        try:
            if path.stat().st_size < sealed.HEADER_BYTES:  # new, or cut off in its first moment
                self._file.truncate(0)
                _put(self._file, sealed.header(), 0)
            with path.open("rb") as file:
                self._chunks = sealed.Chunks(vault, file, path)
                held = self._chunks.sound_end()
                if file.seek(0, os.SEEK_END) - self._chunks.end > _UNFLUSHED_BYTES:
                    raise sealed.damaged(path, "is damaged in the middle")
            self._file.truncate(self._chunks.end)
            if not self._chunks.ends:
                self._add(header())
            elif len(held) % 2:  # no half sample
                self._back_to(self._chunks.size - 1)
                self._add(held[:-1])
        except BaseException:
            self._file.close()
            raise
        self.size = self._chunks.size - HEADER_BYTES

    def put(self, sound: bytes, at: int) -> None:
        if HEADER_BYTES + at < self._chunks.size:
            self._back_to(HEADER_BYTES + at)
        if sound:
            self._add(sound)

    def flush(self) -> None:
        os.fsync(self._file.fileno())

    def read(self, start: int, end: int) -> bytes:
        with self.path.open("rb") as file:
            return self._chunks.read(HEADER_BYTES + start, HEADER_BYTES + end, file)

    def finish(self) -> None:
        self._add(b"", last=True)
        self.flush()

    def close(self) -> None:
        self._file.close()

    def _back_to(self, text: int) -> None:
        self._chunks.back_to(text)
        self._file.truncate(self._chunks.end)

    def _add(self, text: bytes, *, last: bool = False) -> None:
        place, number = self._chunks.end, len(self._chunks.ends)
        _put(self._file, sealed.chunk(self._chunks.cipher, number, text, self._about, last=last), place)
        self._chunks.added(place, len(text))


def header(size: int = _UNKNOWN) -> bytes:
    """The header of a WAV file with so many bytes of sound; _UNKNOWN while it grows."""
    whole = _UNKNOWN if size == _UNKNOWN else size + HEADER_BYTES - 8
    form = (16, 1, 1, RATE, BYTES_A_SECOND, 2, 16)
    return struct.pack("<4sI4s4sIHHIIHH4sI", b"RIFF", whole, b"WAVE", b"fmt ", *form, b"data", size)


def _put(file: io.FileIO, what: bytes, at: int) -> None:
    file.seek(at)
    view = memoryview(what)
    while view:
        view = view[file.write(view) or 0 :]
