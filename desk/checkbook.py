"""The store and the reading together: every change that a person makes to a visit, kept in one step.

Each method takes who did it and the revision the page was made from, and returns the visit as it then
stands. Raises BadInput (a path, a value, words that cannot be), NotAllowed (signed, or not this person's to
do), Conflict (somebody changed it since; nothing was saved), StoreError.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from desk import review
from desk.lines import clean
from desk.rereading import Rereader, stretch
from shared.errors import BadInput, Conflict
from shared.record import Visit
from shared.store import Change, Store, StoredVisit
from shared.store.rows import iso
from shared.transcript import Transcript

_QUOTED = 60


class Checkbook:
    """Changes visits in a store. rereader: kept for as long as the program runs; it may be shared."""

    def __init__(self, store: Store, rereader: Rereader) -> None:
        self.store, self.rereader = store, rereader

    def accept(self, visit_id: int, path: str, *, who: str, revision: int) -> StoredVisit:
        """Confirm a value, a part ("ears[0]") or all ("")."""
        return self._do(visit_id, who, revision, lambda visit, _, name: review.accept(visit, path, name))

    def correct(
        self,
        visit_id: int,
        path: str,
        value: str | int,
        *,
        who: str,
        revision: int,
        words: review.Words | None = None,
    ) -> StoredVisit:
        """Put another value in place of one."""
        return self._do(
            visit_id,
            who,
            revision,
            lambda visit, text, name: review.correct(visit, path, value, name, words=words, transcript=text),
        )

    def remove(self, visit_id: int, path: str, *, who: str, revision: int) -> StoredVisit:
        """Take out a value, or a part with all in it."""
        return self._do(visit_id, who, revision, lambda visit, _, name: review.remove(visit, path, name))

    def add(
        self,
        visit_id: int,
        path: str,
        value: str | int,
        *,
        who: str,
        revision: int,
        words: review.Words | None = None,
    ) -> StoredVisit:
        """Put in a value that is missing; words: characters of the transcript that show it."""
        return self._do(
            visit_id,
            who,
            revision,
            lambda visit, text, name: review.add(visit, path, value, name, words=words, transcript=text),
        )

    def set_side(self, visit_id: int, ear: int, side: str, *, who: str, revision: int) -> StoredVisit:
        """Say which ear this one is."""
        return self._do(
            visit_id, who, revision, lambda visit, _, name: review.set_side(visit, ear, side, name)
        )

    def swap_ears(self, visit_id: int, *, who: str, revision: int) -> StoredVisit:
        """Exchange the sides of the two ears."""
        return self._do(visit_id, who, revision, lambda visit, _, name: review.swap_ears(visit, name))

    def decide(
        self, visit_id: int, number: int, decision: str, *, who: str, revision: int, reason: str = ""
    ) -> StoredVisit:
        """Decide a notice: "seen" or "dismissed"; one that must be decided needs a reason."""
        return self._do(
            visit_id,
            who,
            revision,
            lambda visit, _, name: review.decide(visit, number, decision, name, reason=reason),
        )

    def set_when(self, visit_id: int, when: datetime, *, who: str, revision: int) -> StoredVisit:
        """Say when the visit began; a time with its zone."""
        if when.tzinfo is None:
            raise BadInput("a time needs its zone", where="when", remedy="Give it with its offset from UTC.")
        at = when.isoformat(timespec="minutes")
        change = Change("when", f"began {at}", Visit(), when=iso(when))
        return self._do(visit_id, who, revision, lambda visit, _, name: replace(change, visit=visit))

    def set_clinician(self, visit_id: int, clinician: str, *, who: str, revision: int) -> StoredVisit:
        """Say who saw the patient."""
        person = self.store.person(clinician)
        change = Change("clinician", f"seen by {person.name}", Visit(), clinician=person.name)
        return self._do(visit_id, who, revision, lambda visit, _, name: replace(change, visit=visit))

    def put_words_right(
        self, visit_id: int, chars: review.Words, text: str, *, who: str, revision: int
    ) -> StoredVisit:
        """Put the visit's words at these characters of its transcript right, and read it again; what was
        entered, confirmed or taken out by hand stays. The transcript of the visit is then its own."""
        stored, name, words = self._open(visit_id, who, revision)
        visit, own = self.rereader.put_right(stored.visit, words, chars, text)
        was = words.text[chars[0] : chars[1]]
        change = Change("words", f"put right: “{_short(was)}” → “{_short(text)}”", visit, transcript=own)
        return self.store.change(visit_id, change, name, revision=revision)

    def read_again(self, visit_id: int, *, who: str, revision: int) -> StoredVisit:
        """Read the visit's words again, as with another vocabulary; what was done by hand stays."""
        stored, name, words = self._open(visit_id, who, revision)
        visit = self.rereader.again(stored.visit, words, stretch(stored.visit, words))
        return self.store.change(visit_id, Change("reread", "read again", visit), name, revision=revision)

    def split(self, visit_id: int, at: int, *, who: str, revision: int) -> tuple[StoredVisit, StoredVisit]:
        """Make two visits of one: the second begins with the words at character `at` of its transcript."""
        stored, name, words = self._open(visit_id, who, revision)
        first, second = self.rereader.split(stored.visit, words, at)
        change = Change("split", f"split before “{_short(words.text[at : at + _QUOTED])}”", first)
        return self.store.split(visit_id, change, second, name, revision=revision)

    def merge_next(
        self, visit_id: int, *, who: str, revision: int, next_revision: int | None = None
    ) -> StoredVisit:
        """Make one visit of this and the next of the recording."""
        stored, name, words = self._open(visit_id, who, revision)
        next_id = self.store.next_visit(visit_id)
        if next_id is None:
            raise BadInput(
                "is the last of its recording", where=f"visit {visit_id}", remedy="Merge the one before."
            )
        other = self.store.visit(next_id)
        both, own = self.rereader.join(
            (stored.visit, words), (other.visit, self.store.transcript(other.transcript))
        )
        change = Change("merge", f"merged with visit {next_id}", both, transcript=own)
        return self.store.merge(
            visit_id,
            next_id,
            change,
            name,
            revision=revision,
            next_revision=other.revision if next_revision is None else next_revision,
        )

    def _open(self, visit_id: int, who: str, revision: int) -> tuple[StoredVisit, str, Transcript]:
        stored = self.store.visit(visit_id)
        if stored.revision != revision:
            raise Conflict(
                "has been changed since you opened it",
                where=f"visit {visit_id}",
                remedy="Open it again; nothing of this change was saved.",
            )
        return stored, self.store.person(who).name, self.store.transcript(stored.transcript)

    def _do(
        self, visit_id: int, who: str, revision: int, operation: Callable[[Visit, Transcript, str], Change]
    ) -> StoredVisit:
        stored, name, words = self._open(visit_id, who, revision)
        change = operation(stored.visit, words, name)
        visit = self.rereader.noticed(change.visit, words, change.visit)
        return self.store.change(visit_id, replace(change, visit=visit), name, revision=revision)


def _short(text: str) -> str:
    words = clean(text)
    return words if len(words) <= _QUOTED else f"{words[:_QUOTED]}…"
