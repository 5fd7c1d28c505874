"""Listening as a whole, for any desk: sound in, events and the record as it changes out, visits kept at the end.

    listening = Listening.start(data)          # or take_up(data, id) after a crash
    for event in listening.events: ...         # in a thread of its own; ends after Finished
    listening.feed(pcm)                        # or feed(pcm, at=byte), and again from what is confirmed
    listening.pause(); listening.resume()
    ids = listening.finish()                   # ids of the visits in the store

What is shown while it listens is for looking at. The record that is kept comes from the careful pass over the
whole recording, so a dictation gives the same record whether it was listened to or read from a file.
"""

from __future__ import annotations

import contextlib
import functools
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from desk import keeping, own_words
from desk.keeping import FOLDER
from desk.so_far import RecordSoFar, SoFar, remember, remembered
from dictate.ahead import Ahead, Remembering
from dictate.events import Event, Events, Faulted, Mended, Utterance
from dictate.journal import BYTES_A_SECOND, Journal
from dictate.live import Live
from dictate.read import RATE
from shared.errors import BadInput, EarsideError, StoreError
from shared.transcript import Transcript

if TYPE_CHECKING:
    from dictate.quick import Quick
    from dictate.recognise import Recogniser
    from dictate.voice import Judge
    from extract.reader import Reader


@dataclass(frozen=True)
class Finishing(Event):
    """The whole recording is being heard for the record: seconds done and in all."""

    done: float
    total: float
    passing = True


@dataclass(frozen=True)
class Finished(Event):
    """The last event: the visits are kept. visits: their ids. sound: where it lies, None if nothing was dictated."""

    visits: tuple[int, ...]
    sound: Path | None


class MissingSound(BadInput):
    """A piece of sound does not follow on what came before. expected: the byte to send again from."""

    def __init__(self, expected: int) -> None:
        self.expected = expected
        super().__init__(f"sound is missing from byte {expected} on", remedy=f"Send again from {expected}.")


@dataclass(frozen=True)
class Parts:
    """What a listening works with, each made when first needed."""

    hearer: Callable[[], Recogniser]
    quick: Quick | None
    reader: Callable[[], Reader]
    judge: Judge | None = None

    @classmethod
    def usual(cls, *, model: str = "base", own: Path | None = None, data: Path | None = None) -> Parts:
        """The real ones. Raises WeightsError, BadVocabulary."""
        from dictate import weights  # noqa: PLC0415  (slow to import)
        from dictate.quick import Late  # noqa: PLC0415
        from dictate.recognise import whisper  # noqa: PLC0415

        own_words.vocabulary(own, data=data)  # said now, not in the middle of a dictation
        for name in (model, "tiny.en"):
            weights.find(name)
        usual = own_words.usual_file(data)
        file = own or (usual if usual.exists() else None)
        reader = functools.partial(_reader, file, file.stat().st_mtime_ns if file else 0)
        return cls(hearer=lambda: whisper(model), quick=Late(), reader=reader)


@functools.lru_cache(maxsize=2)
def _reader(own: Path | None, changed: int) -> Reader:
    """The reader with a file of the clinic's own words, made once for all dictations until the file changes."""
    from extract.reader import Reader  # noqa: PLC0415  (slow to import)
    from shared.vocabulary import load  # noqa: PLC0415

    return Reader(own_words.vocabulary(own) if own else load())


class Listening:
    """One dictation being listened to. Made by `start` and `take_up`; any thread may call it.

    events: for one reader. so_far: the latest record, for a reader that comes later.
    """

    def __init__(
        self, journal: Callable[[Callable[[str], None]], Journal], data: Path, model: str, parts: Parts
    ):
        self.events = Events()
        self.so_far = RecordSoFar((), Transcript(text=""))
        self._data, self._model, self._parts = data, model, parts
        self._hearer, self._reader = Remembering(parts.hearer), functools.cache(parts.reader)
        self._finishing = threading.Lock()
        self._visits: tuple[int, ...] | None = None
        self._changed = threading.Condition()
        self._over = False
        self._unread: list[Utterance] = []
        self._journal = journal(self._disk)
        self.id = self._journal.id
        self._heard_path = self._journal.path.with_name(f"{self.id}.heard")
        known = remembered(self._heard_path, self._journal.received / BYTES_A_SECOND)
        self._unread += known
        self._thread = threading.Thread(target=self._read, name="reading", daemon=True)
        self._thread.start()
        self._live = Live(
            self._journal,
            self._take,
            careful=self._careful,
            quick=parts.quick,
            judge=parts.judge,
            idle=Ahead(self._journal.read, self._hearer).step,
            heard=round(known[-1].end * RATE) if known else 0,
        )

    @classmethod
    def start(
        cls,
        data: Path,
        *,
        model: str = "base",
        own: Path | None = None,
        who: str = "",
        parts: Parts | None = None,
    ) -> Listening:
        """Begin. data: the data folder. own: the clinic's words. who: the person dictating, for the journal.

        Raises StoreError (no room, cannot be written), WeightsError, BadVocabulary.
        """
        parts = parts or Parts.usual(model=model, own=own, data=data)
        return cls(lambda tell: Journal.begin(data / FOLDER, who=who, tell=tell), data, model, parts)

    @classmethod
    def take_up(
        cls,
        data: Path,
        journal: str,
        *,
        model: str = "base",
        own: Path | None = None,
        parts: Parts | None = None,
    ) -> Listening:
        """Go on with a journal that was left unfinished; send sound from its `received` on.

        Raises BadInput (no such journal, or finished already) and as `start`; StoreError also if another
        program is writing it.
        """
        parts = parts or Parts.usual(model=model, own=own, data=data)
        return cls(lambda tell: Journal.reopen(data / FOLDER, journal, tell=tell), data, model, parts)

    @property
    def received(self) -> int:
        """Bytes of sound taken: where the next piece begins."""
        return self._journal.received

    @property
    def confirmed(self) -> int:
        """Bytes of sound safely on disk: a client need not keep them any longer."""
        return self._journal.confirmed

    @property
    def seconds(self) -> float:
        """How long the recording is so far."""
        return self._live.seconds

    @property
    def paused(self) -> bool:
        """Whether nothing is kept or heard at present."""
        return self._live.paused

    @property
    def words(self) -> str:
        """What has been heard so far, with what is not yet in the record so far."""
        with self._changed:
            heard = [self.so_far.transcript.text, *(utterance.text for utterance in self._unread)]
        return " ".join(filter(None, heard))

    def feed(self, pcm: bytes, *, at: int | None = None) -> int:
        """Take sound: 16-bit PCM, little endian, one channel, 16,000 a second. Returns `confirmed`.

        at: the byte of the recording this piece begins with, if the sender can send it again; what is there
        already is passed over. While paused, pieces are thrown away and do not count.
        Raises MissingSound if something is missing before it.
        """
        if at is None:
            self._live.feed(pcm)
        elif not self.paused:
            received = self.received
            if at > received:
                raise MissingSound(received)
            if new := pcm[received - at :]:
                self._live.feed(new, once=False)
        return self.confirmed

    def pause(self) -> int:
        """For privacy: from now on nothing is kept or heard. Returns the byte at which it will go on."""
        self._live.pause()
        return self.received

    def resume(self) -> None:
        """Listen again."""
        self._live.resume()

    def agreement(self, answer: str, who: str) -> None:
        """Put down what the patient who is being dictated about says to being recorded."""
        self._journal.note("agreement", answer=answer, who=who)

    def settle(self) -> None:
        """Wait until all that can be heard so far is heard and read."""
        self._live.settle()
        with self._changed:
            self._changed.wait_for(lambda: not self._unread)

    def leave(self) -> None:
        """Stop without a record: the journal stays unfinished, to be taken up or finished later."""
        with self._finishing:
            self._stop()
            self._journal.close()
            self.events.close()

    def finish(self) -> tuple[int, ...]:
        """Stop, hear the whole recording as the file it is, and keep its visits. Returns their ids.

        Nothing dictated: nothing is kept. May be called again after it failed. Raises StoreError if the disk
        has not taken all sound (free some space and call again) or the store cannot be written, WeightsError.
        """
        with self._finishing:
            if self._visits is not None:
                return self._visits
            self._stop()
            if missing := self._journal.flush():
                raise StoreError(
                    f"the disk has not taken the last {missing:.1f} seconds of sound yet",
                    where=str(self._journal.path),
                    remedy="They are in memory: free some space, then finish again.",
                )
            self._journal.close()
            kept = keeping.finish(
                self._data,
                self.id,
                model=self._model,
                hearer=self._hearer,
                reader=self._reader,
                progress=lambda done, total: self.events.put(Finishing(done, total)),
            )
            self._visits = kept.visits
            self.events.put(Finished(kept.visits, kept.sound))
            self.events.close()
            return self._visits

    def _stop(self) -> None:
        self._live.finish(hear_rest=False)
        with self._changed:
            self._over = True
            self._changed.notify_all()
        self._thread.join()

    def _careful(self, sound: object) -> Transcript:
        from dictate import hear  # noqa: PLC0415  (slow to import)

        return hear.transcribe(sound, model=self._model, recogniser=self._parts.hearer())  # type: ignore[arg-type]

    def _disk(self, reason: str) -> None:
        """What the journal tells: why the disk takes no sound, or that it does again."""
        if reason:
            remedy = "Sound is held in memory: free some space on the disk now."
            self.events.put(Faulted(f"The disk takes no sound ({reason})", remedy))
        else:
            self.events.put(Mended())

    def _take(self, event: Event) -> None:
        """An event of the engine, on its way out."""
        if not (isinstance(event, Utterance) and event.text):
            self.events.put(event)
            return
        with contextlib.suppress(OSError):  # a full disk: the sound itself is what matters
            remember(self._heard_path, event)
        with self._changed:
            self._unread.append(event)
            self.events.put(event)
            self._changed.notify_all()

    def _read(self) -> None:
        """The reading thread: the record so far, after each utterance."""
        read = SoFar()
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._unread or self._over)
                if self._over:
                    return
                new = list(self._unread)
            record = None
            try:
                record = read.add(new, self._reader())
            except Exception as fault:
                # Of an unexpected fault only its kind: its message might quote the dictation.
                what = fault.what if isinstance(fault, EarsideError) else type(fault).__name__
                self.events.put(Faulted(f"Reading failed: {what}", "The sound is kept; go on."))
            with self._changed:
                if record:
                    self.so_far = record
                    self.events.put(record)
                del self._unread[: len(new)]
                self._changed.notify_all()
