"""What every paper says of itself: draft or signed, by whom and when, and that it was made from dictation."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from desk.lines import clean
from shared.errors import NotAllowed
from shared.store import Signature, Store, StoredVisit

DRAFT = "DRAFT"


@dataclass(frozen=True)
class Standing:
    """word: "DRAFT" for what is not signed, else "". state, origin, made: one sentence each. signed: one line
    for every signature and amendment, oldest first. by: who signed last, "" for a draft."""

    word: str
    state: str
    origin: str
    made: str
    signed: tuple[str, ...]
    by: str

    @property
    def foot(self) -> str:
        """All of it in one line, for the foot of each page."""
        return f"{self.state} {self.origin} {self.made}"


@dataclass(frozen=True)
class Paper:
    """What papers are made from: the visit as it stands, and its standing."""

    stored: StoredVisit
    standing: Standing

    @property
    def patient(self) -> str:
        """The patient's reference, or that none was said."""
        said = self.stored.visit.patient_reference
        if said is None:
            return "not said"
        return clean(said.value) + (" (possibly)" if said.certainty == "possible" else "")

    @property
    def when(self) -> str:
        """When the visit was; said so if that rests on the file's own time or on that of reading alone."""
        known = {"reading": "recording read {}", "file_time": "{}, by the file's own time"}
        return known.get(self.stored.when_from, "{}").format(time(self.stored.when))


def paper(store: Store, visit_id: int, *, now: datetime | None = None) -> Paper:
    """A visit and its standing at `now`. Raises NotAllowed for one that gave way to a later reading."""
    stored = store.visit(visit_id)
    if stored.status == "replaced":
        raise NotAllowed(
            "was replaced by a later reading, so no papers are made of it",
            where=f"visit {visit_id}",
            remedy="See which visits stand: earside list",
        )
    made = f"Made on {time((now or datetime.now().astimezone()).isoformat())}."
    return Paper(stored, _standing(stored, store.signatures(visit_id), made))


def _standing(stored: StoredVisit, signatures: tuple[Signature, ...], made: str) -> Standing:
    signed = tuple(_line(s) for s in signatures)
    if stored.locked and signatures:
        last = signatures[-1]
        by = clean(last.who)
        amended = " after an amendment" if last.amendment else ""
        return Standing("", f"Signed by {by}, {last.role}, {time(last.at)}{amended}.",
                        f"Made from dictation, checked by {by}.", made, signed, by)  # fmt: skip
    state = f"{DRAFT}, not signed."
    if stored.status == "amending":
        state = f"{DRAFT} of an amendment, not signed; it may differ from what was signed before."
    return Standing(DRAFT, state, "Made from dictation, not yet checked.", made, signed, "")


def _line(signature: Signature) -> str:
    line = f"Signed by {clean(signature.who)}, {signature.role}, {time(signature.at)}."
    if signature.amendment:
        line += f" Amendment, because: “{clean(signature.amendment)}”."
    if signature.reason:
        line += f" Signed with something undecided, because: “{clean(signature.reason)}”."
    return line


def time(stored: str) -> str:
    """A stored time on this computer's clock, to be read in years: "25 November 2025, 14:05 (UTC+0)"."""
    at = datetime.fromisoformat(stored).astimezone()
    offset = at.utcoffset()
    hours = offset.total_seconds() / 3600 if offset else 0
    return f"{at.day} {at:%B %Y, %H:%M} (UTC{hours:+g})"
