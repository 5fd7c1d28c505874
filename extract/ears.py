"""Which ear each thing is said of.

The side is never guessed. An ear is named (right, left), counted (the other one), pointed at (this ear) or carried on
from the sentence before; ears whose side nobody said stay `unstated`, each an entry of its own.
`Doc._.ears` lists, for each visit, its ears as [side, mention that named it].
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

from spacy.language import Language
from spacy.tokens import Doc

from extract.mentions import Mention
from extract.subjects import REMOVERS, Course
from extract.words import MARKS, Words
from shared.vocabulary import word_set

Doc.set_extension("ears", default=None, force=True)

OPPOSITE = {"right": "left", "left": "right"}
_OF_AN_EAR = frozenset(
    {
        "consistency",
        "colour",
        "occlusion",
        "percent",
        "depth",
        "skin",
        "canal",
        "foreign_body",
        "drum",
        "method",
        "instrument",
        "agent",
        "size",
        "tolerance",
        "clearance",
        "length",
        "complication",
        "not_seen",
        "removal",
        "same",
        "ellipsis",
    }
)
_OF_THE_PATIENT = frozenset({"symptom", "history", "consent"})
_NOT_A_PLACE = word_set("ears", "not_a_place")
_VERBS = word_set("ears", "verbs")
_SEEN = frozenset({"skin", "canal", "drum", "complication", "foreign_body", "consistency", "symptom"})
_PURPOSE = word_set("ears", "purpose")
_ROOM = word_set("ears", "room")
_DONE = word_set("ears", "done")


@dataclass(slots=True)
class EarEntry:
    """One ear of a visit: its side and the mention that named it."""

    side: str
    named_by: Mention | None = None
    first: int = -1


@dataclass(slots=True)
class _State:
    ears: list[EarEntry] = field(default_factory=list)
    current: tuple[int, ...] = ()
    hinted: dict[str, Mention] = field(default_factory=dict)
    last_side: Mention | None = None
    clean: set[int] = field(default_factory=set)
    waxed: set[int] = field(default_factory=set)

    def named(self, side: str, by: Mention) -> int:
        for i, ear in enumerate(self.ears):
            if ear.side == side:
                return i
        self.ears.append(EarEntry(side, by, by.start))
        return len(self.ears) - 1

    def unstated(self, at: int) -> int:
        self.ears.append(EarEntry("unstated", None, at))
        return len(self.ears) - 1


@Language.component(
    "ears",
    requires=["doc._.mentions", "doc._.words", "doc._.courses"],
    assigns=["doc._.mentions", "doc._.ears"],
)
def ears(doc: Doc) -> Doc:
    """Give every mention its ear or ears, and symptoms and history their side."""
    words: Words = doc._.words
    doc._.mentions = _with_bare_sides(words, doc._.mentions)
    states: dict[int, _State] = {}
    by_sentence: dict[int, list[Mention]] = {}
    for m in doc._.mentions:
        by_sentence.setdefault(words.sentence[m.start], []).append(m)
    for sentence in sorted(by_sentence):
        mentions = by_sentence[sentence]
        state = states.setdefault(mentions[0].visit, _State())
        course = doc._.courses.get(mentions[0].visit, Course())
        _read_sentence(words, sentence, mentions, state, course)
    for visit, state in states.items():
        _join_tools_before_side([m for m in doc._.mentions if m.visit == visit], state)
    doc._.ears = {visit: state.ears for visit, state in states.items()}
    return doc


def _join_tools_before_side(mentions: list[Mention], state: _State) -> None:
    """Give tools taken up before the first ear is named ("Okay, suction's on. Left ear.") to that ear."""
    if len(state.ears) < 2 or state.ears[0].side != "unstated" or state.ears[1].side not in OPPOSITE:
        return
    first = [m for m in mentions if 0 in m.ears]
    if all(m.kind in ("method", "instrument", "agent", "removal", "size") for m in first):
        for m in first:
            m.ears = (1,)


def _with_bare_sides(words: Words, mentions: list[Mention]) -> list[Mention]:
    """Add the sides said with no noun at a sentence's start ("Left. No wax."; "Right, packed solid").

    "Right" alone is mostly "well then": it counts only where the visit names its left so, or both ears, and a
    finding follows at once.
    """
    row = words.text
    found: list[tuple[Mention, bool]] = []
    taken = {i for m in mentions if m.has("ear_cue", "noise") for i in range(m.start, m.end)}
    of_ear = [m for m in mentions if m.live and m.kind in _OF_AN_EAR]
    seen = {m.start for m in of_ear if m.kind in _SEEN_AT_ONCE}
    last = {m.end for m in of_ear if m.kind in _BEFORE_SIDE}
    for number, (begin, end) in enumerate(words.bounds):
        start = begin
        while start < end - 2 and row[start] in _LEADS:
            start += 1
        spots = [start] if end - start > 1 and row[start + 1] in _BARE_NEXT else []
        spots += [i for i in range(begin, end) if i in last and (i + 1 == end or row[i + 1] in MARKS)]
        for spot in spots:
            side = row[spot]
            visit = next((m.visit for m in mentions if words.sentence[m.start] >= number), -1)
            if side not in OPPOSITE or spot in taken or visit < 0:
                continue
            cue = Mention(spot, spot + 1, {"ear_cue": side}, kind="ear_cue", value=side, visit=visit)
            sure = side == "left" or spot in last
            if sure or any(spot < i <= spot + 6 for i in seen):
                found.append((cue, sure))
    lefts = {cue.visit for cue, _ in found if cue.value == "left"}
    kept = [cue for cue, sure in found if sure or cue.visit in lefts]
    return sorted([*mentions, *kept], key=lambda m: (m.start, -m.end)) if kept else mentions


_SEEN_AT_ONCE = frozenset({"percent", "occlusion", "consistency", "colour", "drum", "clearance", "depth"})
_LEADS = word_set("ears", "leads")
_BEFORE_SIDE = frozenset({"percent", "occlusion", "drum", "clearance", "length"})
_BARE_NEXT = word_set("ears", "bare_next")


def _read_sentence(
    words: Words, sentence: int, mentions: list[Mention], state: _State, course: Course
) -> None:
    cues = [m for m in mentions if m.has("ear_cue") and m.live and _is_cue(words, m, mentions)]
    if not any(m.live and m.kind in _OF_AN_EAR | _OF_THE_PATIENT for m in mentions):
        cues = [c for c in cues if _turns_to(words, c)]
    live = [m for m in mentions if m.live and m.kind]
    patient = [m for m in live if m.kind in _OF_THE_PATIENT]
    of_ear = [m for m in live if m.kind in _OF_AN_EAR]
    looking = course.exam is not None and sentence >= course.exam
    _set_aside_purposes(words, live)
    of_ear = [m for m in of_ear if m.live]
    _side_the_history(words, patient, live, cues, state)
    planned = any(m.kind in ("advice", "referral") for m in live) or (
        any(m.kind == "interval" for m in live) and any(m.has("recall_cue") for m in mentions)
    )
    plan_only = (
        planned
        and not patient
        and not any(
            m.kind in ("drum", "canal", "clearance", "length", "consistency", "complication", "occlusion")
            for m in of_ear
        )
    )
    for cue in cues:
        if cue.readings["ear_cue"] in OPPOSITE and not plan_only:
            state.last_side = cue
    if (
        (patient and not [m for m in of_ear if m.kind not in ("agent", "removal", "method")])
        or not looking
        or plan_only
    ):
        for cue in cues:
            side = cue.readings["ear_cue"]
            if side in OPPOSITE and not plan_only:
                state.hinted[side] = cue
                state.last_side = cue
        if not looking:
            of_ear = _left_inside(words, of_ear, cues, state)
        if not (of_ear and looking and not plan_only):
            if plan_only and not state.current and state.ears:
                state.current = (len(state.ears) - 1,)
            for m in of_ear:
                m.ears = state.current
            return
    _assign(words, of_ear, cues, state, sentence)


_NOT_OF_AN_EAR = frozenset(
    {"diabetes", "anticoagulants", "immunosuppressed", "cleft_palate", "head_neck_radiotherapy"}
)


def _both_in(row: list[str], m: Mention, cues: list[Mention]) -> bool:
    """Whether the sentence goes on "both in the left ear", of everything listed before."""
    if not cues or cues[-1].start < m.start or cues[-1].readings["ear_cue"] not in OPPOSITE:
        return False
    return "both" in row[max(cues[-1].start - 2, m.end) : cues[-1].start + 1]


def _of_it(row: list[str], m: Mention) -> bool:
    """Whether a point of history is said of the ear named before ("had the wax taken out of it")."""
    said = row[m.start : m.end + 3]
    return any(a in ("of", "in", "on") and b == "it" for a, b in itertools.pairwise(said))


def _left_inside(words: Words, of_ear: list[Mention], cues: list[Mention], state: _State) -> list[Mention]:
    """Give a thing the story says is in an ear ("a pea in his right ear") that ear at once; returns the others."""
    rest = []
    for m in of_ear:
        near = [c for c in cues if m.end <= c.start <= m.end + 3 and c.readings["ear_cue"] in OPPOSITE]
        if (
            m.kind == "foreign_body"
            and near
            and {"in", "down", "up", "inside"} & set(words.text[m.end : near[0].end])
        ):
            m.ears = (state.named(near[0].readings["ear_cue"], near[0]),)
        else:
            rest.append(m)
    return rest


def _stands_alone(words: Words, cue: Mention) -> bool:
    """Whether the part of a cue says nothing but where ("..., both sides, ...")."""
    part = words.part[cue.start]
    first = words.part.index(part)
    last = first
    while last < len(words.part) and words.part[last] == part:
        last += 1
    return last - first <= cue.end - cue.start + 3


def _set_aside_purposes(words: Words, live: list[Mention]) -> None:
    """What advice or a referral is for ("a drop of oil for the dry skin") is not seen anew."""
    plans = [m for m in live if m.kind in ("advice", "referral", "agent")]
    for m in live:
        if m.kind == "clearance" and any(p.value == "leaflet_given" for p in plans):
            m.aside = "said of a leaflet"
        if m.kind in _SEEN and any(
            p.end <= m.start
            and _PURPOSE & set(words.text[p.end : m.start])
            and (p.kind != "agent" or m.kind in ("skin", "canal"))
            for p in plans
        ):
            m.aside = "the reason for advice or referral"


def _turns_to(words: Words, cue: Mention) -> bool:
    """Whether a sentence with nothing else to record turns to an ear ("now let's look at the left") rather than
    mentioning one in passing ("tell him the right ear can wait")."""
    start, _ = words.bounds[words.sentence[cue.start]]
    return words.text[start] not in ("tell", "ask", "ring")


def _is_cue(words: Words, m: Mention, mentions: list[Mention]) -> bool:
    row = words.text
    side = m.readings["ear_cue"]
    following = row[m.end] if m.end < len(row) else ""
    if _ROOM & set(row[max(m.start - 3, 0) : m.end + 3]):
        return False
    said = row[m.start : m.end]
    if side in OPPOSITE and said[-1] in OPPOSITE and following in _NOT_A_PLACE:
        return False
    if (
        side == "right"
        and said[-1] == "right"
        and following in ("down", "up", "in", "on", "so", "then", "now")
    ):
        return False
    if any(
        o.has("same") and o.start <= m.start <= o.end + 3 and _only_joins(row, o.end, m.start)
        for o in mentions
    ):
        return False
    if side == "other" and "ear" not in said and "side" not in said:
        start = words.bounds[words.sentence[m.start]][0]
        lead = [
            w
            for w in row[start : m.start]
            if w
            not in (
                "right",
                "now",
                "so",
                "then",
                "and",
                ",",
                "okay",
                "the",
                "well",
                "on",
                "to",
                "in",
                "…",
                "over",
                "onto",
            )
        ]
        looked = row[m.start - 1] in ("in", "at", "to", "into", "on") and bool(
            {"look", "over", "back", "onto"} & set(lead)
        )
        if (lead and not looked) or any(
            o.kind == "length" and o.start - m.end < 6 for o in mentions if o.start > m.start
        ):
            return False
    if side == "both" and said == ["both"]:
        removed = row[m.end + 1 : m.end + 2] in (
            ["removed"],
            ["out"],
            ["came"],
            ["gone"],
            ["lifted"],
            ["extracted"],
        )
        return (following in _AFTER_BOTH or following in MARKS) and not removed
    return True


_AFTER_BOTH = word_set("ears", "after_both")


def _only_joins(row: list[str], a: int, b: int) -> bool:
    """Whether only "as on the" or the like stands between two places."""
    return all(w in ("as", "on", "in", "the", "for") for w in row[a:b])


def _side_the_history(
    words: Words, patient: list[Mention], live: list[Mention], cues: list[Mention], state: _State
) -> None:
    """Give symptoms and history the side said with them in the same part, or referred to by "it" or "that side"."""
    row = words.text
    previous: str = ""
    last = state.last_side.readings["ear_cue"] if state.last_side is not None else ""
    for m in patient:
        part = words.part[m.start]
        inside = [
            c
            for c in cues
            if words.part[c.start] == part or any(words.part[old.start] == part for old in c.linked)
        ]
        after = [
            c
            for c in cues
            if words.part[c.start] == part + 1
            and (_stands_alone(words, c) or not any(words.part[o.start] == part + 1 for o in live))
            and not any(words.part[o.start] == part + 1 for o in patient)
        ]
        chosen = inside or after
        side = ""
        if chosen:
            best = min(chosen, key=lambda c: abs(c.start - m.start))
            side = best.readings["ear_cue"]
            m.linked = [best]
        earlier = [
            c for c in cues if c.start < m.start and c.readings["ear_cue"] in ("right", "left", "both")
        ]
        if side in ("that", "this", "first"):
            side = earlier[-1].readings["ear_cue"] if earlier and earlier[-1] is not best else last
            m.linked = (
                [earlier[-1]]
                if earlier
                else [state.last_side]
                if state.last_side is not None and side
                else []
            )
        elif not side:
            low = max(i for i in range(m.start + 1) if i == 0 or words.part[i - 1] != part) if m.start else 0
            said = row[low : m.end + 5]
            own_subject = low > 0 and row[low] not in _VERBS
            if (
                m.kind == "history"
                and (row[low : low + 2] == ["and", "it"] or _of_it(row, m))
                and (earlier or last in OPPOSITE)
            ):
                by = earlier[-1] if earlier else state.last_side
                if by is not None and by.readings["ear_cue"] in OPPOSITE:
                    side, m.linked = by.readings["ear_cue"], [by]
            if (
                m.kind == "symptom"
                and m.value != "dizziness"
                and ("it" in said or said[-2:] == ["in", "there"] or (earlier and not own_subject))
                and (earlier or last in OPPOSITE)
            ):
                by = earlier[-1] if earlier else state.last_side
                if by is not None and by.readings["ear_cue"] in OPPOSITE:
                    side, m.linked = by.readings["ear_cue"], [by]
        if side == "other":
            side = OPPOSITE.get(previous or last, "")
        if not side and _both_in(row, m, cues):
            m.linked = [cues[-1]]
            side = cues[-1].readings["ear_cue"]
        m.side = side if side in ("right", "left", "both") and m.value not in _NOT_OF_AN_EAR else ""
        previous = m.side or previous
    for c in cues:
        if patient and c.readings["ear_cue"] in OPPOSITE:
            state.last_side = c


def _assign(words: Words, of_ear: list[Mention], cues: list[Mention], state: _State, sentence: int) -> None:
    if not cues:
        _go_to_waxed_ear(of_ear, state)
        if not state.current and of_ear:
            state.current = (_begin(state, of_ear[0]),)
        for m in of_ear:
            m.ears = state.current
        return
    start_ears = state.current
    targets = []
    for cue in cues:
        ears = _target(words, cue, state)
        if ears:
            targets.append((cue, ears))
            state.current = ears if len(ears) == 1 or not state.current else state.current
    if not targets:
        for m in of_ear:
            m.ears = state.current
        return
    state.current = start_ears
    whole = [t for t in targets if t[0].readings["ear_cue"] == "both"]
    sided = [t for t in targets if t[0].readings["ear_cue"] != "both"]
    for m in of_ear:
        m.ears = whole[0][1] if whole and not sided else _ears_of(words, m, targets, start_ears)
    for m in of_ear:
        if m.kind == "occlusion" and m.value == "none" and m.polarity != "denied":
            state.clean.update(m.ears)
        elif m.kind in ("consistency", "colour", "percent") and m.polarity != "denied":
            state.waxed.update(m.ears)
    last = targets[-1]
    if last[0].readings["ear_cue"] == "both":
        if not sided and (not start_ears or not of_ear or _describes_both(of_ear)):
            state.current = last[1] if not start_ears or _describes_both(of_ear) else start_ears
        elif sided:
            state.current = sided[-1][1]
        else:
            state.current = start_ears
    else:
        state.current = last[1]


def _go_to_waxed_ear(of_ear: list[Mention], state: _State) -> None:
    """Take up the tools in the one ear that has wax when the ear in hand was just said to have none."""
    for m in of_ear:
        if m.kind == "occlusion" and m.value == "none" and m.polarity != "denied":
            state.clean.update(state.current)
        elif m.kind in ("consistency", "colour", "percent") and m.polarity != "denied":
            state.waxed.update(state.current)
    works = any(
        m.kind in ("length", "method") or (m.kind == "instrument" and m.value in REMOVERS) for m in of_ear
    )
    waxed = state.waxed - state.clean
    if works and len(state.current) == 1 and state.current[0] in state.clean and len(waxed) == 1:
        state.current = tuple(waxed)


def _describes_both(of_ear: list[Mention]) -> bool:
    return any(m.kind in ("consistency", "colour", "occlusion", "method") for m in of_ear)


def _ears_of(
    words: Words, m: Mention, targets: list[tuple[Mention, tuple[int, ...]]], before: tuple[int, ...]
) -> tuple[int, ...]:
    """The ears of one mention in a sentence with ear cues: the cue in its part, else the last one said, else one
    that comes after it ("a little bleeding on the right")."""
    same = [t for t in targets if words.part[t[0].start] == words.part[m.start]]
    trailing = [t for t in same if t[0].start == m.end and t[0].end - t[0].start == 1]
    if trailing:
        return trailing[0][1]
    behind = [t for t in same if 0 <= t[0].start - m.end <= 2 and _prepositional(words, t[0])]
    if behind and m.kind in ("percent", "length", "complication", "occlusion"):
        return behind[0][1]
    if same:
        first = words.part.index(words.part[m.start])
        leads = same[0][0].start - first <= 3 or len(same) == 1
        earlier = [t for t in same if t[0].start < m.start]
        later = [t for t in same if t[0].start >= m.start]
        if earlier and m.start - earlier[-1][0].end <= 2:
            return earlier[-1][1]
        if earlier and (leads or not later):
            return earlier[-1][1]
        if later and (
            _prepositional(words, later[0][0]) or later[0][0].readings["ear_cue"] == "both" or not before
        ):
            return later[0][1]
        return earlier[-1][1] if earlier else before
    earlier = [t for t in targets if t[0].start < m.start]
    if earlier:
        return earlier[-1][1]
    cue, ears = targets[0]
    if cue.readings["ear_cue"] == "other" and before:
        return before
    return ears if _prepositional(words, cue) or cue.readings["ear_cue"] == "both" or not before else before


def _prepositional(words: Words, cue: Mention) -> bool:
    row = words.text
    near = row[max(cue.start - 2, 0) : cue.start + 1]
    return any(w in ("in", "on", "from", "at", "of", "with", "for", "to") for w in near)


def _target(words: Words, cue: Mention, state: _State) -> tuple[int, ...]:
    """The ears a cue points at, made if need be."""
    side = cue.readings["ear_cue"]
    if side in OPPOSITE:
        if (
            len(state.current) == 1
            and state.ears[state.current[0]].side == "unstated"
            and _names_current(words, cue)
        ) and not any(e.side == side for e in state.ears):
            ear = state.ears[state.current[0]]
            ear.side, ear.named_by = side, cue
            return state.current
        return (state.named(side, cue),)
    if side == "both":
        if not state.ears:
            return (state.named("right", cue), state.named("left", cue))
        if len(state.ears) == 1:
            only = state.ears[0].side
            if only == "unstated":
                return (0, state.unstated(cue.start))
            return (0, state.named(OPPOSITE[only], cue))
        return tuple(range(len(state.ears)))
    if side == "other":
        return _other(state, cue)
    if not state.current:
        return (_begin(state, cue),) if side == "that" else (state.unstated(cue.start),)
    return state.current


def _other(state: _State, cue: Mention) -> tuple[int, ...]:
    if len(state.current) != 1:
        if len(state.ears) == 2 and state.current:
            return state.current
        return (state.unstated(cue.start),) if not state.current else state.current
    here = state.current[0]
    side = state.ears[here].side
    if side in OPPOSITE:
        return (state.named(OPPOSITE[side], cue),)
    others = [i for i in range(len(state.ears)) if i != here]
    return (others[0],) if others else (state.unstated(cue.start),)


def _begin(state: _State, at: Mention) -> int:
    """The ear looked at first when no ear is named: the one the patient's talk named, if only one was."""
    if len(state.hinted) == 1:
        side, by = next(iter(state.hinted.items()))
        return state.named(side, by)
    return state.unstated(at.start)


def _names_current(words: Words, cue: Mention) -> bool:
    """Whether the cue names the ear in hand ("for the notes, that's the right ear I've just done")."""
    start, end = words.bounds[words.sentence[cue.start]]
    said = words.text[start:end]
    before = words.text[max(cue.start - 3, start) : cue.start]
    return ("'s" in before or "was" in before or "is" in before) and bool(
        _DONE & set(said) or "that" in before or "this" in before
    )
