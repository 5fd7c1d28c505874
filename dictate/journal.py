"""The sound journal: what is dictated goes to disk as it arrives, and stays there whatever happens next.

A journal is two files in one folder, for their owner's eyes only:

- `ID.wav`: a WAV file (16-bit PCM, one channel, 16,000 a second) that grows, readable wherever it is cut off; in a
  protected data folder `ID.wav.sealed`, the same in sealed chunks (`dictate.tape`).
- `ID.jsonl`: one JSON object a line: when it began and who dictated, pauses, faults of the disk, what became
  of it. A line that was cut off is passed over. In a protected data folder each line is sealed.

While it is being written there are also `ID.lock`, which the system frees when the program dies, and `ID.heard`,
the words so far, with which a program that goes on need not hear all of it again.

Sound is written when it comes and flushed to the disk every half a second. Sound that the disk does not take
stays in memory and is tried again every second. Bytes, here and below, count from the first sample, without the header.
"""

from __future__ import annotations

import os
import secrets
import shutil
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from filelock import FileLock, Timeout

from dictate import journals, tape
from dictate.journals import RATE
from shared.errors import BadInput, StoreError
from shared.protecting import unlocking
from shared.protecting.files import Lines

BYTES_A_SECOND = tape.BYTES_A_SECOND

FLUSH_SECONDS = 0.5
"""How often sound is flushed: what a power cut can take is this and the time the disk needs to flush."""

RETRY_SECONDS = 1.0
"""How soon sound that the disk did not take is tried again."""

HELD_BYTES = 64_000_000
"""Sound kept in memory while the disk takes none: 33 minutes."""

ROOM_BYTES = 2 * 3600 * BYTES_A_SECOND
"""Free room on the disk without which no journal is begun: two hours of sound, 230 MB."""

Tell = Callable[[str], None]
"""Called from the writing thread with the reason when the disk fails, and with "" when it takes sound again."""


class Journal:
    """One journal, being written. All methods may be called from any thread; none waits for the disk
    except `close`.

    Made by `begin` and `reopen`. tell: see Tell.
    """

    def __init__(self, folder: Path, name: str, tell: Tell | None) -> None:
        self.id = name
        notes = journals.notes_path(folder, name)
        self._tell = tell or (lambda reason: None)
        self._lock = _locked(folder, name)
        self._changed = threading.Condition()
        self._held = bytearray()  # all sound that is not yet flushed
        self._notes: list[bytes] = []
        self._confirmed = self._written = 0
        self._hurry = self._ending = self._closing = False
        self._fault = ""
        try:
            self._tape = tape.opened(folder, name, unlocking.vault(folder.parent))
            self._lines = Lines(notes)
            self._notes_file = os.open(notes, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
            self._confirmed = self._written = self._tape.size
            self._tape.flush()
            _flush_folder(folder)
        except BaseException as fault:
            self._lock.release()
            if isinstance(fault, OSError):
                raise _unusable(fault, folder) from fault
            raise
        self.path = self._tape.path
        self._writer = threading.Thread(target=self._write, name=f"journal {name}", daemon=True)
        self._writer.start()

    @classmethod
    def begin(
        cls,
        folder: Path,
        *,
        who: str = "",
        tell: Tell | None = None,
        room: int = ROOM_BYTES,
    ) -> Journal:
        """A new journal in `folder`. Raises StoreError if it cannot be written or has less than `room` bytes."""
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            free = shutil.disk_usage(folder).free
        except OSError as fault:
            raise _unusable(fault, folder) from fault
        if free < room:
            raise StoreError(
                f"only {free / 1e6:.0f} MB are free; an hour of sound takes {3600 * BYTES_A_SECOND / 1e6:.0f} MB",
                where=str(folder),
                remedy="Free some space first, or choose another data folder with --data.",
            )
        started = datetime.now(UTC)
        journal = cls(folder, f"{started:%Y%m%dT%H%M%SZ}-{secrets.token_hex(2)}", tell)
        journal.note("started", who=who, rate=RATE, format="16-bit PCM, one channel")
        return journal

    @classmethod
    def reopen(cls, folder: Path, name: str, *, tell: Tell | None = None) -> Journal:
        """Go on with a journal that was left unfinished.

        Raises BadInput if there is none of this name, StoreError if another program is writing it.
        """
        if not journals.find(folder, name):
            raise BadInput(
                "there is no unfinished recording of this name",
                where=name,
                remedy="It may be finished already. See: earside listen --unfinished",
            )
        journal = cls(folder, name, tell)
        journal.note("reopened")
        return journal

    @property
    def received(self) -> int:
        """Bytes of sound taken."""
        with self._changed:
            return self._confirmed + len(self._held)

    @property
    def confirmed(self) -> int:
        """Bytes of sound that are safely on disk: flushed, so that not even a power cut takes them."""
        return self._confirmed

    def write(self, pcm: bytes) -> bool:
        """Take sound. False if it was not taken: the disk takes none and the memory set aside is full."""
        with self._changed:
            if self._ending:
                raise ValueError("this journal is closed")
            if len(self._held) + len(pcm) > HELD_BYTES:
                return False
            self._held += pcm
            self._changed.notify_all()
        return True

    def note(self, what: str, **more: Any) -> None:
        """Add a line to the description: what happened, the second of the recording, the time of day."""
        with self._changed:
            at = (self._confirmed + len(self._held)) / BYTES_A_SECOND
            self._notes.append(journals.line(what, at=round(at, 3), **more))
            self._changed.notify_all()

    def read(self, start: int, end: int) -> npt.NDArray[np.int16]:
        """The samples [start, end), from disk or, where it is not flushed yet, from memory."""
        with self._changed:
            edge = self._confirmed
            tail = bytes(self._held[max(2 * start - edge, 0) : max(2 * end - edge, 0)])
        size = min(2 * end, edge) - 2 * start
        head = b""
        if size > 0:
            head = self._tape.read(2 * start, 2 * start + size)
        return np.frombuffer(head + tail, dtype="<i2", count=len(head + tail) // 2)

    def flush(self, *, wait_seconds: float = 5.0) -> float:
        """Wait until all sound is on disk. Returns the seconds of it that the disk has not taken; 0 if all."""
        with self._changed:
            self._hurry = True
            self._changed.notify_all()
            self._changed.wait_for(lambda: not self._held and not self._notes, wait_seconds)
            self._hurry = False
            return len(self._held) / BYTES_A_SECOND

    def close(self, *, wait_seconds: float = 5.0) -> None:
        """Flush everything, write the true length into the header and let go of the files.

        Raises StoreError if the disk does not take all sound within `wait_seconds`. What it took is kept, as
        a journal that was never closed. Call `flush` first to be asked before that.
        """
        with self._changed:
            if self._ending:
                return
            self._ending = True  # from here on no sound is taken that the last flush would miss
        self.note("closed")
        missing = self.flush(wait_seconds=wait_seconds)
        with self._changed:
            self._closing = True
            self._held.clear()
            self._notes.clear()
            self._changed.notify_all()
        self._writer.join()
        try:
            if not missing:
                self._tape.finish()
        finally:
            self._tape.close()
            os.close(self._notes_file)
            self._lock.release()
        if missing:
            raise StoreError(
                f"the disk did not take the last {missing:.1f} seconds of sound",
                where=str(self.path),
                remedy="What came before is kept. Free some space before you listen again.",
            )

    def _write(self) -> None:
        """The writing thread: sound at once, a flush every FLUSH_SECONDS, the same again if the disk fails."""
        due = time.monotonic()
        while True:
            with self._changed:
                self._changed.wait_for(self._has_work, self._patience(due))
                if self._closing:
                    return
                at = self._written
                new = bytes(self._held[at - self._confirmed :])
                notes, hurry = list(self._notes), self._hurry
            try:
                self._tape.put(new, at)
                at += len(new)
                if hurry or notes or time.monotonic() >= due:
                    self._tape.flush()
                    for line in notes:
                        journals.append(self._notes_file, self._lines.written(line))
                    due = time.monotonic() + FLUSH_SECONDS
                    self._flushed(at, len(notes))
                else:
                    self._written = at
            except OSError as fault:
                self._failed(fault)

    def _has_work(self) -> bool:
        there = self._confirmed + len(self._held)
        to_flush = self._hurry and bool(self._held)
        return self._closing or to_flush or bool(self._notes) or there > self._written

    def _patience(self, due: float) -> float | None:
        """How long to wait for more: until the next flush if something is to be flushed, else for ever."""
        return max(due - time.monotonic(), 0.0) if self._written > self._confirmed else None

    def _flushed(self, at: int, notes: int) -> None:
        with self._changed:
            del self._held[: at - self._confirmed]
            del self._notes[:notes]
            self._confirmed = self._written = at
            mended, self._fault = self._fault, ""
            self._changed.notify_all()
        if mended:
            self.note("disk took sound again")
            self._tell("")

    def _failed(self, fault: OSError) -> None:
        """What was not flushed is written again from memory: after a failed flush it may be gone."""
        told = bool(self._fault)
        with self._changed:
            self._written = self._confirmed
            self._fault = fault.strerror or type(fault).__name__
        if not told:
            self._tell(self._fault)
        with self._changed:
            self._changed.wait_for(lambda: self._closing, RETRY_SECONDS)


def _locked(folder: Path, name: str) -> FileLock:
    lock = FileLock(folder / f"{name}.lock", timeout=0, mode=0o600, thread_local=False)
    try:
        lock.acquire()
    except Timeout as fault:
        raise StoreError(
            "another program is writing this recording", where=name, remedy="Finish it there first."
        ) from fault
    except OSError as fault:
        raise _unusable(fault, folder) from fault
    return lock


def _flush_folder(folder: Path) -> None:
    if os.name == "posix":  # elsewhere a folder cannot be opened, and need not be flushed
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _unusable(fault: OSError, folder: Path) -> StoreError:
    return StoreError(
        f"cannot be written to ({fault.strerror or fault})",
        where=str(folder),
        remedy="Free some space, check who may write there, or choose another data folder with --data.",
    )
