"""The machine's microphones, by PortAudio: which there are, and the sound of one as it comes.

PortAudio comes with the package sounddevice, on Linux as a library of the system. Both are optional.
"""

from __future__ import annotations

import queue
from collections.abc import Iterator
from dataclasses import dataclass
from types import TracebackType
from typing import Any

import numpy as np
from av import AudioFrame
from av.audio.resampler import AudioResampler

from dictate.read import RATE
from shared.errors import EarsideError

BLOCK_SECONDS = 0.1
SILENT_SECONDS = 3.0
"""A microphone that gives no sound at all for so long, not even silence, is gone."""

_HELD_BLOCKS = 6000
"""Ten minutes: more than the journal ever keeps anybody waiting."""


@dataclass(frozen=True)
class Microphone:
    """One microphone. number: what it is chosen by. usual: whether the system takes it unless told otherwise."""

    number: int
    name: str
    usual: bool


def microphones() -> list[Microphone]:
    """The microphones of this machine. Raises EarsideError if sound cannot be recorded here at all."""
    sound = _library()
    try:
        usual = sound.default.device[0]
        return [
            Microphone(number, str(device["name"]), number == usual)
            for number, device in enumerate(sound.query_devices())
            if device["max_input_channels"] > 0
        ]
    except sound.PortAudioError as fault:
        raise _failed(fault) from fault


class Recorder:
    """The sound of one microphone: 16-bit PCM, one channel, 16,000 a second, in pieces of a tenth of a second.

    number: as in `microphones`; the system's usual one if None. A context manager to iterate over; it ends
    when `stop` is called or the microphone is gone. dropped: how often the system could not keep up, so that
    sound is missing. gone: whether it ended of itself.
    Raises EarsideError if there is no such microphone or it cannot be opened.
    """

    def __init__(self, number: int | None = None) -> None:
        self._sound = _library()
        there = microphones()
        if not there:
            raise EarsideError(
                "there is no microphone", remedy="Plug one in, or give sound to: earside listen --stdin"
            )
        if number is not None and number not in {m.number for m in there}:
            raise EarsideError(
                "there is no such microphone",
                where=f"microphone {number}",
                remedy="See: earside listen --list-microphones",
            )
        self.dropped, self.gone = 0, False
        self._pieces: queue.Queue[bytes | None] = queue.Queue(_HELD_BLOCKS)
        self._stream, self._resampler = self._open(number)

    def _open(self, number: int | None) -> tuple[Any, AudioResampler | None]:
        """The stream at our rate or, where the microphone does not know it, at its own."""
        try:
            own = int(self._sound.query_devices(number, "input")["default_samplerate"])
            for rate in dict.fromkeys((RATE, own)):
                try:
                    stream = self._sound.RawInputStream(
                        samplerate=rate,
                        blocksize=round(BLOCK_SECONDS * rate),
                        device=number,
                        channels=1,
                        dtype="int16",
                        callback=self._take,
                    )
                except self._sound.PortAudioError:
                    if rate == own:
                        raise
                    continue
                self._rate = rate
                other = AudioResampler(format="s16", layout="mono", rate=RATE) if rate != RATE else None
                return stream, other
        except (self._sound.PortAudioError, ValueError) as fault:
            raise _failed(fault) from fault
        raise AssertionError("unreachable")

    def __enter__(self) -> Recorder:
        try:
            self._stream.start()
        except self._sound.PortAudioError as fault:
            raise _failed(fault) from fault
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stream.abort(ignore_errors=True)
        self._stream.close(ignore_errors=True)

    def stop(self) -> None:
        """End the sound."""
        self._pieces.put(None)

    def __iter__(self) -> Iterator[bytes]:
        while True:
            try:
                piece = self._pieces.get(timeout=SILENT_SECONDS)
            except queue.Empty:
                self.gone = True
                return
            if piece is None:
                return
            yield self._converted(piece)

    def _take(self, sound: Any, frames: int, time: Any, status: Any) -> None:
        """Called by PortAudio's own thread: only hands on."""
        if status and status.input_overflow:
            self.dropped += 1
        try:
            self._pieces.put_nowait(bytes(sound))
        except queue.Full:
            self.dropped += 1

    def _converted(self, piece: bytes) -> bytes:
        if self._resampler is None:
            return piece
        samples = np.frombuffer(piece, np.int16)[None]
        frame = AudioFrame.from_ndarray(samples, format="s16", layout="mono")
        frame.sample_rate = self._rate
        return b"".join(part.to_ndarray().tobytes() for part in self._resampler.resample(frame))


def _library() -> Any:
    try:
        import sounddevice  # noqa: PLC0415  (optional)
    except ImportError as fault:
        raise EarsideError(
            "to listen to a microphone Earside needs the package sounddevice, which is not installed",
            remedy="In Earside's folder: .venv/bin/python -m pip install sounddevice",
        ) from fault
    except OSError as fault:  # what it raises where it does not find PortAudio
        raise EarsideError(
            "to listen to a microphone Earside needs the system library PortAudio, which is not installed",
            remedy="Debian, Ubuntu: apt install libportaudio2. Fedora: dnf install portaudio. "
            "Arch: pacman -S portaudio.",
        ) from fault
    return sounddevice


def _failed(fault: Exception) -> EarsideError:
    reason = str(fault.args[0]) if fault.args else type(fault).__name__
    return EarsideError(
        f"the microphone cannot be used ({reason})",
        remedy="Is it plugged in, allowed, and free? Others: earside listen --list-microphones",
    )
