"""The dictations this desk listens to. Each goes on whether or not a page is watching it.

A page may be closed, reloaded or cut off at any moment, and the server killed: the sound that was confirmed
lies in the journal, the page holds the rest, and whoever comes back goes on where the journal ends.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from desk import keeping
from desk.listening import Finished, Finishing, Listening, Parts
from desk.so_far import RecordSoFar
from dictate import events, journals
from dictate.events import Event
from dictate.journals import Found
from shared.errors import BadInput, EarsideError
from shared.record import Visit

Message = dict[str, Any]
Tell = Callable[[Message], None]


@dataclass
class Dictation:
    """One dictation and the pages that watch it."""

    listening: Listening
    show: Callable[[tuple[Visit, ...]], str]
    watching: list[Tell] = field(default_factory=list)
    ending: bool = False
    agreement: str = "open"

    @property
    def id(self) -> str:
        """The journal's name."""
        return self.listening.id

    def state(self) -> Message:
        """What a page that has just come needs to go on."""
        listening = self.listening
        return {
            "is": "on",
            "id": self.id,
            "bytes": listening.received,
            "paused": listening.paused,
            "ending": self.ending,
            "agreement": self.agreement,
            "words": listening.words,
            "record": self.show(listening.so_far.visits),
        }

    def tell(self, message: Message) -> None:
        """Pass a message to every page that watches."""
        for page in tuple(self.watching):
            page(message)

    def agree(self, answer: str, who: str) -> None:
        """Put down what the patient says to being recorded."""
        self.listening.agreement(answer, who)
        self.agreement = answer
        self.tell({"is": "agreement", "what": answer})

    def pump(self) -> None:
        """Pass on what the listening tells, until it ends."""
        for event in self.listening.events:
            if message := self._told(event):
                self.tell(message)

    def _told(self, event: Event) -> Message | None:
        match event:
            case events.Level():
                return {"is": "level", "rms": event.rms, "peak": event.peak, "clipped": event.clipped}
            case events.SpeechBegan():
                return {"is": "speech", "on": True}
            case events.SpeechEnded():
                return {"is": "speech", "on": False}
            case events.WordsSoFar():
                return {"is": "guess", "text": event.text}
            case events.Utterance():
                return {"is": "said", "text": event.text}
            case RecordSoFar():
                return {"is": "record", "record": self.show(event.visits)}
            case events.Behind():
                return {"is": "behind", "seconds": event.seconds}
            case events.Faulted():
                return {"is": "fault", "what": event.what, "remedy": event.remedy}
            case events.Mended():
                return {"is": "mended"}
            case Finishing():
                return {"is": "finishing", "done": event.done, "total": event.total}
            case Finished():
                return {"is": "finished", "visits": list(event.visits)}
        return None


class Dictations:
    """All dictations of one desk. Safe to use from several threads.

    folder: the data folder. show: the record so far as HTML. parts: what each listening works with.
    """

    def __init__(
        self, folder: Path, show: Callable[[tuple[Visit, ...]], str], *, parts: Parts | None = None
    ) -> None:
        self._folder, self._show, self._parts = folder, show, parts  # parts: of a test
        self._open: dict[str, Dictation] = {}
        self._lock = threading.Lock()

    def begin(self, who: str) -> Dictation:
        """A new one. Raises StoreError, WeightsError, BadVocabulary."""
        return self._add(Listening.start(self._folder, who=who, parts=self._parts))

    def go_on(self, name: str) -> Dictation:
        """The one of this name, which another page or an earlier server began.

        Raises BadInput if it is finished or unknown, StoreError if another program is writing it.
        """
        with self._lock:
            if there := self._open.get(name):
                return there
        found = journals.find(self._folder / keeping.FOLDER, name)
        dictation = self._add(Listening.take_up(self._folder, name, parts=self._parts))
        if found and found.agreements:
            dictation.agreement = found.agreements[-1][1]
        return dictation

    def unfinished(self) -> list[Found]:
        """Dictations of which no record was made yet, the oldest first; those listened to here too."""
        here = set(self._open)
        return [f for f in journals.journals(self._folder / keeping.FOLDER) if f.id in here or not f.in_use]

    def finish(self, name: str) -> tuple[int, ...]:
        """End a dictation and keep its visits; returns their ids.

        Raises as `Listening.finish` and `go_on`; then it can be finished again, and nothing is lost.
        """
        dictation = self.go_on(name)
        dictation.ending = True
        try:
            visits = dictation.listening.finish()
        except Exception as fault:
            dictation.tell(failure(fault))
            raise
        finally:
            dictation.ending = False
        with self._lock:
            self._open.pop(name, None)
        return visits

    def finish_aside(self, name: str, failed: Tell) -> None:
        """The same in a thread of its own, while the next patient is already being listened to."""

        def work() -> None:
            try:
                self.finish(name)
            except Exception as fault:
                failed(failure(fault))

        threading.Thread(target=work, name="finishing").start()

    def leave(self) -> None:
        """The server ends: what is open stays unfinished, to be taken up."""
        with self._lock:
            for dictation in self._open.values():
                with contextlib.suppress(Exception):
                    dictation.listening.leave()
            self._open.clear()

    def _add(self, listening: Listening) -> Dictation:
        dictation = Dictation(listening, self._show)
        with self._lock:
            self._open[dictation.id] = dictation
        threading.Thread(target=dictation.pump, name="telling", daemon=True).start()
        return dictation


def failure(fault: Exception) -> Message:
    """What a page is told of a failure; of an unexpected one only its kind, as it might quote the dictation."""
    if isinstance(fault, EarsideError):
        where = f"{fault.where}: " if fault.where else ""
        return {"is": "fault", "what": where + fault.what, "remedy": fault.remedy}
    return {
        "is": "fault",
        "what": type(fault).__name__,
        "remedy": "The sound is kept. Finish the dictation again.",
    }


def known(name: object) -> str:
    """A dictation's name as a page gives it. Raises BadInput if it cannot be one."""
    if not isinstance(name, str) or not name or not set(name) <= set("0123456789abcdefTZ-"):
        raise BadInput("not the name of a dictation", where="listen", remedy="Open the page again.")
    return name
