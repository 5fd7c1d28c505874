"""Any recording or video to sound that can be recognised: one channel, 16,000 samples a second.

Decoding is PyAV's (the FFmpeg libraries, brought by its package). The recording's own clock is kept:
where sound is missing in the middle, silence stands in for it, so that a second here is a second there.
"""

from __future__ import annotations

import io
import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
from av.audio.resampler import AudioResampler

from shared.errors import BadRecording

RATE = 16_000
"""Samples a second, as the recogniser wants them."""

FORMATS = "wav,w64,aiff,au,caf,flac,mp3,aac,ac3,amr,ogg,asf,avi,matroska,webm,mov,mp4,m4a,3gp,mpegts,mpeg"
"""FFmpeg's names of the containers that are opened. Playlists, which could name other files, are not."""

_GAP_SECONDS = 0.25
_SHORTFALL_SECONDS = 0.5


@dataclass(frozen=True, eq=False)
class Recording:
    """Sound of one recording: 16-bit samples, one channel, RATE a second.

    note: what the listener should know of it, e.g. that its end is missing; "" if it is whole.
    """

    samples: npt.NDArray[np.int16]
    note: str = ""

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
        return self.samples[start:end].astype(np.float32) / np.float32(32768)


def read(path: str | os.PathLike[str]) -> Recording:
    """Decode a recording, or the first sound track of a video.

    Raises BadRecording if it is missing, a folder, empty, unreadable, not a recording, has no sound
    track, or nothing of it can be decoded. What can be decoded of a damaged or cut-off one is returned,
    with a note of what is missing.
    """
    where = os.fspath(path)
    try:
        with Path(path).open("rb") as file:
            if not file.read(1):
                raise BadRecording("the file is empty", where=where, remedy="Record again.")
            file.seek(0)
            return _decode(file, where)
    except OSError as fault:
        raise _unopened(fault, where) from fault


def _unopened(fault: OSError, where: str) -> BadRecording:
    if isinstance(fault, FileNotFoundError):
        return BadRecording("no such file", where=where, remedy="Check its name and folder.")
    if isinstance(fault, IsADirectoryError):
        return BadRecording("a folder, not a recording", where=where, remedy="Name the recordings in it.")
    return BadRecording(
        f"cannot be read ({fault.strerror or fault})", where=where, remedy="Check access to it."
    )


def _decode(file: io.BufferedReader, where: str) -> Recording:
    options = {"format_whitelist": FORMATS, "protocol_whitelist": "file"}
    try:
        with av.open(file, "r", options=options, metadata_errors="replace") as container:
            if not container.streams.audio:
                raise BadRecording("no sound track in it", where=where, remedy="Choose one with sound.")
            sound, faults = _sound(container)
            stated = (container.duration or 0) / av.time_base
    except (av.FFmpegError, ValueError, RuntimeError, MemoryError) as fault:
        raise BadRecording(
            "not a recording that can be read, or cut off too soon",
            where=where,
            remedy="WAV, FLAC, MP3, M4A, Ogg, WMA, MP4, MOV, MKV and WebM can be read.",
        ) from fault
    if not len(sound):
        raise BadRecording("cut off, no sound can be decoded", where=where, remedy="Copy it again.")
    return Recording(sound, _note(len(sound) / RATE, stated, faults))


def _sound(container: Any) -> tuple[npt.NDArray[np.int16], int]:
    """All sound of the first track, and how many of its packets could not be decoded."""
    stream = container.streams.audio[0]
    stream.thread_type = "AUTO"
    resampler = AudioResampler(format="s16", layout="mono", rate=RATE)
    origin = (container.start_time or 0) / av.time_base
    longest = (container.duration or 0) / av.time_base
    out = io.BytesIO()
    faults = 0
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except StopIteration:
            break
        except av.FFmpegError:
            faults += 1
            break
        try:
            for frame in packet.decode():
                at = frame.time - origin if frame.time is not None else 0.0
                missing = round(at * RATE) - out.tell() // 2
                if missing > _GAP_SECONDS * RATE and at <= longest:
                    out.write(bytes(2 * missing))
                frame.pts = None  # the place was found above; the resampler is only to convert
                for part in resampler.resample(frame):
                    out.write(part.to_ndarray().tobytes())
        except av.FFmpegError:
            faults += 1
    for part in resampler.resample(None):
        out.write(part.to_ndarray().tobytes())
    return np.frombuffer(out.getbuffer(), dtype=np.int16), faults


def _note(seconds: float, stated: float, faults: int) -> str:
    missing = stated - seconds
    notes = []
    if missing > max(_SHORTFALL_SECONDS, 0.01 * stated):
        notes.append(f"the recording should last {stated:.0f} s, its last {math.ceil(missing)} s are missing")
    if faults:
        notes.append("parts of the recording are damaged and could not be decoded")
    return "; ".join(notes)
