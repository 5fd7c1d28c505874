"""Any recording or video to sound that can be recognised: one channel, 16,000 samples a second.

Decoding is PyAV's (the FFmpeg libraries, brought by its package). The recording's own clock is kept:
where sound is missing in the middle, silence stands in for it, so that a second here is a second there.
"""

from __future__ import annotations

import mmap
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Event
from typing import BinaryIO

import av
import numpy as np
import numpy.typing as npt
from av.audio.frame import AudioFrame
from av.audio.resampler import AudioResampler
from av.container import InputContainer

from dictate.spool import Spool
from shared.errors import BadRecording
from shared.protecting import files

RATE = 16_000
"""Samples a second, as the recogniser wants them."""

FORMATS = "wav,w64,aiff,au,caf,flac,mp3,aac,ac3,amr,ogg,asf,avi,matroska,webm,mov,mp4,m4a,3gp,mpegts,mpeg"
"""FFmpeg's names of the containers that are opened. Playlists, which could name other files, are not."""

LONGEST_SECONDS = 24 * 3600
"""A whole day; a file that claims to be longer is damaged or made to fill the disk."""

_GAP_SECONDS = 0.25
_SHORTFALL_SECONDS = 0.5
_LONGEST_OGG_PAGE = 65_307
_SIGNATURES = (
    b"RIFF",
    b"fLaC",
    b"OggS",
    b"ID3",
    b"\xff\xfb",
    b"\x1a\x45\xdf\xa3",
    b"\x30\x26\xb2\x75",
    b"FORM",
)
_READABLE = "WAV, FLAC, MP3, M4A, Ogg, Opus, WMA, MP4, MOV, MKV and WebM can be read."


@dataclass(frozen=True, eq=False)
class Recording:
    """Sound of one recording: 16-bit samples, one channel, RATE a second.

    note: what the listener should know of it, e.g. that its end is missing; "" if it is whole. on_disk: the
    file in which the samples lie, None if they are in memory.
    """

    samples: npt.NDArray[np.int16]
    note: str = ""
    on_disk: mmap.mmap | None = None

    @classmethod
    def of(cls, samples: npt.NDArray[np.float32]) -> Recording:
        """A recording of samples between -1 and 1, one channel, RATE a second."""
        return cls((np.clip(samples, -1, 1) * 32767).astype(np.int16))

    @property
    def seconds(self) -> float:
        """How long it is."""
        return len(self.samples) / RATE

    def floats(self, start: int, end: int) -> npt.NDArray[np.float32]:
        """The samples [start, end) as numbers between -1 and 1."""
        sound = self.samples[start:end].astype(np.float32) / np.float32(32768)
        if self.on_disk is not None and hasattr(self.on_disk, "madvise"):
            self.on_disk.madvise(mmap.MADV_DONTNEED)  # or what was once read would stay in memory to the end
        return sound


def read(
    path: str | os.PathLike[str], progress: Callable[[float], object] = lambda seconds: None
) -> Recording:
    """Decode a recording, or the first sound track of a video.

    progress: called with the seconds decoded, every minute of them. Raises EarsideError if there is no room for a
    long one on the disk, and BadRecording if it is missing, a folder, empty, unreadable, not a recording, has no sound
    track, or nothing of it can be decoded. What can be decoded of a damaged or cut-off one is returned,
    with a note of what is missing.
    """
    where = os.fspath(path)
    if not (Path(path).is_file() or Path(path).is_dir()) and Path(path).exists():
        raise BadRecording("not a file", where=where, remedy=_READABLE)
    try:
        with files.opened(path) as file:
            head = file.read(16)
            promised, ends = _promised(head, file), _ends(head, file)
    except OSError as fault:
        raise _unopened(fault, where) from fault
    if not head:
        raise BadRecording("the file is empty", where=where, remedy="Record again.")
    try:
        recording, faults, stated = _decoded(where, progress)
    except (av.FFmpegError, ValueError, RuntimeError, OSError, MemoryError) as fault:
        if head.startswith(_SIGNATURES) or head[4:8] == b"ftyp":
            what, remedy = "cut off or damaged, nothing of it can be read", "Copy or record it again."
        else:
            what, remedy = "not a recording", _READABLE
        raise BadRecording(what, where=where, remedy=remedy) from fault
    if not len(recording.samples):
        raise BadRecording("cut off, there is no sound in it", where=where, remedy="Copy or record it again.")
    return replace(recording, note=_note(recording.seconds, stated * promised, faults, ends))


def _unopened(fault: OSError, where: str) -> BadRecording:
    if isinstance(fault, FileNotFoundError):
        return BadRecording("no such file", where=where, remedy="Check its name and folder.")
    if isinstance(fault, IsADirectoryError):
        return BadRecording("a folder, not a recording", where=where, remedy="Name the recordings in it.")
    return BadRecording(
        f"cannot be read ({fault.strerror or fault})", where=where, remedy="Check access to it."
    )


def _promised(head: bytes, file: BinaryIO) -> float:
    """How many times longer a WAV file should be than it is, by the size in its header; else 1.

    FFmpeg takes the length of a WAV file from its size, so a cut would go unseen.
    """
    size, promised = file.seek(0, os.SEEK_END), int.from_bytes(head[4:8], "little") + 8
    streamed = promised > 0xFFFFFF00  # written while its length was not known
    return promised / size if head[:4] == b"RIFF" and promised > size and not streamed else 1.0


def _ends(head: bytes, file: BinaryIO) -> bool:
    """False if an Ogg file lacks its last page, whole and marked as such (RFC 3533, section 6)."""
    if head[:4] != b"OggS":
        return True
    file.seek(-min(_LONGEST_OGG_PAGE, file.seek(0, os.SEEK_END)), os.SEEK_END)
    tail = file.read()
    page = tail[max(tail.rfind(b"OggS"), 0) :]
    whole = len(page) > 26 and len(page) >= 27 + page[26] + sum(page[27 : 27 + page[26]])
    return whole and bool(page[5] & 4)


def _decoded(where: str, progress: Callable[[float], object]) -> tuple[Recording, int, float]:
    """What `_decode` gives, from a thread of its own: PyAV loses an interrupt that comes while it calls back."""
    given_up = Event()
    thread = ThreadPoolExecutor(1)
    try:
        return thread.submit(_decode, where, progress, given_up).result()
    finally:
        given_up.set()
        thread.shutdown(wait=False)


def _decode(where: str, progress: Callable[[float], object], given_up: Event) -> tuple[Recording, int, float]:
    """All sound of the first track, how many packets could not be decoded, and the stated seconds."""
    # What was sealed goes to no disk unsealed.
    with container_of(where) as container, Spool(in_memory=files.is_sealed(where)) as out:
        if not container.streams.audio:
            raise BadRecording("no sound track in it", where=where, remedy="Choose one with sound.")
        faults = _sound(container, where, out, progress, given_up)
        samples, on_disk = out.held()
        return Recording(samples, on_disk=on_disk), faults, (container.duration or 0) / av.time_base


@contextmanager
def container_of(path: str | os.PathLike[str]) -> Iterator[InputContainer]:
    """A recording opened for decoding, a sealed one too. Raises what PyAV and `files.opened` raise."""
    # A "file:" address and two lists of what is allowed: nothing but this one file is ever opened.
    options = {"format_whitelist": FORMATS, "protocol_whitelist": "file"}
    with ExitStack() as stack:
        source: str | BinaryIO = "file:" + os.path.abspath(path)
        if files.is_sealed(path):
            source = stack.enter_context(files.opened(path))
        yield stack.enter_context(av.open(source, "r", options=options, metadata_errors="replace"))


def _sound(
    container: InputContainer,
    where: str,
    out: Spool,
    progress: Callable[[float], object],
    given_up: Event,
) -> int:
    """Write the sound into `out` unless it is given up; returns how many packets could not be decoded."""
    origin = (container.start_time or 0) / av.time_base
    stated = (container.duration or 0) / av.time_base
    resampler, kind, faults, told = _resampler(), None, 0, 0.0
    for frame in _frames(container):
        if given_up.is_set():
            break
        if frame is None:
            faults += 1
            continue
        done = out.samples / RATE
        if done > LONGEST_SECONDS:
            raise BadRecording("longer than 24 hours", where=where, remedy="Cut it into parts.")
        if done >= told + 60:
            progress(told := done)
        if kind not in (None, (frame.format.name, frame.layout.name, frame.sample_rate)):
            _write(out, resampler.resample(None))
            resampler = _resampler()
        kind = (frame.format.name, frame.layout.name, frame.sample_rate)
        at = 0.0 if frame.time is None else frame.time - origin
        gap = at - out.samples / RATE
        if gap > _GAP_SECONDS and at <= min(stated, LONGEST_SECONDS):
            out.silence(round(gap * RATE))
        frame.pts = None  # its place is found; now the resampler is only to convert
        _write(out, resampler.resample(frame))
    _write(out, resampler.resample(None))
    return faults


def _resampler() -> AudioResampler:
    return AudioResampler(format="s16", layout="mono", rate=RATE)


def _write(out: Spool, frames: Iterable[AudioFrame]) -> None:
    for frame in frames:
        out.write(frame.to_ndarray().tobytes())


def _frames(container: InputContainer) -> Iterator[AudioFrame | None]:
    """The frames of the first sound track; None for what could not be decoded."""
    packets = container.demux(container.streams.audio[0])
    while True:
        try:
            yield from next(packets).decode()
        except StopIteration:
            return
        except av.FFmpegError:
            yield None


def _note(seconds: float, stated: float, faults: int, ends: bool) -> str:
    missing = stated - seconds
    notes = []
    if missing > max(_SHORTFALL_SECONDS, 0.01 * stated):
        notes.append(f"the last {missing:.1f} of its {stated:.1f} seconds are missing")
    elif not ends:
        notes.append("it breaks off, its end may be missing")
    if faults:
        notes.append("parts of it are damaged and could not be decoded")
    return "; ".join(notes)
