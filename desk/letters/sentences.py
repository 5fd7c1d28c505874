"""A visit in complete sentences, each with the values behind it: the one source of every letter.

Nothing is said that the record does not hold. A doubtful value is "possibly" so, a denied one is said not to
be there, an ear whose side nobody named is called that. No sentence joins what the record does not join:
a referral and a finding stand side by side, and which is the reason for which is left to the reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from desk.letters import phrases
from desk.lines import clean, plain
from shared.record import After, Before, Ear, Instrument, Procedure, SidedHistory, SidedSymptom, Value, Visit

Said = Value[Any]


@dataclass(frozen=True)
class Sentence:
    """One sentence. paths: the values it rests on, as `Visit.values` names them; none if it states what the
    record leaves open."""

    text: str
    paths: tuple[str, ...] = ()


@dataclass(frozen=True)
class Paragraph:
    """Sentences that belong together, under a heading."""

    heading: str
    sentences: tuple[Sentence, ...]

    @property
    def text(self) -> str:
        """The sentences in a row."""
        return " ".join(s.text for s in self.sentences)


def letter(visit: Visit, to: str) -> list[Paragraph]:
    """The paragraphs of a letter to "gp" or "ent": why it is written first, then each ear, then the plan."""
    tell = _Teller(visit)
    parts = [("Reason for this letter", [*tell.referral(to), *tell.complaint()])]
    parts += [("Background", list(tell.background()))]
    unnamed = 0
    for number, ear in enumerate(visit.ears):
        unnamed += ear.side.value == "unstated"
        parts.append((_heading(ear, unnamed), list(tell.ear(f"ears[{number}]", ear, again=unnamed > 1))))
    parts += [("Outcome and plan", list(tell.outcome()))]
    return [Paragraph(heading, tuple(said)) for heading, said in parts if said]


def _heading(ear: Ear, unnamed: int) -> str:
    if ear.side.value == "unstated":
        return "Ear, side not stated" + (f" ({unnamed})" if unnamed > 1 else "")
    doubt = ", possibly" if ear.side.certainty == "possible" else ""
    return f"{ear.side.value.capitalize()} ear{doubt}"


class _Teller:
    """Makes the sentences of one visit. Values are told apart by identity, as equal ones may stand twice."""

    def __init__(self, visit: Visit) -> None:
        self.visit = visit
        self.paths = {id(value): path for path, value in visit.values()}

    def _say(self, text: str, *behind: Said | None) -> Sentence:
        paths = tuple(self.paths[id(v)] for v in behind if v is not None)
        return Sentence(f"{text[0].upper()}{text[1:]}.", paths)

    def referral(self, to: str) -> Iterator[Sentence]:
        """To whom the patient is referred, or that it was not said."""
        found = self.visit.plan.referral if self.visit.plan else None
        if not found:
            yield Sentence("This letter reports on a visit for ear care. No referral was recorded.")
            return
        whom = phrases.ADDRESSEES[found.to.value]
        how = f", {_maybe(found.urgency)}{_urgency(found.urgency)}" if found.urgency else ""
        yield self._say(f"The patient is {_maybe(found.to)}referred to {whom}{how}", found.to, found.urgency)
        if found.to.value != to:
            yield Sentence("This letter is a report for your information.")

    def complaint(self) -> Iterator[Sentence]:
        """What troubled the patient, and what did not."""
        if not (ground := self.visit.background):
            return
        if ground.symptoms:
            yield self._say(
                f"The patient reported {_list([_sided(s, 'symptoms') for s in ground.symptoms])}",
                *(v for s in ground.symptoms for v in (s.item, s.side)),
            )
        if ground.symptoms_denied:
            yield self._say(f"{_denied('the patient reported', ground.symptoms_denied, 'symptoms')}",
                            *ground.symptoms_denied)  # fmt: skip

    def background(self) -> Iterator[Sentence]:
        """Consent, history, what was used at home."""
        if not (ground := self.visit.background):
            return
        if ground.history:
            yield self._say(
                f"The history includes {_list([_sided(h, 'history') for h in ground.history])}",
                *(v for h in ground.history for v in (h.item, h.side)),
            )
        if ground.history_denied:
            yield self._say(_denied("there is", ground.history_denied, "history", "history of "),
                            *ground.history_denied)  # fmt: skip
        if softener := ground.softener:
            agent, days = softener.agent, softener.days
            what = f"{_maybe(agent)}{plain(agent, '')}" if agent else "a softener that was not named"
            long = f" for {_maybe(days)}{_count(days.value, 'day')}" if days else ""
            if agent or days:
                yield self._say(f"Before the visit {what} was used at home{long}", agent, days)
        if consent := ground.consent:
            yield self._say(f"Consent was {_maybe(consent)}{consent.value}", consent)

    def ear(self, place: str, ear: Ear, *, again: bool) -> Iterator[Sentence]:
        """All of one ear; the first sentence names it."""
        name = phrases.SIDES[ear.side.value]
        name = name.replace("an ear", "another ear") if again else name
        name = f"what was possibly {name}" if ear.side.certainty == "possible" else name
        found = [*self._before(ear.before), *self._done(ear.procedure), *self._removed(ear)]
        found += [*self._after(ear.after), *self._complications(ear)]
        if not found:
            yield self._say(f"Nothing more was recorded of {name}", ear.side)
            return
        first, *rest = found
        yield Sentence(f"In {name}, {first.text[0].lower()}{first.text[1:]}", (f"{place}.side", *first.paths))
        yield from rest

    def _before(self, look: Before | None) -> Iterator[Sentence]:
        if look is None:
            return
        blocked, percent = look.occlusion, look.occlusion_percent
        if blocked:
            much = f" ({_maybe(percent)}{percent.value} %)" if percent else ""
            state = phrases.OCCLUSION[blocked.value]
            yield self._say(f"The canal was {_maybe(blocked)}{state}{much} at first", blocked, percent)
        elif percent:
            yield self._say(f"The canal was {_maybe(percent)}{percent.value} % blocked at first", percent)
        for wax in look.wax:
            layer = phrases.LAYERS.get(wax.where.value, "the wax")
            subject = f"what was possibly {layer}" if wax.where.certainty == "possible" else layer
            kinds: list[Said] = [*wax.consistency, *wax.colour]
            told = _values(kinds, "wax") if kinds else "seen"
            yield self._say(f"{subject} was {told}", wax.where, *kinds)
        if look.depth:
            places = _list([f"{_maybe(v)}{phrases.DEPTH[v.value]}" for v in look.depth])
            yield self._say(f"The wax lay {places}", *look.depth)
        if body := look.foreign_body:
            what = phrases.THINGS["foreign_body"][body.value]
            yield self._say(f"There was {_maybe(body)}a foreign body: {what}", body)
        yield from self._looks(look, "at first")

    def _after(self, look: After | None) -> Iterator[Sentence]:
        if look is None:
            return
        if cleared := look.clearance:
            yield self._say(f"The ear was {_maybe(cleared)}{phrases.CLEARANCE[cleared.value]}", cleared)
        yield from self._looks(look, "afterwards")

    def _looks(self, look: Before | After, when: str) -> Iterator[Sentence]:
        parts = (("canal", "the canal", "in the canal"), ("skin", "the skin of the canal", "on the skin of the canal"),
                 ("drum", "the eardrum", "at the eardrum"))  # fmt: skip
        for field, subject, where in parts:
            found: list[Said] = getattr(look, field)
            looks = [v for v in found if v.value in phrases.LOOKS[field]]
            things = [v for v in found if v.value not in phrases.LOOKS[field]]
            if looks:
                yield self._say(f"{when}, {subject} was {_values(looks, f'{field}_look')}", *looks)
            if things:
                yield self._say(f"{when}, there was {_values(things, field)} {where}", *things)

    def _done(self, done: Procedure | None) -> Iterator[Sentence]:
        if done is None:
            return
        if done.methods:
            word = "method was" if len(done.methods) == 1 else "methods were"
            yield self._say(f"The {word} {_values(done.methods, 'methods')}", *done.methods)
        if done.instruments:
            used = _list([_instrument(i) for i in done.instruments])
            word = "instrument used was" if len(done.instruments) == 1 else "instruments used were"
            yield self._say(f"The {word} {used}",
                            *(v for i in done.instruments for v in (i.name, i.size)))  # fmt: skip
        if done.agents:
            yield self._say(f"Put into the ear: {_values(done.agents, '')}", *done.agents)
        if bore := done.tolerance:
            doubt = "possibly " if bore.certainty == "possible" else ""
            yield self._say(f"The patient {doubt}{phrases.TOLERANCE[bore.value]}", bore)

    def _removed(self, ear: Ear) -> Iterator[Sentence]:
        if pieces := ear.removed_mm:
            lengths = _list([f"{_maybe(v)}{v.value} mm" for v in pieces])
            word = "piece removed was" if len(pieces) == 1 else "pieces removed were"
            yield self._say(f"The {word} {lengths} long", *pieces)

    def _complications(self, ear: Ear) -> Iterator[Sentence]:
        happened = [v for v in ear.complications if v.value != "none"]
        if happened:
            yield self._say(f"During the procedure there was {_values(happened, 'complications')}", *happened)
        for none in (v for v in ear.complications if v.value == "none"):
            others = "no other complications" if happened else "no complications"
            yield self._say(f"There were {_maybe(none)}{others}", none)
        if denied := ear.complications_denied:
            yield self._say(_denied("there was", denied, "complications"), *denied)

    def outcome(self) -> Iterator[Sentence]:
        """How it ended, and what is to happen."""
        if total := self.visit.removed_total_mm:
            yield self._say(f"The total length removed was {_maybe(total)}{total.value} mm", total)
        if self.visit.outcome and (hearing := self.visit.outcome.hearing):
            yield self._say(
                f"Hearing afterwards was {_maybe(hearing)}{phrases.HEARING[hearing.value]}", hearing
            )
        if not (plan := self.visit.plan):
            return
        if told := [v for v in plan.advice if v.value != "leaflet_given"]:
            yield self._say(f"The patient was advised {_values(told, 'advice')}", *told)
        for leaflet in (v for v in plan.advice if v.value == "leaflet_given"):
            yield self._say(f"A leaflet was {_maybe(leaflet)}given", leaflet)
        if plan.recall:
            number, unit = plan.recall.number, plan.recall.unit
            doubt = "possibly " if "possible" in (number.certainty, unit.certainty) else ""
            time = _count(number.value, unit.value.removesuffix("s"))
            yield self._say(f"The patient is to be seen again {doubt}in {time}", number, unit)


def _maybe(value: Said) -> str:
    return "possibly " if value.certainty == "possible" else ""


def _thing(value: Said, field: str) -> str:
    return phrases.THINGS.get(field, {}).get(value.value) or plain(value, "")


def _values(values: Sequence[Said], field: str) -> str:
    return _list([f"{_maybe(v)}{_thing(v, field)}" for v in values])


def _sided(found: SidedSymptom | SidedHistory, field: str) -> str:
    item: Said = found.item
    side: Said | None = found.side
    where = f" {_maybe(side)}{phrases.CONCERNED[side.value]}" if side else ""
    return f"{_maybe(item)}{_thing(item, field)}{where}"


def _instrument(used: Instrument) -> str:
    size = f" ({_maybe(used.size)}{clean(used.size.value)})" if used.size else ""
    return f"{_maybe(used.name)}{_thing(used.name, 'instruments')}{size}"


def _denied(opening: str, values: Sequence[Said], field: str, of: str = "") -> str:
    """That something is not there; each with its own "no", so that none can be read as present."""
    bare = [(_maybe(v), _thing(v, field)) for v in values]
    nots = [f"{maybe}no {of}{_bare(thing)}" for maybe, thing in bare]
    return f"{opening} {_list(nots)}"


def _bare(thing: str) -> str:
    return thing.removeprefix("a ").removeprefix("an ")


def _urgency(value: Said) -> str:
    words: Mapping[str, str] = {"urgent": "urgently", "routine": "routinely"}
    return words[value.value]


def _count(number: int, unit: str) -> str:
    return f"{number} {unit}{'' if number == 1 else 's'}"


def _list(items: Sequence[str]) -> str:
    """Items as English joins them, the last by "and"."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"
