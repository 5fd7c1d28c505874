"""Whether the patient agreed to being recorded: kept with the visit, beside its record, never in it.

An entry of kind "agreement" says it first; the last row of a visit stands, the earlier ones stay.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from shared.errors import BadInput
from shared.store import chain, said, schema
from shared.store.changes import Changes

Answer = Literal["agreed", "notice", "declined", "open"]
"""agreed, declined: the patient was asked. notice: the practice's standing notice holds. open: not asked, or taken
back."""


@dataclass(frozen=True)
class Agreement:
    """What stands of a visit. notice: the standing notice's name. heard, chars: the words it was said with."""

    what: Answer
    notice: str | None
    heard: str | None
    chars: tuple[int, int] | None
    who: str
    at: str


class Agreements(Changes):
    """The part of the store that knows who agreed."""

    def agreement(self, visit_id: int) -> Agreement | None:
        """What was put down last for a visit; None if nothing was."""
        for row in self._rows(
            "SELECT * FROM agreements WHERE visit_id = ? ORDER BY entry DESC LIMIT 1", visit_id
        ):
            chars = (row["char_start"], row["char_end"]) if row["char_start"] is not None else None
            return Agreement(row["what"], row["notice"], row["heard"], chars, row["who"], row["at"])
        return None

    def set_agreement(
        self, visit_id: int, what: Answer, who: str, *, chars: tuple[int, int] | None = None
    ) -> None:
        """Put down what the patient said to being recorded. chars: where in the visit's words they said it.

        Raises BadInput if there is no such visit, no standing notice to name, or nothing new; NotAllowed if `who`
        may not.
        """
        name = self._worker(who).name
        if self._note_agreement(visit_id, what, name, chars) is None:
            raise BadInput("that stands already", where=f"visit {visit_id}")

    def note_agreement(self, visit_id: int, what: Answer, who: str) -> None:
        """The same as it was put down while dictating, before there was a visit; what stands already stays. who: ""
        if nobody had said who they were."""
        if self.agreement(visit_id) is None:
            self._note_agreement(visit_id, what, who or "earside", None)

    def _note_agreement(
        self, visit_id: int, what: Answer, who: str, chars: tuple[int, int] | None
    ) -> int | None:
        if what not in get_args(Answer):
            raise BadInput(
                f"it cannot be {what!r}",
                where=f"visit {visit_id}",
                remedy=f"It can be: {', '.join(get_args(Answer))}.",
            )
        with self._writing():
            row, at = self._row(visit_id), schema.now()
            notice = self.standing_notice() or None if what == "notice" else None
            if what == "notice" and notice is None:
                raise BadInput(
                    "the practice has named no standing notice",
                    where=f"visit {visit_id}",
                    remedy='Name it: earside policy --notice "NAME"',
                )
            before = self.agreement(visit_id)
            if before and (before.what, before.notice, before.chars) == (what, notice, chars):
                return None
            heard = self.transcript(row["transcript_id"]).text[slice(*chars)] if chars else None
            content = {
                "what": said.agreement(what, notice),
                "steps": [],
                "state": chain.digest(self._state(row)),
            }
            if heard:
                content["heard"] = heard
            entry = chain.append(self._db, visit=visit_id, kind="agreement", who=who, at=at, content=content)
            start, end = chars or (None, None)
            made = {"entry": entry, "visit_id": visit_id, "what": what, "notice": notice, "heard": heard}
            made |= {"char_start": start, "char_end": end, "who": who, "at": at}
            self._db.table("agreements").insert(made)
            return entry
