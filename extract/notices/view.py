"""One visit as the notices look at it: its record, its mentions, and the words behind both."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import Any

from spacy.tokens import Doc

from extract.context import covering
from extract.mentions import Mention, quoted
from extract.notices.guidance import guidance, plain_path
from extract.repair import Repair
from extract.words import Words
from shared.record import Notice, Value, Visit
from shared.transcript import Transcript

SIDES = {"right": "right ear", "left": "left ear", "both": "both ears", "unstated": "ear (no side said)"}
_QUOTED = 60
_ENTERED = "a value entered by hand"


@dataclass(frozen=True, slots=True)
class Located:
    """A value of the record. path: its place; field: the path without numbers; ear: index in visit.ears;
    side: the side that was said of it."""

    value: Value[Any]
    path: str
    field: str
    ear: int | None = None
    side: str = ""


@dataclass(frozen=True, slots=True)
class Evidence:
    """Words of the transcript, their characters and seconds."""

    heard: str | None = None
    chars: tuple[int, int] | None = None
    seconds: tuple[float, float] | None = None


Behind = Located | Mention | Evidence | None


def repairs_in(words: Words, start: int, end: int) -> list[Repair]:
    """The repairs by sound that touch words [start, end), each once."""
    found = (words.repairs[i] for i in range(start, end) if i in words.repairs)
    return list(dict.fromkeys(found))


class VisitView:
    """number: of the visit in the Doc. transcript: gives mentions their seconds and probability, if given."""

    def __init__(self, visit: Visit, doc: Doc, number: int, transcript: Transcript | None = None) -> None:
        self.visit, self.doc, self.number, self.transcript = visit, doc, number, transcript
        self.words: Words = doc._.words or Words([], [], [])
        self.mentions: list[Mention] = [m for m in doc._.mentions or [] if m.visit == number]
        self.live = [m for m in self.mentions if m.live]
        self.values = [self._located(path, value) for path, value in visit.values()]
        self._ears = self._entries()

    def _located(self, path: str, value: Value[Any]) -> Located:
        ear = int(path[5 : path.index("]")]) if path.startswith("ears[") else None
        side = ""
        if ear is not None:
            side = self.visit.ears[ear].side.value
        elif path.endswith(".item") and self.visit.background is not None:
            _, name, index = path.removesuffix("].item").replace("[", ".").split(".")
            said = getattr(self.visit.background, name)[int(index)].side
            side = said.value if said is not None else ""
        return Located(value, path, plain_path(path), ear, side)

    def _entries(self) -> list[int]:
        """For each ear of the record its number in the mentions: the one most of its values were said of."""
        chars: list[set[tuple[int, int] | None]] = [set() for _ in self.visit.ears]
        for v in self.values:
            if v.ear is not None:
                chars[v.ear].add(v.value.chars)
        votes: list[dict[int, int]] = [{} for _ in self.visit.ears]
        for m in self.live:
            for ear, said in enumerate(chars):
                if m.ears and self.chars(m) in said:
                    for number in m.ears:
                        votes[ear][number] = votes[ear].get(number, 0) + 1
        return [max(v, key=lambda n: v[n], default=-1) if v else -1 for v in votes]

    def of_ear(self, ear: int, *kinds: str) -> list[Mention]:
        """The live mentions of these kinds that were said of an ear of the record."""
        number = self._ears[ear]
        return [m for m in self.live if m.kind in kinds and number in m.ears]

    def ear_values(self, ear: int, *fields: str) -> list[Located]:
        """The values of an ear, in fields named from the ear on ("after.drum")."""
        return [v for v in self.values if v.ear == ear and v.field.removeprefix("ears.") in fields]

    def worked(self, ear: int) -> bool:
        """Whether something was done in this ear."""
        part = self.visit.ears[ear]
        done = part.procedure is not None and (part.procedure.methods or part.procedure.agents)
        return bool(
            done
            or part.removed_mm
            or (
                part.after is not None
                and part.after.clearance is not None
                and part.after.clearance.value != "none"
            )
        )

    def chars(self, m: Mention) -> tuple[int, int]:
        """The characters a mention is quoted from."""
        return quoted(self.doc, m)

    def denying(self, m: Mention) -> tuple[int, int] | None:
        """Characters of the words that deny a mention."""
        first, last = self.words.token[m.start], self.words.last[m.end - 1] + 1
        for scope in covering(self.doc._.scopes or (), first, last):
            if scope.category == "negated":
                start, end = self.doc[scope.trigger[0]], self.doc[scope.trigger[1] - 1]
                return start.idx, end.idx + len(end.text)
        return None

    def evidence(self, behind: Behind) -> Evidence:
        """The words behind a value or a mention."""
        if isinstance(behind, Located):
            return Evidence(behind.value.heard, behind.value.chars, behind.value.seconds)
        if isinstance(behind, Mention):
            return self.at(self.chars(behind))
        return behind or Evidence()

    def at(self, chars: tuple[int, int]) -> Evidence:
        """The words at these characters."""
        seconds = self.transcript.seconds(*chars) if self.transcript is not None else None
        span = self.doc.char_span(*chars)
        return Evidence(span.text if span is not None else None, chars, seconds)

    def quoted(self, *behind: Behind) -> str:
        """Words in quotation marks, each once."""
        heard = dict.fromkeys(" ".join((self.evidence(b).heard or "").split()) for b in behind)
        return ", ".join(f"“{textwrap.shorten(h, _QUOTED, placeholder='…')}”" for h in heard if h) or _ENTERED

    def ear(self, side: str) -> str:
        """A side as it reads in a sentence."""
        return SIDES.get(side, SIDES["unstated"])

    def notice(
        self,
        kind: str,
        behind: Behind = None,
        *,
        path: str = "",
        side: str = "",
        other: str = "",
        number: str = "",
        limit: str = "",
        said: str = "",
        more: str = "",
    ) -> Notice:
        """A notice of a kind of guidance.yaml. behind: what was said; more: a sentence that is added."""
        rules = guidance()
        rule = rules.notices[kind]
        words = self.evidence(behind)
        if isinstance(behind, Located):
            path, side = path or behind.path, side or behind.side
        message = rule.message.format(
            said=said or self.quoted(behind), other=other, number=number, limit=limit, ear=self.ear(side)
        )
        return Notice(
            kind=kind,
            weight=rule.weight,
            must_decide=rule.must_decide,
            path=path,
            message=" ".join(s for s in (message[:1].upper() + message[1:], more, rules.defer) if s),
            guidance=rules.rests_on(kind),
            heard=words.heard,
            chars=words.chars,
            seconds=words.seconds,
        )
