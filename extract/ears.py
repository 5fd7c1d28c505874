"""Which ear each thing is said of.

The side is never guessed. An ear is named (right, left), counted (the other one), pointed at (this ear) or carried on
from the sentence before; ears whose side nobody said stay `unstated`, each an entry of its own. `ear_cues` tells
which words name an ear (`not_an_ear`, `bare_sides`), `ears_in_hand` which ear they point at, `nearest_ears` which
finding each reaches; here the talk is walked through.
`Doc._.ears` lists, for each visit, its ears as [side, mention that named it].
"""

from __future__ import annotations

from dataclasses import replace

from spacy.language import Language
from spacy.tokens import Doc

from extract.background_sides import side_the_question, side_the_story
from extract.bare_sides import with_bare_sides
from extract.course import REMOVERS, Course
from extract.ear_cues import (
    OF_AN_EAR,
    ONE_EACH,
    OPPOSITE,
    cues_of,
    identifies,
    names_ear_in_hand,
    prepositional,
    side_of,
    turns_to,
)
from extract.ears_in_hand import EarsInHand
from extract.mentions import Mention, by_sentence
from extract.nearest_ears import Target, nearest_ears
from extract.referred_back import refer_back
from extract.words import MARKS, Words
from shared.vocabulary import word_set

Doc.set_extension("ears", default=None, force=True)

_OF_THE_PATIENT = frozenset({"symptom", "history", "consent"})
_SEEN = frozenset({"skin", "canal", "drum", "complication", "foreign_body", "consistency", "symptom"})
_FOUND = frozenset({"drum", "canal", "clearance", "length", "consistency", "complication", "occlusion"})
_TAKEN_UP = frozenset({"method", "instrument", "agent", "removal", "size"})
_OF_THE_WORK = frozenset({"complication", "tolerance"})
"""Kinds that come of the work: said of no ear by name, they are of the one worked on."""
_TIMED = frozenset({"drum", "not_seen", "canal", "skin", "clearance", "occlusion"})
"""Kinds that are before or after, by how far their own ear is done."""
_PURPOSE = word_set("ears", "purpose")


@Language.component(
    "ears",
    requires=["doc._.mentions", "doc._.words", "doc._.courses"],
    assigns=["doc._.mentions", "doc._.ears"],
)
def ears(doc: Doc) -> Doc:
    """Give every mention its ear or ears, and symptoms and history their side."""
    words: Words = doc._.words
    doc._.mentions = with_bare_sides(words, doc._.mentions)
    hands: dict[int, EarsInHand] = {}
    for sentence, mentions in by_sentence(words, doc._.mentions):
        visit = mentions[0].visit
        course = doc._.courses.get(visit, Course())
        looking = course.exam is not None and sentence >= course.exam
        _read_sentence(words, mentions, hands.setdefault(visit, EarsInHand()), looking)
    for hand in hands.values():
        if hand.waiting:
            _give(hand.waiting, (hand.begin(hand.waiting[0]),))
    refer_back(words, doc._.mentions)
    doc._.mentions = [one for m in doc._.mentions for one in _for_each_ear(m)]
    doc._.ears = {visit: hand.ears for visit, hand in hands.items()}
    return doc


def _for_each_ear(m: Mention) -> list[Mention]:
    """A finding of both ears once for each: the one may be finished, the other not."""
    if len(m.ears) < 2 or m.kind not in _TIMED:
        return [m]
    return [replace(m, ears=(ear,)) for ear in m.ears]


def _give(mentions: list[Mention], ears: tuple[int, ...]) -> None:
    for m in mentions:
        m.ears = ears


def _read_sentence(words: Words, mentions: list[Mention], hand: EarsInHand, looking: bool) -> None:
    heading, hand.heading = hand.heading, None
    cues = cues_of(words, mentions)
    if len(cues) == 1 and side_of(cues[0]) in OPPOSITE and _is_heading(words, cues[0]):
        hand.heading = cues[0]
    elif heading is not None and len(hand.hinted) > 1:
        hand.hinted = {side_of(heading): heading}  # the story named both; this is the one now looked at
    answers = [c for c in cues if side_of(c) in (*OPPOSITE, "both")]
    live = [m for m in mentions if m.live and m.kind]
    patient = [m for m in live if m.kind in _OF_THE_PATIENT]
    if not patient and not any(m.kind in OF_AN_EAR for m in live):
        cues = [c for c in cues if turns_to(words, c, mentions)]
    _set_aside_purposes(words, live)
    of_ear = [m for m in live if m.kind in OF_AN_EAR and m.live]
    if answers and not patient and not of_ear:
        side_the_question(hand.asked, answers)
    side_the_story(words, patient, live, cues, hand)
    _, end = words.bounds[words.sentence[mentions[0].start]]
    hand.asked = patient if words.text[end - 1] == "?" else []
    plan_only = not patient and _is_plan(mentions, live, of_ear)
    if len(cues) == 1 and not of_ear and not patient and _names_it_last(words, cues[0], hand):
        hand.name(hand.current, cues[0])
    named = [c for c in cues if side_of(c) in OPPOSITE and not plan_only]
    if named:
        hand.last_side = named[-1]
    story = patient and not any(m.kind not in ("agent", "removal", "method") for m in of_ear)
    if looking and not plan_only and not story:
        _assign(words, of_ear, cues, hand)
        return
    for cue in named:
        hand.hinted[side_of(cue)] = cue
    if len(named) == 1 and names_ear_in_hand(words, named[0]):
        hand.name(hand.current, named[0])  # "... it's the right ear, and it itches"
    if not looking:
        of_ear = _left_inside(words, of_ear, cues, hand)
    if of_ear and looking and not plan_only:
        _assign(words, of_ear, cues, hand)
        return
    if plan_only and not hand.current and hand.ears:
        hand.current = (len(hand.ears) - 1,)
    for m in of_ear:
        m.ears = hand.current
    if not hand.current and any(o.has("put_in") and "goes" in words.text[o.start : o.end] for o in live):
        hand.waiting += [m for m in of_ear if m.kind == "agent"]  # "almond oil, in it goes", before any ear


def _is_heading(words: Words, cue: Mention) -> bool:
    """Whether a side stands alone before a colon ("Right: ...")."""
    start, end = words.bounds[words.sentence[cue.start]]
    return cue.start == start and words.text[cue.end : end] == [":"]


def _names_it_last(words: Words, cue: Mention, hand: EarsInHand) -> bool:
    """Whether the text closes with nothing but the side of the ear just described ("... a small hole. Right ear.")."""
    start, end = words.bounds[words.sentence[cue.start]]
    alone = end - start <= cue.end - cue.start + 1 and end == len(words.text)
    return alone and side_of(cue) in OPPOSITE and bool(hand.current)


def _is_plan(mentions: list[Mention], live: list[Mention], of_ear: list[Mention]) -> bool:
    """Whether a sentence only plans: advice, referral or a date to come back, and nothing found."""
    dated = any(m.kind == "interval" for m in live) and any(m.has("recall_cue") for m in mentions)
    planned = dated or any(m.kind in ("advice", "referral") for m in live)
    return planned and not any(m.kind in _FOUND for m in of_ear)


def _left_inside(words: Words, of_ear: list[Mention], cues: list[Mention], hand: EarsInHand) -> list[Mention]:
    """Give a thing the story says is in an ear ("a pea in his right ear") that ear at once; returns the others."""
    rest = []
    for m in of_ear:
        near = [c for c in cues if m.end <= c.start <= m.end + 3 and side_of(c) in OPPOSITE]
        inside = near and {"in", "down", "up", "inside"} & set(words.text[m.end : near[0].end])
        if m.kind == "foreign_body" and inside:
            m.ears = (hand.named(side_of(near[0]), near[0]),)
        else:
            rest.append(m)
    return rest


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


def _assign(words: Words, of_ear: list[Mention], cues: list[Mention], hand: EarsInHand) -> None:
    """Give the findings of one sentence their ears, and note which ear is in hand after it."""
    _take_up_hinted(words, of_ear, cues, hand)
    start_ears = hand.current
    targets = _targets(words, cues, hand)
    if targets:
        sided = [t for t in targets if side_of(t[0]) != "both" and len(t[1]) == 1]
        for m in of_ear:
            m.ears = nearest_ears(words, m, targets, start_ears) if sided else targets[0][1]
        _note_wax(of_ear, hand)
        _note_work(of_ear, hand)
        both = not start_ears or _describes_both(of_ear)
        hand.current = sided[-1][1] if sided else targets[-1][1] if both else start_ears
    elif cues or hand.current or not all(m.kind in _TAKEN_UP for m in of_ear):
        if not cues:
            _go_to_waxed_ear(of_ear, hand)
        if not hand.current and of_ear:
            hand.current = (hand.begin(of_ear[0]),)
        _give(of_ear, hand.current)
        _note_work(of_ear, hand)
        if not cues and len(hand.worked) > 1:
            general = [m for m in of_ear if m.kind == "complication" and m.value == "none"]
            _give(general, tuple(sorted(hand.worked)))  # "there were no complications": of all that was done
        if not cues and len(hand.worked) == 1 and not hand.worked & set(hand.current):
            _give([m for m in of_ear if m.kind in _OF_THE_WORK], tuple(hand.worked))
    else:
        hand.waiting += of_ear
        return
    if hand.current and hand.waiting:
        _give(hand.waiting, targets[0][1] if targets else hand.current)
        hand.waiting = []


def _take_up_hinted(words: Words, of_ear: list[Mention], cues: list[Mention], hand: EarsInHand) -> None:
    """Begin with the ear of the patient's story where a sentence only then turns to the other ("no hearing on the
    right. ... No wax in there, the drum's normal, the left is the same")."""
    if hand.current or len(hand.hinted) != 1 or not cues or side_of(cues[0]) not in OPPOSITE:
        return
    first = cues[0]
    early = [m for m in of_ear if m.end <= first.start and words.part[m.start] < words.part[first.start]]
    if early and side_of(first) not in hand.hinted and not prepositional(words, first):
        hand.current = (hand.begin(early[0]),)


def _targets(words: Words, cues: list[Mention], hand: EarsInHand) -> list[Target]:
    """The ears each cue of a sentence points at, one after the other; "on the right or the left" is of both."""
    targets: list[Target] = []
    for cue in cues:
        if words.text[cue.end : cue.end + 1] and words.text[cue.end] in ONE_EACH and len(hand.ears) != 2:
            continue
        if targets and identifies(words, targets[-1][0], cue) and hand.name(targets[-1][1], cue):
            continue
        pointed = hand.pointed_at(words, cue)
        if targets and _joined(words, targets[-1][0], cue):
            earlier, ears = targets.pop()
            targets.append((earlier, tuple(sorted({*ears, *pointed}))))
            continue
        targets.append((cue, pointed))
        if len(pointed) == 1 or not hand.current:
            hand.current = pointed
    return targets


def _joined(words: Words, a: Mention, b: Mention) -> bool:
    """Whether two sides are named together ("on the right and on the left")."""
    if {side_of(a), side_of(b)} != {"right", "left"}:
        return False
    between = [w for w in words.text[a.end : b.start] if w != "the"]
    ends = b.end >= len(words.text) or words.text[b.end] in MARKS
    return between in (["or"], ["nor"]) or (between == ["and"] and ends)


def _note_wax(of_ear: list[Mention], hand: EarsInHand) -> None:
    """Remember which ears were said to hold no wax, which some, and which only to look well."""
    for m in (m for m in of_ear if m.polarity != "denied"):
        here = set(m.ears or hand.current)
        if m.kind == "occlusion" and m.value == "none":
            hand.clean |= here
        elif m.kind in ("consistency", "colour", "percent", "occlusion", "depth"):
            hand.waxed |= here
        elif m.kind == "drum" or (m.kind == "canal" and m.value == "healthy"):
            hand.seen_well |= here


def _note_work(of_ear: list[Mention], hand: EarsInHand) -> None:
    """Remember in which ears removal was begun."""
    for m in of_ear:
        if _is_work(m):
            hand.worked.update(m.ears or hand.current)


def _is_work(m: Mention) -> bool:
    removes = m.kind in ("length", "method") or (m.kind == "instrument" and m.value in REMOVERS)
    return removes and m.polarity != "denied"


def _go_to_waxed_ear(of_ear: list[Mention], hand: EarsInHand) -> None:
    """Take up the tools in the one ear that has wax when the ear in hand was just said to have none, or to look
    well while the other was not begun."""
    _note_wax(of_ear, hand)
    if len(hand.current) != 1 or not any(_is_work(m) for m in of_ear):
        return
    here = hand.current[0]
    waxed = hand.waxed - hand.clean
    if here not in hand.clean:
        waxed -= hand.worked
        if here in hand.waxed | hand.worked or here not in hand.seen_well:
            return
    if len(waxed) == 1:
        hand.current = tuple(waxed)


def _describes_both(of_ear: list[Mention]) -> bool:
    return any(m.kind in ("consistency", "colour", "occlusion", "method") for m in of_ear)
