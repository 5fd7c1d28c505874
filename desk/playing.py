"""Seconds of a kept recording as a WAV file, for playing exactly the words behind a value."""

from __future__ import annotations

import io
import threading
import wave
from collections import OrderedDict
from pathlib import Path

from dictate import read
from shared.errors import BadInput

LONGEST_SECONDS = 600.0
"""More than that is not the words behind a value."""
_HELD_BYTES = 250_000_000


class Player:
    """Cuts seconds out of recordings. Holds what it decoded last, up to some two hours, since the next
    seconds asked for are mostly of the same recording; several threads may use it."""

    def __init__(self) -> None:
        self._held: OrderedDict[tuple[str, int, int], read.Recording] = OrderedDict()
        self._lock = threading.Lock()

    def wav(self, path: Path, start: float, end: float) -> bytes:
        """Seconds [start, end) of a recording as a WAV file: one channel, 16 bits, 16,000 samples a second.

        What lies outside the recording is left out. Raises BadInput for seconds that are none of it, or more
        than 600; BadRecording if it cannot be read.
        """
        if not 0 <= start < end or end - start > LONGEST_SECONDS:
            raise BadInput(
                f"takes a start and a later end, up to {LONGEST_SECONDS:.0f} s apart",
                where=f"seconds {start:g} to {end:g}",
            )
        recording = self._recording(path)
        samples = recording.samples[round(start * read.RATE) : round(end * read.RATE)]
        if not len(samples):
            raise BadInput(
                f"the recording ends at {recording.seconds:.1f} s", where=f"seconds {start:g} to {end:g}"
            )
        out = io.BytesIO()
        with wave.open(out, "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(read.RATE)
            file.writeframes(samples.astype("<i2").tobytes())
        return out.getvalue()

    def _recording(self, path: Path) -> read.Recording:
        with self._lock:  # decoding the same recording twice at once would only be slower
            state = path.stat() if path.exists() else None
            key = (str(path), state.st_mtime_ns if state else 0, state.st_size if state else 0)
            recording = self._held.pop(key, None) or read.read(path)
            self._held[key] = recording
            while len(self._held) > 1 and sum(r.samples.nbytes for r in self._held.values()) > _HELD_BYTES:
                self._held.popitem(last=False)
            return recording
