"""The last step: from settled mentions to the visit records.

Components before this only annotate; here the record is written, each value with its words, place and time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from pydantic import BaseModel
from spacy.tokens import Doc

from extract.ears_in_hand import EarEntry
from extract.lengths import Piece, removed_pieces
from extract.mentions import Mention, characters, quoted
from extract.notices import notices
from extract.plan import advised, agent_use, recalls, referrals, softener_days
from extract.second_reading import weigh
from extract.words import STOPS, Words
from shared.record import (
    After,
    Background,
    Before,
    Ear,
    Extent,
    Instrument,
    Outcome,
    Plan,
    Procedure,
    Recall,
    Referral,
    SidedHistory,
    SidedSymptom,
    Softener,
    Value,
    Visit,
    Wax,
)
from shared.transcript import Transcript

_METHOD_OF = {
    "suction_tube": "microsuction",
    "fine_suction_tube": "microsuction",
    "jobson_horne_probe": "manual",
    "crocodile_forceps": "manual",
    "aural_forceps": "manual",
    "wax_hook": "manual",
    "curette": "manual",
    "grommet_inserter": "manual",
    "irrigator": "irrigation",
}
_REPAIRED = 0.55
"""Confidence of a value whose words were repaired, at most."""
_POSSIBLE = 0.8
"""Confidence of a value said with doubt, at most."""
_TOLERANCE = ("well", "with_discomfort", "stopped_early")
Part = TypeVar("Part", bound=BaseModel)
_DENIABLE = frozenset(
    {"bleeding", "pain", "dizziness", "cough", "faint", "abrasion", "tinnitus", "perforation"}
)


class Builder:
    """Writes the visits of one Doc. transcript: gives each value its seconds and its confidence. other: the
    visits as read from a second hearing, if there was one."""

    def __init__(self, doc: Doc, transcript: Transcript, other: Sequence[Visit] | None = None) -> None:
        self.doc, self.transcript, self.other = doc, transcript, other
        self._caps: dict[tuple[int, int], float] = {}
        self.words: Words = doc._.words
        self.mentions: list[Mention] = doc._.mentions

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
                    weigh(visit, same, self.transcript, self._caps)
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

    def value(self, m: Mention, value: Any, origin: str = "heard") -> Value[Any]:
        """A value with the evidence of its mention."""
        chars = quoted(self.doc, m)
        heard = self.transcript.probability(*chars)
        cap = _POSSIBLE if m.polarity == "possible" else 1.0
        if any(i in self.words.repairs for i in range(m.start, m.end)):
            cap = _REPAIRED
        self._caps[chars] = min(cap, self._caps.get(chars, 1.0))
        return Value(
            value=value,
            certainty="possible" if m.polarity == "possible" else "stated",
            origin=origin,
            heard=self.transcript.text[chars[0] : chars[1]],
            chars=chars,
            seconds=self.transcript.seconds(*chars),
            confidence=round(min(heard if heard is not None else 0.95, cap), 3),
        )

    def _visit(self, mine: list[Mention], ears: list[EarEntry]) -> Visit:
        live = [m for m in mine if m.live]
        visit = Visit()
        reference = next((m for m in reversed(live) if m.kind == "reference"), None)
        if reference is not None:
            visit.patient_reference = self.value(reference, reference.value)
        uses = agent_use(self.words, live, self.doc._.courses)
        visit.background = self._background(live, uses)
        pieces, total = removed_pieces(self.words, live)
        visit.ears = [
            e for i, entry in enumerate(ears) if (e := self._ear(i, entry, live, uses, pieces)) is not None
        ]
        if total is not None:
            visit.removed_total_mm = self.value(total.mention, total.mm)
        hearing = [
            m for m in live if m.kind == "hearing_outcome" and m.polarity != "denied" and self._working(m)
        ]
        if hearing:
            visit.outcome = Outcome(hearing=self.value(hearing[-1], hearing[-1].value))
        visit.plan = self._plan(live, uses)
        return visit

    def _working(self, m: Mention) -> bool:
        course = self.doc._.courses.get(m.visit)
        return course is not None and course.work is not None and self.words.sentence[m.start] >= course.work

    def _background(self, live: list[Mention], uses: dict[int, str]) -> Background | None:
        back = Background()
        consent = [
            m for m in live if m.kind == "consent" and (m.polarity != "denied" or m.value == "declined")
        ]
        if consent:
            declined = [m for m in consent if m.value == "declined" and not self._of_something_else(m, live)]
            given = [m for m in consent if m.value != "declined"]
            if declined or given:
                chosen = declined[-1] if declined else given[0]
                back.consent = self.value(chosen, chosen.value)
        for m, by in self._told(live, "symptom", back.symptoms_denied):
            side = self.value(by, m.side) if by is not None else None
            back.symptoms.append(SidedSymptom(item=self.value(m, m.value), side=side))
        for m, by in self._told(live, "history", back.history_denied):
            side = self.value(by, m.side) if by is not None else None
            back.history.append(SidedHistory(item=self.value(m, m.value), side=side))
        softeners = [m for m in live if uses.get(id(m)) == "softener"]
        if softeners:
            days = softener_days(self.words, softeners, live)
            back.softener = Softener(
                agent=self.value(softeners[-1], softeners[-1].value),
                days=self.value(days[0], days[1]) if days is not None else None,
            )
        return back if back.model_dump(exclude_defaults=True) else None

    def _of_something_else(self, m: Mention, live: list[Mention]) -> bool:
        """Whether a referral or a test was declined, not the treatment ("I offered audiology but he declined")."""
        here = [o for o in live if self.words.sentence[o.start] == self.words.sentence[m.start]]
        return self._working(m) and any(o.kind in ("referral", "advice") and o.end <= m.start for o in here)

    def _told(
        self, live: list[Mention], kind: str, denied: list[Value[Any]]
    ) -> list[tuple[Mention, Mention | None]]:
        """The symptoms or history affirmed, each with the mention of its side; what was denied goes to `denied`."""
        said = self._without_taken_back([m for m in live if m.kind == kind])
        affirmed = {m.value for m in said if m.polarity != "denied"}
        if "first_removal" in affirmed:
            said = [m for m in said if m.value != "previous_removal"]
        out: list[tuple[Mention, Mention | None]] = []
        for m in _first_of_each(said, lambda m: (m.value, m.polarity == "denied")):
            if m.polarity != "denied":
                sided = next(
                    (x for x in said if x.value == m.value and x.side and x.polarity != "denied"), None
                )
                if sided is not None:
                    m.side = sided.side
                out.append((m, (sided.linked[0] if sided.linked else sided) if sided is not None else None))
            elif m.value not in affirmed:
                denied.append(self.value(m, m.value))
        return out

    def _ear(
        self, index: int, entry: EarEntry, live: list[Mention], uses: dict[int, str], pieces: list[Piece]
    ) -> Ear | None:
        mine = [m for m in live if index in self._ears_of(m, live)]
        removed = [p for p in pieces if index in p.ears]
        before, after = self._before(mine, live, index), self._after(mine)
        procedure = self._procedure(mine, uses)
        ear = Ear(
            side=self._side(entry, mine),
            before=_or_none(before),
            procedure=_or_none(procedure),
            after=_or_none(after),
            removed_mm=[self.value(p.mention, p.mm) for p in removed],
        )
        self._complications(ear, mine)
        return ear if set(ear.model_dump(exclude_defaults=True)) - {"side"} else None

    def _ears_of(self, m: Mention, live: list[Mention]) -> tuple[int, ...]:
        """The ears of a mention; how it was borne goes to the ear worked on, not to one only looked at."""
        if m.kind != "tolerance" or len(m.ears) != 1:
            return m.ears
        worked = {
            i
            for o in live
            if o.kind == "method" or (o.kind == "instrument" and o.value in _METHOD_OF)
            for i in o.ears
        }
        return tuple(sorted(worked)) if len(worked) == 1 and m.ears[0] not in worked else m.ears

    def _side(self, entry: EarEntry, mine: list[Mention]) -> Value[Any]:
        if entry.named_by is not None:
            inferred = entry.named_by.readings.get("ear_cue") != entry.side
            return self.value(entry.named_by, entry.side, "inferred" if inferred else "heard")
        first = mine[0] if mine else None
        if first is None:
            return Value(value="unstated", origin="entered")
        value = self.value(first, "unstated", "inferred")
        value.certainty = "stated"
        return value

    def _before(self, mine: list[Mention], live: list[Mention], index: int) -> Before:
        before = Before()
        percent = [m for m in mine if m.kind == "percent" and _is_fill(self.words, m)]
        occlusion = [m for m in mine if m.kind == "occlusion" and m.polarity != "denied"]
        if percent:
            amount = percent[-1].measure.whole if percent[-1].measure is not None else 0
            before.occlusion_percent = self.value(percent[-1], amount)
            word = "none" if amount == 0 else "complete" if amount >= 100 else "partial"
            before.occlusion = self.value(percent[-1], word, "inferred")
        if occlusion and not (percent and before.occlusion_percent):
            before.occlusion = self.value(occlusion[-1], occlusion[-1].value)
        none_of_it = [m for m in mine if m.kind == "ellipsis" and m.value == "none" and self._is_of_wax(m)]
        if none_of_it and not occlusion and not percent:
            before.occlusion = self.value(none_of_it[0], "none")
        before.wax = self._wax(mine)
        if any(m.kind == "same" and self._compares_ears(m) for m in mine):
            before.wax = _completed(before.wax, self._copied_wax(mine, live, index))
        before.depth = self._list(m for m in mine if m.kind == "depth")
        foreign = [m for m in mine if m.kind == "foreign_body" and m.polarity != "denied"]
        if foreign:
            named = next((m for m in foreign if m.value != "other"), foreign[0])
            before.foreign_body = self.value(named, named.value)
        before.skin = self._list(m for m in mine if m.kind == "skin" and m.when == "before")
        before.canal = self._list(m for m in mine if m.kind == "canal" and m.when == "before")
        before.drum = self._drum(mine, "before")
        return before

    def _after(self, mine: list[Mention]) -> After:
        after = After()
        cleared = [m for m in mine if m.kind == "clearance"]
        if cleared:
            value = cleared[-1].value
            if cleared[-1].polarity == "denied":
                value = {"complete": "partial", "partial": "complete"}.get(value, value)
            after.clearance = self.value(cleared[-1], value)
        after.drum = self._drum(mine, "after")
        after.canal = self._list(m for m in mine if m.kind == "canal" and m.when == "after")
        after.skin = self._list(m for m in mine if m.kind == "skin" and m.when == "after")
        return after

    def _drum(self, mine: list[Mention], when: str) -> list[Value[Any]]:
        return self._list(m for m in mine if m.kind in ("drum", "not_seen") and m.when == when)

    def _wax(self, mine: list[Mention]) -> list[Wax]:
        entries: dict[str, Wax] = {}
        said = [m for m in mine if m.kind in ("consistency", "colour") and m.polarity != "denied"]
        for m in _first_of_each(said, lambda m: (m.layer, m.kind, m.value)):
            layer = m.layer or "whole"
            entry = entries.get(layer)
            if entry is None:
                entry = entries[layer] = Wax(where=self.value(m, layer, "heard" if m.layer else "inferred"))
                entry.where.certainty = "stated"
            getattr(entry, m.kind).append(self.value(m, m.value))
        return list(entries.values())

    def _compares_ears(self, m: Mention) -> bool:
        """Whether "the same" speaks of the other ear or of wax."""
        here = [o for o in self.mentions if self.words.sentence[o.start] == self.words.sentence[m.start]]
        if any(o.kind == "hearing_outcome" for o in here):
            return False
        return (
            m.value == "as_other"
            or len(self.doc._.ears.get(m.visit, [])) > 1
            or any(o.has("ear_cue") or o.readings.get("head") == "wax" for o in here)
        )

    def _copied_wax(self, mine: list[Mention], live: list[Mention], index: int) -> list[Wax]:
        same = next(m for m in mine if m.kind == "same")
        other = [m for m in live if m.ears and index not in m.ears and m.start < same.start]
        copied = self._wax(other)
        for entry in copied:
            values: list[Value[Any]] = [entry.where, *entry.consistency, *entry.colour]
            for v in values:
                v.origin = "inferred"
        return copied

    def _procedure(self, mine: list[Mention], uses: dict[int, str]) -> Procedure:
        procedure = Procedure()
        used = [m for m in mine if m.kind == "instrument" and m.polarity != "denied"]
        fine = next((m.start for m in used if m.value == "fine_suction_tube"), None)
        if fine is not None:
            used = [m for m in used if m.start < fine or self.words.text[m.start : m.end] != ["tube"]]
        methods = [(m, m.value, "heard") for m in mine if m.kind == "method" and m.polarity != "denied"]
        methods += [(m, _METHOD_OF[m.value], "inferred") for m in used if m.value in _METHOD_OF]
        certain = {method for m, method, _ in methods if m.polarity != "possible"}
        for m, method, origin in sorted(methods, key=lambda x: x[0].start):
            if m.polarity == "possible" and method in certain:
                continue
            if method not in [v.value for v in procedure.methods]:
                procedure.methods.append(self.value(m, method, origin))
        for m in _first_of_each(used, lambda m: m.value):
            procedure.instruments.append(
                Instrument(name=self.value(m, m.value), size=self._size(m, used, mine))
            )
        agents = [m for m in mine if uses.get(id(m)) == "procedure"]
        procedure.agents = self._list(agents)
        if any(m.value == "water" and uses.get(id(m)) == "procedure" for m in agents) and not any(
            v.value == "irrigation" for v in procedure.methods
        ):
            water = next(m for m in agents if m.value == "water")
            procedure.methods.append(self.value(water, "irrigation", "inferred"))
        borne = [m for m in mine if m.kind == "tolerance" and m.polarity != "denied"]
        if borne:
            worst = max(borne, key=lambda m: (_TOLERANCE.index(m.value), m.start))
            procedure.tolerance = self.value(worst, worst.value)
        return procedure

    def _size(self, m: Mention, used: list[Mention], mine: list[Mention]) -> Value[Any] | None:
        """The size said nearest to this instrument, if no other instrument is nearer."""
        named = [u for u in used if u.value == m.value]
        bored = m.value in ("suction_tube", "fine_suction_tube")
        for size in (x for x in mine if x.kind == "size"):
            if str(size.value).endswith(("G", "Fr")) and not bored:
                continue  # gauge and French are bores
            if size.linked and size.linked[0].kind == "instrument":
                if size.linked[0].value == m.value:
                    return self.value(size, size.value)
                continue
            here = [
                u for u in used if self.words.sentence[u.start] == self.words.sentence[size.start]
            ] or used
            nearest = min(
                here, key=lambda u: (min(abs(u.start - size.end), abs(size.start - u.end)), -u.start)
            )
            if nearest in named and min(abs(nearest.start - size.end), abs(size.start - nearest.end)) <= 12:
                return self.value(size, size.value)
        return None

    def _complications(self, ear: Ear, mine: list[Mention]) -> None:
        said = [m for m in mine if m.kind == "complication"]
        said += self._said_again(mine)
        denied = [m for m in said if m.polarity == "denied"]
        ear.complications = self._list(m for m in self._without_taken_back(said) if m.polarity != "denied")
        kept = {v.value for v in ear.complications}
        ear.complications_denied = [
            self.value(m, m.value)
            for m in _first_of_each(denied, lambda m: m.value)
            if m.value not in kept and m.value in _DENIABLE
        ]

    def _said_again(self, mine: list[Mention]) -> list[Mention]:
        """ "None on the left" or "a little from the second", after a complication of the other ear."""
        sentence = self.words.sentence
        cues = {m.start for m in self.mentions if m.has("ear_cue")}
        out = []
        for again in (m for m in mine if m.kind == "ellipsis"):
            none = again.value == "none"
            if none and self._is_of_wax(again):
                continue
            before = [
                m
                for m in self.mentions
                if m.kind == "complication" and m.live and m.start < again.start and m.visit == again.visit
            ]
            if not before or sentence[again.start] - sentence[before[-1].start] > (2 if none else 0):
                continue
            if none or cues & {again.end - 1, again.end, again.end + 1}:
                polarity = "denied" if none else "affirmed"
                out.append(replace(again, kind="complication", value=before[-1].value, polarity=polarity))
        return out

    def _is_of_wax(self, none: Mention) -> bool:
        """Whether "none on the right" goes on about wax ("hard wax on the left, none on the right")."""
        start, _ = self.words.bounds[self.words.sentence[none.start]]
        before = [m for m in self.mentions if start <= m.start < none.start and m.live]
        told = [m for m in before if m.kind in ("complication", "consistency", "colour") or m.value == "wax"]
        return bool(told) and told[-1].kind != "complication"

    def _without_taken_back(self, said: list[Mention]) -> list[Mention]:
        """Without what was affirmed and then, after a correction, denied ("that stings. No, it doesn't hurt")."""
        cues = [c.start for c in self.mentions if c.has("correction")]
        return [
            m
            for m in said
            if m.polarity == "denied"
            or not any(
                d.polarity == "denied"
                and d.value == m.value
                and any(m.start < c <= d.start for c in cues if d.start - m.start < 30)
                for d in said
            )
        ]

    def _plan(self, live: list[Mention], uses: dict[int, str]) -> Plan | None:
        plan = Plan()
        given = [m for m in live if m.kind == "advice" and advised(self.words, m)]
        refused = {(m.value, self.words.sentence[m.start]) for m in given if m.polarity == "denied"}
        advice = [(m, m.value) for m in given if (m.value, self.words.sentence[m.start]) not in refused]
        advice += [(m, "olive_oil") for m in live if uses.get(id(m)) == "advice"]
        for m, value in sorted(advice, key=lambda x: x[0].start):
            if value not in [v.value for v in plan.advice]:
                plan.advice.append(self.value(m, value))
        due = recalls(self.words, live)
        if due:
            m = due[-1]
            if m.measure is not None:
                plan.recall = Recall(
                    number=self.value(m, m.measure.whole), unit=self.value(m, m.measure.unit)
                )
        to = referrals(self.words, live, self.doc._.courses)
        if to is not None:
            m, urgency = to
            plan.referral = Referral(
                to=self.value(m, m.value),
                urgency=self.value(urgency, urgency.value) if urgency is not None else None,
            )
        return _or_none(plan)

    def _list(self, mentions: Iterable[Mention]) -> list[Value[Any]]:
        kept = [m for m in mentions if m.polarity != "denied" or m.kind == "not_seen"]
        out = []
        for m in _first_of_each(kept, lambda m: "not_seen" if m.kind == "not_seen" else m.value):
            out.append(self.value(m, "not_seen" if m.kind == "not_seen" else m.value))
        return out


def _completed(own: list[Wax], copied: list[Wax]) -> list[Wax]:
    """An ear's own wax with what another's gives it: all of it, or the consistency or colour that was not said."""
    if not own or len(own) != 1 or len(copied) != 1 or own[0].where.value != copied[0].where.value:
        return own or copied
    own[0].consistency = own[0].consistency or copied[0].consistency
    own[0].colour = own[0].colour or copied[0].colour
    return own


def _is_fill(words: Words, m: Mention) -> bool:
    """Whether a percentage tells how full the canal is, not how much came out or how well somebody hears."""
    after = words.text[m.end : m.end + 5]
    after = after[1:] if after[:1] == [","] else after[:4]
    stop = next((i for i, w in enumerate(after) if w in STOPS or w == "all"), len(after))
    after = after[:stop]
    if after[:1] == ["out"] and after[1:2] and after[1] in ("at", "near", "by", "towards"):
        return True
    return not any(
        w
        in (
            "out",
            "removed",
            "better",
            "gone",
            "chance",
            "people",
            "patients",
            "sure",
            "clear",
            "cleared",
            "hearing",
        )
        for w in after
    )


def _first_of_each(mentions: list[Mention], key: Callable[[Mention], Any]) -> list[Mention]:
    """The first mention of each key; a certain one stands before a doubtful one."""
    chosen: dict[Any, Mention] = {}
    for m in mentions:
        old = chosen.get(key(m))
        if old is None:
            chosen[key(m)] = m
        elif old.polarity == "possible" and m.polarity == "affirmed":
            old.polarity = "affirmed"
    return list(chosen.values())


def _or_none(part: Part) -> Part | None:
    return part if part.model_dump(exclude_defaults=True) else None
