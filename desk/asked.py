"""What patients say to being recorded, as it is put down at the terminal while Earside listens.

Each answer goes into the journal at its second, so that it belongs to the visit that was being dictated then. With
the next patient it is open again, or, if the practice has a standing notice, that holds until they are asked.
"""

from __future__ import annotations

from typing import Protocol

from desk.lines import clean
from desk.so_far import RecordSoFar
from dictate.events import Event

KEYS = {"a": "agreed", "d": "declined"}
"""What is pressed, and what it says."""


class _Listening(Protocol):
    def agreement(self, answer: str, who: str) -> None: ...


class Asked:
    """What the patient who is being dictated about says. notice: the practice's standing notice, "" if none.

    answer: "agreed", "declined", "notice" or "open", as in the store.
    """

    def __init__(self, listening: _Listening, notice: str, *, agreed: bool = False) -> None:
        self._listening, self._notice, self._visits = listening, notice, 1
        self.answer = "open"
        if notice:  # holds for all of them
            self.put_down("notice")
        if agreed:
            self.put_down("agreed")

    def put_down(self, answer: str) -> None:
        """The patient said so. Nobody has said who they are at the terminal, so no name stands beside it."""
        self.answer = answer
        self._listening.agreement(answer, "")

    def take(self, event: Event) -> None:
        """Another patient begins when their record does."""
        if isinstance(event, RecordSoFar) and len(event.visits) > self._visits:
            self._visits = len(event.visits)
            self.answer = "notice" if self._notice else "open"

    @property
    def line(self) -> str:
        """What stands, and what can be pressed."""
        if self.answer == "agreed":
            return "Being recorded: the patient agreed.  d: they do not want it."
        if self.answer == "declined":
            return (
                "Being recorded: the patient does not want it.  a: they agree.  What was kept until now: end it "
                "with q, sign the visit, and earside erase REFERENCE --recordings."
            )
        if self.answer == "notice":
            return f"Being recorded: under “{clean(self._notice)}”.  d: they do not want it."
        return "Being recorded: not asked yet.  a: the patient agrees.  d: they do not want it."
