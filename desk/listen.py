"""`earside listen`: a microphone or a stream of sound into a record, watched on the way."""

from __future__ import annotations

import contextlib
import functools
import getpass
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO, Protocol

import click
from rich.live import Live as Screen

from desk import keeping, listing, work
from desk.asked import KEYS, Asked
from desk.keys import Get, keys
from desk.listening import Finishing, Listening, Parts
from desk.live_view import Seen
from desk.progress import bar
from desk.sheet import clock
from desk.shell import say
from dictate.events import Event, Faulted, Mended, Utterance
from dictate.journal import BYTES_A_SECOND
from dictate.level import measure
from shared.errors import BadInput, StoreError
from shared.store import Store, data_folder

CHECK_SECONDS = 5
TRY_AGAIN_SECONDS = 5.0

TOO_QUIET, NEAR_NOISE = -40.0, 10.0
"""Peaks below this (dBFS), speech less than this above the rest (dB): set by us; common practice, no source."""


class Source(Protocol):
    """Where sound comes from: pieces of PCM, until it ends or is stopped."""

    def __iter__(self) -> Iterator[bytes]: ...

    def stop(self) -> None:
        """End the sound."""


class Stream:
    """Sound from a file or pipe: raw 16-bit PCM, little endian, one channel, 16,000 a second."""

    def __init__(self, stream: BinaryIO) -> None:
        self._over = False
        self._read: Callable[[int], bytes] = stream.read
        with contextlib.suppress(OSError):
            # Not by way of Python's buffer: whoever waits in it when the program ends brings it down.
            self._read = functools.partial(os.read, stream.fileno())

    def __iter__(self) -> Iterator[bytes]:
        while not self._over and (piece := self._read(BYTES_A_SECOND // 10)):
            yield piece

    def stop(self) -> None:
        """End the sound."""
        self._over = True


def listen(
    *,
    model: str,
    own: Path | None,
    data: Path | None,
    microphone: int | None,
    stdin: bool,
    agreed: bool = False,
) -> None:
    """Listen until it is ended, and keep the visits. agreed: the first patient has agreed to being recorded."""
    folder = data or data_folder()
    notice = ""
    with contextlib.suppress(StoreError), Store(folder) as store:  # whatever ails the store, sound is kept
        notice = store.standing_notice()
    left_over = keeping.unfinished(folder)
    if left_over:
        say(f"{_count(len(left_over))} not finished. To finish: earside listen --finish")
    with _source(microphone, stdin=stdin) as source:
        parts = Parts.usual(model=model, own=own, data=folder)
        listening = Listening.start(folder, model=model, who=getpass.getuser(), parts=parts)
        asked = Asked(listening, notice, agreed=agreed)
        ended = threading.Event()
        feeding = threading.Thread(target=_feed, args=(source, listening, ended), name="feeding", daemon=True)
        feeding.start()
        with contextlib.suppress(KeyboardInterrupt):
            _watch(listening, asked, ended)
        source.stop()
        feeding.join(1.0)  # what is on its way still counts
    if getattr(source, "gone", False):
        say("The microphone gave no more sound. What it gave is kept.")
    if dropped := getattr(source, "dropped", 0):
        say(f"The system did not keep up {dropped} times; a little sound is missing there.")
    _keep(listening, folder)


def finish(*, model: str, own: Path | None, data: Path | None) -> None:
    """Make the records of all recordings that were left unfinished."""
    folder = data or data_folder()
    left_over = keeping.unfinished(folder)
    if not left_over:
        say("No recording is unfinished.")
        return
    parts = Parts.usual(model=model, own=own, data=folder)
    hearer, reader = parts.hearer(), parts.reader()
    for found in left_over:
        with bar(found.started[:16]) as progress:
            kept = keeping.finish(
                folder, found.id, model=model, hearer=hearer, reader=lambda: reader, progress=progress
            )
        _tell(kept.visits, folder)


def list_unfinished(*, data: Path | None) -> None:
    """List the recordings that were left unfinished."""
    left_over = keeping.unfinished(data or data_folder())
    for found in left_over:
        click.echo(f"{found.id}  {clock(found.seconds)}  {found.who}")
    say("To finish: earside listen --finish" if left_over else "No recording is unfinished.")


def list_microphones() -> None:
    """List the microphones by their numbers."""
    from dictate.microphone import microphones  # noqa: PLC0415  (optional)

    there = microphones()
    for one in there:
        click.echo(
            f"{one.number:3}  {one.name}" + ("  (used unless you choose another)" if one.usual else "")
        )
    say("Choose with: earside listen --microphone NUMBER" if there else "There is no microphone.")


def check_level(*, microphone: int | None, stdin: bool) -> None:
    """Listen for a few seconds, keep nothing, and say whether the level is right."""
    say(f"Speak as you will while you work, for {CHECK_SECONDS} seconds. Nothing is kept.")
    pieces = bytearray()
    with _source(microphone, stdin=stdin) as source:
        for piece in source:
            pieces += piece
            if len(pieces) >= CHECK_SECONDS * BYTES_A_SECOND:
                break
        source.stop()
    click.echo(judged(bytes(pieces)))


def judged(pcm: bytes) -> str:
    """What is to be said of the level of some seconds of speech."""
    import numpy as np  # noqa: PLC0415  (slow to import)

    samples = np.frombuffer(pcm, "<i2", count=len(pcm) // 2)
    step = BYTES_A_SECOND // 20
    levels = [measure(samples[i : i + step], 0) for i in range(0, len(samples) - step + 1, step)]
    if not levels:
        raise BadInput("no sound came", remedy="Is the microphone on, and allowed?")
    peak = max(level.peak for level in levels)
    speech, rest = (float(np.percentile([v.rms for v in levels], q)) for q in (90, 10))
    figures = f"Peak {peak:.0f}, speech {speech:.0f}, between the words {rest:.0f} dBFS"
    if any(level.clipped for level in levels):
        return f"{figures}. Too loud, the sound is cut off: turn the microphone down, or move it away."
    if peak < TOO_QUIET:
        return f"{figures}. Too quiet: move the microphone nearer, or turn it up."
    if speech - rest < NEAR_NOISE:
        return f"{figures}. Speech hardly stands out: move the microphone nearer, or lessen the noise."
    return f"{figures}. Good."


@contextlib.contextmanager
def _source(microphone: int | None, *, stdin: bool) -> Iterator[Source]:
    if stdin:
        if sys.stdin.isatty():
            raise BadInput(
                "standard input is a terminal, not sound",
                remedy="Pipe raw sound into it: 16-bit PCM, little endian, one channel, 16,000 a second.",
            )
        yield Stream(sys.stdin.buffer)
        return
    from dictate.microphone import Recorder  # noqa: PLC0415  (optional)

    with Recorder(microphone) as recorder:
        yield recorder


def _feed(source: Source, listening: Listening, ended: threading.Event) -> None:
    """Hand on the sound until it ends, or breaks off: what came is kept either way."""
    try:
        for piece in source:
            listening.feed(piece)
    except OSError as fault:
        say(f"The sound broke off ({fault.strerror or type(fault).__name__}). What came before is kept.")
    finally:
        ended.set()


def _watch(listening: Listening, asked: Asked, ended: threading.Event) -> None:
    """Show what comes until the sound ends or somebody ends it."""
    if not sys.stdout.isatty():
        while not ended.is_set():
            if event := listening.events.get(0.2):
                asked.take(event)
                _print(event)
        return
    seen, console = Seen(), listing.console(width=100)
    with (
        keys() as get,
        Screen(seen.page(asked.line), console=console, screen=True, auto_refresh=False) as screen,
    ):
        while not ended.is_set() and not _ends(get, listening, asked):
            event = listening.events.get(0.1)
            while event:
                seen.take(event)
                asked.take(event)
                event = listening.events.get(0)
            screen.update(seen.page(asked.line), refresh=True)


def _ends(get: Get | None, listening: Listening, asked: Asked) -> bool:
    """Do what the pressed key says; whether it says to end. Of whoever does not want it nothing more is kept."""
    key = get() if get else ""
    if answer := KEYS.get(key.lower()):
        asked.put_down(answer)
        if answer == "declined" and not listening.paused:
            listening.pause()
    if key in (" ", "\n", "\r"):
        if listening.paused:
            listening.resume()
        else:
            listening.pause()
    return key in ("q", "Q")


def _print(event: Event | None) -> None:
    """Where there is no terminal: what was said, a line for each utterance; troubles beside it."""
    if isinstance(event, Utterance) and event.text:
        click.echo(f"{clock(event.start)}  {event.text}")
    elif isinstance(event, Faulted):
        say(f"{event.what}. {event.remedy}")
    elif isinstance(event, Mended):
        say("The disk takes sound again.")


def _keep(listening: Listening, folder: Path) -> None:
    """Finish; while a full disk keeps it from that, try again until somebody interrupts."""
    while True:
        outcome: list[tuple[int, ...] | Exception] = []
        thread = threading.Thread(target=_finish, args=(listening, outcome), name="finishing", daemon=True)
        thread.start()
        try:
            _until(thread, listening)
        except KeyboardInterrupt:
            say("The recording is kept, its record is not made yet. To make it: earside listen --finish")
            raise
        (result,) = outcome
        if isinstance(result, tuple):
            _tell(result, folder)
            return
        if not isinstance(result, StoreError):
            say("The recording is kept. To make its record: earside listen --finish")
            raise result
        say(result.line)
        say(f"Trying again in {TRY_AGAIN_SECONDS:.0f} seconds; Ctrl-C ends it.")
        time.sleep(TRY_AGAIN_SECONDS)


def _finish(listening: Listening, outcome: list[tuple[int, ...] | Exception]) -> None:
    try:
        outcome.append(listening.finish())
    except Exception as fault:
        outcome.append(fault)


def _until(thread: threading.Thread, listening: Listening) -> None:
    """Show how the record is being made, until the thread ends."""
    with bar("making the record") as progress:
        while thread.is_alive() or not listening.events.over:
            event = listening.events.get(0.2)
            if isinstance(event, Finishing) and progress:
                progress(event.done, event.total)
            elif event and not sys.stdout.isatty():
                _print(event)
            elif event is None and not thread.is_alive():
                return  # it failed; the events go on


def _tell(visits: tuple[int, ...], folder: Path) -> None:
    if not visits:
        say("Nothing of ear care was recognised, or nothing was dictated: there is no visit to show.")
    for visit in visits:
        work.show(visit, data=folder, form=None)


def _count(recordings: int) -> str:
    return "1 recording is" if recordings == 1 else f"{recordings} recordings are"
