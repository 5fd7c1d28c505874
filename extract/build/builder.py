"""A visit and its ears, put together from their parts.

Components before this only annotate; here the record is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from spacy.tokens import Doc

from extract.build.background import background
from extract.build.complications import complications
from extract.build.findings import after, before
from extract.build.procedure import METHOD_OF, procedure
from extract.build.values import Values, or_none
from extract.ears_in_hand import EarEntry
from extract.lengths import Piece, removed_pieces
from extract.mentions import Mention, characters
from extract.notices import notices
from extract.plan import advised, agent_use, recalls, referrals
from extract.second_reading import weigh
from shared.record import Ear, Extent, Outcome, Plan, Recall, Referral, Value, Visit
from shared.transcript import Transcript


class Builder:
    """Writes the visits of one Doc. transcript: gives each value its seconds and its confidence. other: the
    visits as read from a second hearing, if there was one."""

    def __init__(self, doc: Doc, transcript: Transcript, other: Sequence[Visit] | None = None) -> None:
        self.doc, self.transcript, self.other = doc, transcript, other
        self.values = Values(doc, transcript)
        self.words, self.mentions = self.values.words, self.values.mentions

    def visits(self) -> list[Visit]:
        """All visits with something in them, in the order spoken."""
        out: list[Visit] = []
        for number, (_, confidence) in enumerate(self.doc._.visit_starts or []):
            mine = [m for m in self.mentions if m.visit == number]
            visit = self._visit(mine, self.doc._.ears.get(number, []))
            if visit.plain():
                visit.extent = self._extent(number, confidence)
                if self.other is not None:
                    same = self.other[len(out)].plain() if len(out) < len(self.other) else {}
                    weigh(visit, same, self.transcript, self.values.caps)
                visit.notices = notices(visit, self.doc, number, self.transcript)
                out.append(visit)
        return out

    def _extent(self, number: int, confidence: float) -> Extent:
        starts = [s for s, _ in self.doc._.visit_starts]
        first = self.words.bounds[starts[number]][0]
        last = (
            self.words.bounds[starts[number + 1]][0] - 1
            if number + 1 < len(starts)
            else len(self.words.text) - 1
        )
        chars = characters(self.doc, first, last + 1)
        return Extent(chars=chars, seconds=self.transcript.seconds(*chars), confidence=confidence)

    def _visit(self, mine: list[Mention], ears: list[EarEntry]) -> Visit:
        live = [m for m in mine if m.live]
        visit = Visit()
        reference = next((m for m in reversed(live) if m.kind == "reference"), None)
        if reference is not None:
            visit.patient_reference = self.values.value(reference, reference.value)
        uses = agent_use(self.words, live, self.doc._.courses)
        visit.background = background(self.values, live, uses)
        pieces, total = removed_pieces(self.words, live)
        visit.ears = [
            e for i, entry in enumerate(ears) if (e := self._ear(i, entry, live, uses, pieces)) is not None
        ]
        if total is not None:
            visit.removed_total_mm = self.values.value(total.mention, total.mm)
        hearing = [
            m
            for m in live
            if m.kind == "hearing_outcome" and m.polarity != "denied" and self.values.working(m)
        ]
        if hearing:
            visit.outcome = Outcome(hearing=self.values.value(hearing[-1], hearing[-1].value))
        visit.plan = self._plan(live, uses)
        return visit

    def _ear(
        self, index: int, entry: EarEntry, live: list[Mention], uses: dict[int, str], pieces: list[Piece]
    ) -> Ear | None:
        mine = [m for m in live if index in self._ears_of(m, live)]
        removed = [p for p in pieces if index in p.ears]
        was, left = before(self.values, mine, live, index), after(self.values, mine)
        done = procedure(self.values, mine, uses)
        ear = Ear(
            side=self._side(entry, mine),
            before=or_none(was),
            procedure=or_none(done),
            after=or_none(left),
            removed_mm=[self.values.value(p.mention, p.mm) for p in removed],
        )
        complications(self.values, ear, mine)
        return ear if set(ear.model_dump(exclude_defaults=True)) - {"side"} else None

    def _ears_of(self, m: Mention, live: list[Mention]) -> tuple[int, ...]:
        """The ears of a mention; how it was borne goes to the ear worked on, not to one only looked at."""
        if m.kind != "tolerance" or len(m.ears) != 1:
            return m.ears
        worked = {
            i
            for o in live
            if o.kind == "method" or (o.kind == "instrument" and o.value in METHOD_OF)
            for i in o.ears
        }
        return tuple(sorted(worked)) if len(worked) == 1 and m.ears[0] not in worked else m.ears

    def _side(self, entry: EarEntry, mine: list[Mention]) -> Value[Any]:
        if entry.named_by is not None:
            inferred = entry.named_by.readings.get("ear_cue") != entry.side
            return self.values.value(entry.named_by, entry.side, "inferred" if inferred else "heard")
        first = mine[0] if mine else None
        if first is None:
            return Value(value="unstated", origin="entered")
        value = self.values.value(first, "unstated", "inferred")
        value.certainty = "stated"
        return value

    def _plan(self, live: list[Mention], uses: dict[int, str]) -> Plan | None:
        plan = Plan()
        given = [m for m in live if m.kind == "advice" and advised(self.words, m)]
        refused = {(m.value, self.words.sentence[m.start]) for m in given if m.polarity == "denied"}
        advice = [(m, m.value) for m in given if (m.value, self.words.sentence[m.start]) not in refused]
        advice += [(m, "olive_oil") for m in live if uses.get(id(m)) == "advice"]
        for m, value in sorted(advice, key=lambda x: x[0].start):
            if value not in [v.value for v in plan.advice]:
                plan.advice.append(self.values.value(m, value))
        due = recalls(self.words, live)
        if due:
            m = due[-1]
            if m.measure is not None:
                unit = self.values.value(replace(m, polarity="affirmed"), m.measure.unit)
                plan.recall = Recall(number=self.values.value(m, m.measure.whole), unit=unit)
        to = referrals(self.words, live, self.doc._.courses)
        if to is not None:
            m, urgency = to
            plan.referral = Referral(
                to=self.values.value(m, m.value),
                urgency=self.values.value(urgency, urgency.value) if urgency is not None else None,
            )
        return or_none(plan)
