"""How far each visit has come: the patient's story, then looking, then working.

`Doc._.courses` gives the course of each visit by its number.
"""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass

from spacy.language import Language
from spacy.tokens import Doc

from extract.mentions import Mention
from extract.words import Words
from shared.vocabulary import word_set

REMOVERS = frozenset(
    {
        "suction_tube",
        "fine_suction_tube",
        "jobson_horne_probe",
        "crocodile_forceps",
        "aural_forceps",
        "wax_hook",
        "curette",
        "grommet_inserter",
        "irrigator",
    }
)
_EXAM = frozenset(
    {
        "consistency",
        "colour",
        "occlusion",
        "percent",
        "depth",
        "instrument",
        "method",
        "drum",
        "canal",
        "skin",
        "length",
        "clearance",
        "not_seen",
    }
)
_BACKGROUND = frozenset({"symptom", "history", "consent"})
_PERSONS = word_set("course", "persons")
_PERIODS = word_set("course", "periods")
_DATED = 6
"""Words after a complaint within which its time is told."""
_LODGED = word_set("course", "lodged")
_DRUMS = frozenset({"drum", "tm", "eardrum"})
_NAMING = frozenset({"right", "left", "first", "good", "bad"})


@dataclass(slots=True)
class Course:
    """How far one visit has come: the first sentence of looking, and of working (None if never)."""

    exam: int | None = None
    work: int | None = None


Doc.set_extension("courses", default=None, force=True)


@Language.component(
    "course",
    requires=["doc._.mentions", "doc._.words", "doc._.visit_starts"],
    assigns=["doc._.courses"],
)
def course(doc: Doc) -> Doc:
    """Find where looking and working begin in each visit."""
    doc._.courses = courses(doc._.words, doc._.mentions)
    return doc


def courses(words: Words, mentions: list[Mention]) -> dict[int, Course]:
    """Where looking and working begin in each visit.

    Looking begins with the first sentence that describes an ear, or with the last "right ear" before it if only
    that stands between it and the patient's story.
    """
    visits: dict[int, list[Mention]] = {}
    for m in mentions:
        visits.setdefault(m.visit, [])
        if m.live:
            visits[m.visit].append(m)
    return {visit: _course(words, mine) for visit, mine in sorted(visits.items())}


def _course(words: Words, mine: list[Mention]) -> Course:
    came = Course()
    story = _story(words, mine)
    described = [m for m in mine if _describes_ear(words, m) and words.sentence[m.start] not in story]
    done = {words.sentence[m.start] for m in mine if m.has("removal", "clearance")}
    described = _without_early_tools(words, described, story, done)
    if not described:
        return came
    first = words.sentence[described[0].start]
    told = max((s for s in story if s < first), default=-1)
    with_agent = {words.sentence[m.start] for m in mine if m.has("agent") and not _looks(words, m)}
    named = [
        words.sentence[m.start]
        for m in mine
        if (m.readings.get("ear_cue") in _NAMING or _names_both_sides(words, m, mine))
        and told < words.sentence[m.start] < first
        and words.sentence[m.start] not in with_agent
    ]
    came.exam = min(named, default=first)
    working = [
        m
        for m in mine
        if _does_work(m)
        and words.sentence[m.start] >= came.exam
        and (m.has("length") or words.sentence[m.start] not in story)
    ]
    came.work = words.sentence[working[0].start] if working else None
    return came


def _names_both_sides(words: Words, m: Mention, mine: list[Mention]) -> bool:
    """Whether a mention is "left and right", said of what is found ("left and right I found the same:")."""
    told = any(
        words.sentence[o.start] == words.sentence[m.start] and o.has("symptom", "history") for o in mine
    )
    return (
        not told
        and m.readings.get("ear_cue") == "both"
        and {"left", "right"} <= set(words.text[m.start : m.end])
    )


def _looks(words: Words, m: Mention) -> bool:
    """Whether somebody looks into an ear in the mention's sentence ("while the oil soaks I'll look in the right")."""
    start, end = words.bounds[words.sentence[m.start]]
    return bool({"look", "looking"} & set(words.text[start:end]))


def _story(words: Words, mine: list[Mention]) -> set[int]:
    """The sentences that tell what the patient came with, and do not describe an ear or name a tool as well."""
    story = {
        words.sentence[m.start]
        for m in mine
        if (m.has("history") and not m.has("canal", "drum"))
        or (_BACKGROUND & m.readings.keys() and not _EXAM & m.readings.keys())
        or (m.has("symptom") and _tells_of_person(words, m))
    }
    seen = Counter(
        words.sentence[m.start]
        for m in mine
        if m.polarity != "denied"
        and not m.has("weak", "history")
        and m.has("consistency", "colour", "percent", "instrument", "length", "drum", "clearance")
    )
    tools = {
        words.sentence[m.start] for m in mine if m.has("instrument", "method") and m.polarity != "denied"
    }
    told_only = {
        words.sentence[m.start]
        for m in mine
        if m.has("history", "consent") or (m.has("symptom") and not m.has("complication", "clearance"))
    }
    refused = {words.sentence[m.start] for m in mine if m.readings.get("consent") == "declined"}
    story -= {words.sentence[m.start] for m in mine if m.readings.keys() == {"occlusion"}} & refused
    story -= _told_of_removal(words, mine)
    return story - (tools - told_only) - {sentence for sentence, times in seen.items() if times > 1}


def _told_of_removal(words: Words, mine: list[Mention]) -> set[int]:
    """Sentences that tell how wax came out, and in passing that it hurt or bled or did not ("the wax came away
    cleanly, no pain")."""
    came_out = {words.sentence[m.start] for m in mine if m.has("removal")}
    wax = {words.sentence[m.start] for m in mine if m.readings.get("head") == "wax"}
    told = {
        words.sentence[m.start] for m in mine if _BACKGROUND & m.readings.keys() and not m.has("complication")
    }
    return (came_out & wax) - told


def _tells_of_person(words: Words, m: Mention) -> bool:
    """Whether "blocked" is a complaint: said of a person ("she's blocked on the right") or dated ("since Sunday")."""
    start, end = words.bounds[words.sentence[m.start]]
    after = words.text[m.end : min(m.end + _DATED, end)]
    if _is_seen(words, m):
        return False
    dated = "since" in after or ("for" in after and bool(_PERIODS & set(after)))
    return dated or bool(_PERSONS & set(words.text[max(m.start - 4, start) : m.start]))


def _is_seen(words: Words, m: Mention) -> bool:
    """Whether somebody sees what might be a complaint ("I can see pus")."""
    return "see" in words.text[max(m.start - 4, 0) : m.start]


def _without_early_tools(
    words: Words, described: list[Mention], story: set[int], done: set[int]
) -> list[Mention]:
    """Without tools named before the patient's story ("I'll drive the sucker. So, her hearing's been poor..."),
    unless their sentence tells what they did. done: sentences in which something comes out.
    """
    found = next((m for m in described if not m.has("instrument", "method")), None)
    if found is None:
        return described
    until = max((s for s in story if s < words.sentence[found.start]), default=-1)
    return [
        m
        for m in described
        if not m.has("instrument", "method")
        or words.sentence[m.start] >= until
        or words.sentence[m.start] in done
    ] or described


def _describes_ear(words: Words, m: Mention) -> bool:
    if m.has("drum") and m.has("history") and _DRUMS & set(words.text[max(m.start - 3, 0) : m.end + 3]):
        return not {"had", "history", "previous", "never"} & set(words.text[max(m.start - 8, 0) : m.start])
    if (
        m.has("drum")
        and m.has("history")
        and not m.has("weak")
        and m.polarity != "denied"
        and _is_there(words, m)
    ):
        return True
    if m.has("drum") and m.has("weak") and m.polarity != "denied" and m.readings["drum"] == "perforated":
        start, end = words.bounds[words.sentence[m.start]]
        return bool(_DRUMS & set(words.text[start:end]))  # "the TM's okay, no, there's a hole"
    if m.has("canal") and m.has("symptom") and m.polarity != "denied" and not m.has("weak"):
        return _is_seen(words, m)
    if m.has("foreign_body") and not m.has("weak", "consistency"):
        start, _end = words.bounds[words.sentence[m.start]]
        near = words.text[max(m.start - 6, start) : m.start]
        shown = {"see", "look", "spy"} & set(near) or any(
            a == "there" and b in ("'s", "is", "she", "it", "was") for a, b in itertools.pairwise(near)
        )
        lodged = bool(_LODGED & set(words.text[max(m.start - 3, start) : m.end + 3]))
        return bool(shown or lodged) and m.polarity != "denied"
    return (
        bool(_EXAM & m.readings.keys())
        and not m.has("weak", "symptom", "history", "foreign_body")
        and (m.polarity != "denied" or m.has("occlusion"))
    )


def _is_there(words: Words, m: Mention) -> bool:
    """Whether a perforation or a grommet is met with now ("there's a perforation", "I can see a grommet", "not a
    good drum, it's perforated")."""
    start, end = words.bounds[words.sentence[m.start]]
    near = words.text[max(m.start - 5, start) : m.start]
    told = {"history", "previous", "old", "past", "known", "mentions", "says", "ago"} & set(
        words.text[start:end]
    )
    pairs = [pair for pair in itertools.pairwise(near) if pair[1] in ("'s", "is")]
    there = any(a == "there" or (a == "it" and _DRUMS & {*words.text[start:end]}) for a, _ in pairs)
    return not told and (there or "see" in near)


def _does_work(m: Mention) -> bool:
    if m.polarity == "denied" or m.has("weak"):
        return False
    return (
        m.readings.get("instrument") in REMOVERS
        or m.has("method", "length")
        or (m.readings.get("clearance") in ("complete", "partial"))
    )
