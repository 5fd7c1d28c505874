"""The listening engine: sound goes in as it comes, events come out (`dictate.events`).

    feed ── journal (disk) ── meter ── detector ── parting ──┬── while speaking: a quick guess   (thread)
                                                            └── utterance: the careful pass      (thread)

Only places in the recording wait in line, never sound: what is not heard yet lies in the journal. So memory
stays flat, however long it listens and however far it falls behind; when it does, neighbouring utterances
are heard together, which takes less time.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from dictate.events import (
    Behind,
    Event,
    Faulted,
    Paused,
    Resumed,
    SpeechBegan,
    SpeechEnded,
    Utterance,
    WordsSoFar,
)
from dictate.journal import BYTES_A_SECOND, Journal
from dictate.level import Meter
from dictate.quick import Quick
from dictate.read import RATE
from dictate.voice import FRAME, LONGEST_SECONDS, Judge, Parting, Silero, Spoken
from shared.errors import EarsideError
from shared.transcript import Transcript

STEP_SECONDS = 0.6
"""How often the guess is made anew while somebody speaks; less often where it takes long."""

FIRST_SECONDS = 1.0
"""How much there must be, the padding before it included, before a first guess is worth making."""

BEHIND_SECONDS = 10.0
"""So late a hearing is told: an utterance is heard in a few seconds by a machine that keeps up."""

Samples = npt.NDArray[np.float32]
Careful = Callable[[Samples], Transcript]


class Live:
    """Listens to one journal. All methods may be called from any thread.

    publish: called with each event, from several threads; it must not call back. careful: hears an utterance
    as files are heard. quick: guesses at words while they are said; None for no guesses. judge: finds
    speech; Silero if None.
    idle: called when nothing waits to be heard, with the samples so far; False when it has nothing to do.
    heard: up to which sample the journal was heard before; what is in it beyond is heard now.
    """

    def __init__(
        self,
        journal: Journal,
        publish: Callable[[Event], None],
        *,
        careful: Careful,
        quick: Quick | None,
        judge: Judge | None = None,
        idle: Callable[[int], bool] | None = None,
        heard: int = 0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._journal, self._publish, self._clock = journal, publish, clock
        self._careful, self._quick, self._idle = careful, quick, idle or (lambda at: False)
        self._judge, self._parting = judge or Silero(), Parting()
        self._feeding = threading.RLock()
        self._changed = threading.Condition()
        self._rest = b""
        self._paused = self._over = False
        self._lost = 0
        self._told_faults: list[Faulted] = []
        # Guarded by _changed:
        self._line: deque[Spoken] = deque()
        self._hearing: Spoken | None = None
        self._told_behind = 0
        self._at = self._guessed = heard
        self._began: int | None = None
        self._ended: Spoken | None = None  # its last words are not guessed at yet
        self._guessing = False
        self._step = STEP_SECONDS
        self._meter = Meter(heard)
        self._parting.stop(heard)
        self._threads = [threading.Thread(target=self._hear, name="careful", daemon=True)]
        if quick:
            self._threads.append(threading.Thread(target=self._guess, name="quick", daemon=True))
        for thread in self._threads:
            thread.start()
        self._catch_up(journal.received // 2)

    @property
    def seconds(self) -> float:
        """How long the recording is so far."""
        return self._at / RATE

    @property
    def paused(self) -> bool:
        """Whether it is paused."""
        return self._paused

    def feed(self, pcm: bytes, *, once: bool = True) -> bool:
        """Take sound: 16-bit PCM, little endian, one channel, 16,000 a second, in pieces of any size.

        Waits for neither disk nor recogniser; finding speech takes some 6 ms for each second of sound. False
        if the sound was not taken: listening is over, or the disk takes none and the memory set aside for it
        is full. If it comes only `once` it is lost, which a Faulted says, and
        the journal notes how much. Paused sound is taken and thrown away.
        """
        with self._feeding:
            if self._over:
                return False
            if self._paused:
                return True
            if not self._journal.write(pcm):
                self._lose(len(pcm) if once else 0)
                return False
            if self._lost:
                self._journal.note("lost", seconds=self._lost / BYTES_A_SECOND)
                self._lost = 0
            self._listen(pcm)
            return True

    def _lose(self, size: int) -> None:
        self._lost += size
        self._publish(
            Faulted(
                "The disk takes no sound and the memory set aside for it is full",
                "Free some space on the disk now.",
                lost=self._lost / BYTES_A_SECOND,
            )
        )

    def pause(self) -> None:
        """Keep and hear nothing until `resume`; the pause is noted. What was being said ends here."""
        with self._feeding:
            if self._paused or self._over:
                return
            self._end_speech()
            self._paused = True
            self._journal.note("paused")
            self._publish(Paused(self.seconds))

    def resume(self) -> None:
        """Listen again."""
        with self._feeding:
            if not self._paused or self._over:
                return
            self._paused = False
            self._journal.note("resumed")
            self._publish(Resumed(self.seconds))

    def finish(self, *, hear_rest: bool = True) -> None:
        """Stop. With `hear_rest`, wait until every utterance was heard. No event comes after it returns.

        The journal stays open: it belongs to whoever made it.
        """
        with self._feeding:
            if not self._over:
                self._end_speech()
            self._over = True
        with self._changed:
            if hear_rest:
                self._changed.wait_for(lambda: not self._line and not self._hearing)
            self._line.clear()
            self._ended = None
            self._changed.notify_all()
        for thread in self._threads:
            thread.join()

    def settle(self, wait_seconds: float | None = None) -> bool:
        """Wait until all that can be heard so far was heard. False if it took longer."""
        with self._changed:
            return self._changed.wait_for(
                lambda: not (self._line or self._hearing or self._guessing or self._due()), wait_seconds
            )

    def _catch_up(self, end: int) -> None:
        """Find the speech in what the journal held already."""
        with self._feeding:
            for start in range(self._at, end, 60 * RATE):
                self._listen(self._journal.read(start, min(start + 60 * RATE, end)).tobytes())

    def _listen(self, pcm: bytes) -> None:
        """Level and speech of sound that is in the journal."""
        pcm = self._rest + pcm
        samples = np.frombuffer(pcm, "<i2", count=len(pcm) // 2)
        whole = len(samples) // FRAME * FRAME
        self._rest = pcm[2 * whole :]
        if not whole:
            return
        for level in self._meter.feed(samples[:whole]):
            self._publish(level)
        for probability in self._judge(samples[:whole]):
            ended = self._parting.frame(probability)
            with self._changed:
                self._at += FRAME
            self._spoken(ended)
        self._tell_behind()

    def _spoken(self, ended: Spoken | None) -> None:
        """Tell of speech that began or ended, and put it in line to be heard."""
        if ended:
            self._publish(SpeechEnded(ended.end / RATE))
        began, self_began = self._parting.speaking, self._began
        if began is not None and (self_began is None or ended):
            self._publish(SpeechBegan(began / RATE))
        with self._changed:
            self._began = began
            if ended:
                self._line.append(ended)
                self._ended = ended if self._guessed < ended.end - FRAME else None
            self._changed.notify_all()

    def _end_speech(self) -> None:
        """What is left of a frame is in the recording, but no speech begins or ends in it."""
        if len(self._rest) % 2:  # half a sample: what comes next must begin with a whole one
            self._journal.write(b"\0")
            self._rest += b"\0"
        self._at += len(self._rest) // 2
        self._rest = b""
        self._spoken(self._parting.stop(self._at))

    def _guess(self) -> None:
        """The quick thread."""
        assert self._quick
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._due() or self._over)
                if self._over:
                    return
                start, end = self._to_guess()
                self._guessing, self._ended = True, None
            before = self._clock()
            try:
                text = self._quick(_floats(self._journal, start, end))
            except Exception as fault:
                self._failed(fault)
                text = ""
            with self._changed:
                # Its careful hearing may have overtaken it.
                if text and any(s.start == start for s in (*self._line, self._hearing, self._now()) if s):
                    self._publish(WordsSoFar(start / RATE, end / RATE, text))
                self._guessing, self._guessed = False, end
                self._step = max(STEP_SECONDS, 1.5 * (self._clock() - before))
                self._changed.notify_all()

    def _due(self) -> bool:
        if not self._quick or self._over:
            return False
        if self._ended:
            return True
        if self._began is None or self._at - self._began < FIRST_SECONDS * RATE:
            return False
        return self._at - max(self._guessed, self._began) >= self._step * RATE

    def _to_guess(self) -> tuple[int, int]:
        if self._ended:
            return self._ended.start, self._ended.end
        assert self._began is not None
        return self._began, self._at

    def _now(self) -> Spoken | None:
        return None if self._began is None else Spoken(self._began, self._at)

    def _hear(self) -> None:
        """The careful thread."""
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._line or self._over)
                if not self._line:
                    return
                spoken = self._hearing = self._next()
            try:
                heard = self._careful(_floats(self._journal, spoken.start, spoken.end))
                self._publish(_utterance(spoken, heard))
            except Exception as fault:
                self._failed(fault)
            with self._changed:
                self._hearing = None
                self._changed.notify_all()
            self._tell_behind()
            self._use_leisure()

    def _next(self) -> Spoken:
        """The next utterance in line; when late, with its neighbours as far as they are heard in one go."""
        spoken = self._line.popleft()
        late = self._at - spoken.end >= BEHIND_SECONDS * RATE
        while late and self._line and self._line[0].end - spoken.start <= LONGEST_SECONDS * RATE:
            spoken = Spoken(spoken.start, self._line.popleft().end)
        return spoken

    def _use_leisure(self) -> None:
        while not self._line and not self._over:
            try:
                if not self._idle(self._at):
                    return
            except Exception as fault:
                self._failed(fault)
                return

    def _tell_behind(self) -> None:
        """Tell how late the careful hearing is: the sound that came since the oldest unheard utterance."""
        with self._changed:
            oldest = self._hearing or (self._line[0] if self._line else None)
            late = (self._at - oldest.end) / RATE if oldest else 0.0
            late = round(late) if late >= BEHIND_SECONDS else 0
            if late != self._told_behind:
                self._told_behind = late
                self._publish(Behind(late))

    def _failed(self, fault: Exception) -> None:
        # Of an unexpected fault only its kind: its message might quote the dictation.
        what = fault.what if isinstance(fault, EarsideError) else type(fault).__name__
        fault_told = Faulted(f"Recognising failed: {what}", "The sound is kept; it will be heard again.")
        if fault_told not in self._told_faults:  # what fails once mostly fails again
            self._told_faults.append(fault_told)
            self._publish(fault_told)


def _floats(journal: Journal, start: int, end: int) -> Samples:
    return journal.read(start, end).astype(np.float32) / np.float32(32768)


def _utterance(spoken: Spoken, heard: Transcript) -> Utterance:
    """What was heard in an utterance, on the recording's clock."""
    start, end = spoken.start / RATE, spoken.end / RATE
    words = tuple(
        w.model_copy(update={"seconds": w.seconds and (w.seconds[0] + start, w.seconds[1] + start)})
        for w in heard.words
    )
    return Utterance(start, end, heard.text, words)
