"""A few seconds of a recording, to be played: a WAV of one channel, without reading the whole file."""

from __future__ import annotations

import io
import os
import wave

import av
import numpy as np
import numpy.typing as npt
from av.audio.resampler import AudioResampler
from av.container import InputContainer

from dictate.read import RATE, container_of
from shared.errors import BadRecording

LONGEST_SECONDS = 600.0
_GAP_SECONDS = 0.25
_RUN_UP_SECONDS = 1.0
"""Decoders need sound before the first one that they give back rightly (Opus: 80 ms, RFC 7845 section 4.6)."""


def clip(path: str | os.PathLike[str], start: float, end: float) -> bytes:
    """The seconds [start, end) of a recording as a WAV file: 16 bits, RATE samples a second.

    What lies outside of the recording is left out; the WAV is then shorter. Raises BadRecording if it cannot
    be read.
    """
    start, end = max(start, 0.0), min(end, max(start, 0.0) + LONGEST_SECONDS)
    try:
        with container_of(path) as file:
            if not file.streams.audio:
                raise BadRecording("no sound track in it", where=os.fspath(path))
            samples = _samples(file, start, end)
    except (av.FFmpegError, ValueError, OSError) as fault:
        raise BadRecording("cannot be played", where=os.fspath(path), remedy="Check the file.") from fault
    out = io.BytesIO()
    with wave.open(out, "wb") as wav:
        wav.setnchannels(1)
        wav.setsampwidth(2)
        wav.setframerate(RATE)
        wav.writeframes(samples.tobytes())
    return out.getvalue()


def _samples(file: InputContainer, start: float, end: float) -> npt.NDArray[np.int16]:
    """The samples of the stretch, each at its place on the recording's clock; gaps are silent."""
    origin = (file.start_time or 0) / av.time_base
    if start > _RUN_UP_SECONDS:
        file.seek(int((start - _RUN_UP_SECONDS + origin) * av.time_base))
    out = np.zeros(max(round((end - start) * RATE), 0), dtype=np.int16)
    filled = 0
    resampler = AudioResampler(format="s16", layout="mono", rate=RATE)
    at: float | None = None
    for frame in file.decode(file.streams.audio[0]):
        here = frame.time - origin if frame.time is not None else (at or 0.0)
        if at is None or here - at > _GAP_SECONDS:
            at = here
        if here >= end:
            break
        frame.pts = None
        for piece in resampler.resample(frame):
            sound = piece.to_ndarray()[0]
            first = round((at - start) * RATE)
            lo, hi = max(first, 0), min(first + len(sound), len(out))
            if lo < hi:
                out[lo:hi] = sound[lo - first : hi - first]
                filled = hi
            at += len(sound) / RATE
    return out[:filled]
