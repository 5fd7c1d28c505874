"""What happens next, and what an oil or water was for: softener at home, put in now, or advised."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from extract.course import Course
from extract.measures import NEXT
from extract.mentions import Mention
from extract.words import Words
from shared.vocabulary import word_set

_AGO = word_set("plan", "ago")
_DURATION = word_set("plan", "duration")
_PAST = frozenset({"'d", "came", "did", "had", "lost", "started", "was", "went", "were"})
_TO_COME = word_set("plan", "to_come")
_OFTEN = word_set("plan", "often")
_BOOKED = frozenset({"appointment", "book", "booked", "diary", "recall", "reminder", "review"})
_POLITE = word_set("plan", "polite")
_CLOSED: tuple[list[str], ...] = ([], ["."], [","])
_TERSE = 9
"""Words of a sentence that may say no more than when to come back."""
_LEADS = frozenset({"in", "after", "at", "within", "another", "about", "around"})
_BACK = frozenset({"back", "come", "coming", "review", "see", "seen", "return", "recheck"})
_THEREUPON = frozenset({"then", "whereupon"})
_RETURNS_THEN = _BACK | {"reattend", "re-attend", "reattends", "attend", "reviewed", "rebook"}
_RETURNS = _BACK | {"keep"}
_SEEN = frozenset({"see", "seeing", "seen"})
"""Others see patients too."""
_OURSELVES = frozenset({"i", "me", "myself", "us", "we"})
_BY = frozenset({"by", "from", "her", "his"})


_DUE = word_set("plan", "test_due")
_HAD = word_set("plan", "test_had")
_PASSED = word_set("plan", "test_passed")
_LATER = frozenset(
    {("at", "home"), ("for", "the"), ("till", "then"), ("until", "then"), ("to", "use"), ("rebooked", "for")}
)
"""Two words that tell of drops still to be used, once the work is done."""
_AT_HOME = word_set("plan", "at_home")


def agent_use(words: Words, live: list[Mention], courses: dict[int, Course]) -> dict[int, str]:
    """What each agent was for: {id(mention): "softener" | "procedure" | "advice"}."""
    out: dict[int, str] = {}
    for m in live:
        if m.kind != "agent" or m.polarity == "denied":
            continue
        use = _use(words, m, live, courses.get(m.visit, Course()))
        if use:
            out[id(m)] = use
    return out


def _use(words: Words, m: Mention, live: list[Mention], course: Course) -> str:
    sentence = words.sentence[m.start]
    start, end = words.bounds[sentence]
    said = words.text[start:end]
    here = [o for o in live if words.sentence[o.start] == sentence]
    looking = course.exam is not None and sentence >= course.exam
    working = course.work is not None and sentence >= course.work
    ongoing = any(o.has("ongoing") for o in here)
    cues = {w for o in here if o.has("home") for w in words.text[o.start : o.end]}
    home = bool(cues) and (not looking or bool(cues & _AT_HOME))
    put_in = any(o.has("put_in") for o in here)
    planned = any(o.kind in ("advice", "interval", "referral") and o.kind != "interval" for o in here) or any(
        o.has("recall_cue") and o.readings.get("recall_cue") and any(x.kind == "interval" for x in here)
        for o in here
    )
    if m.value == "water" and not looking and home:
        return "softener"
    if m.value == "water":
        irrigates = any(
            o.kind in ("method", "instrument") and o.value in ("irrigation", "irrigator") for o in here
        )
        near = any(w in ("warm", "plain", "tap", "lukewarm") for w in words.text[max(m.start - 1, 0) : m.end])
        return "procedure" if looking and (irrigates or near) else ""
    if put_in and any(o.has("put_in") and "goes" in words.text[o.start : o.end] for o in here):
        return "procedure"  # "almond oil, in it goes"
    if not looking:
        if m.value == "olive_oil" and ends_in_return(said):
            return "advice"
        if ongoing and not home and course.exam is None and m.value == "olive_oil":
            return "advice"
        return "softener"
    if put_in and any(o.readings.get("late") == "cue" for o in here):
        return "procedure"
    spell = any(
        o.kind == "interval" and o.measure is not None and o.measure.unit in ("days", "weeks") for o in here
    )
    if spell and not working and not planned and (not ongoing or {"'d", "had", "used", "put"} & set(said)):
        return "softener"
    past = any(
        w in ("'d", "had", "used", "been", "has", "done", "did", "tried", "using", "was") for w in said
    )
    if ongoing and m.value == "olive_oil" and not (home and past):
        return "advice"
    if home and past:
        return "softener"
    if planned and not put_in and m.value == "olive_oil":
        return "advice"
    put = {w for o in here if o.has("put_in") for w in words.text[o.start : o.end]}
    if put <= {"drop", "drops"} and working and _LATER & {*itertools.pairwise(said)}:
        return "advice" if m.value == "olive_oil" else ""  # "bicarb for the week", "he's to use it at home"
    if put_in or not working:
        return "procedure"
    return "advice" if m.value == "olive_oil" and home else "procedure"


def advised(words: Words, m: Mention) -> bool:
    """Whether advice is given now: a hearing test may also be one the patient had ("she had one last year")."""
    if m.value != "hearing_test":
        return True
    start, end = words.bounds[words.sentence[m.start]]
    before, after = words.text[max(m.start - 6, start) : m.start], words.text[m.end : min(m.end + 6, end)]
    if _DUE & {*before, *after, *words.text[m.start : m.end]}:
        return True
    return not (_HAD & set(before) or _PASSED & set(after))


def ends_in_return(said: Sequence[str]) -> bool:
    """Whether words go on to coming back: "oil for two weeks, then back", "whereupon she will re-attend"."""
    turns = [i for i, word in enumerate(said) if word in _THEREUPON]
    return any(_RETURNS_THEN & {*said[i + 1 : i + 6 if said[i] == "whereupon" else i + 2]} for i in turns)


def to_come(words: Words, m: Mention) -> bool:
    """Whether what is told to happen every so often is yet to begin ("he should come in every three months")."""
    start, _ = words.bounds[words.sentence[m.start]]
    first = m.start - (m.start > start and words.text[m.start - 1] in _BACK)
    commanded = words.text[first] in _BACK and (first == start or words.text[first - 1] in (",", "and", "so"))
    often = bool(_OFTEN & set(words.text[m.start : m.end + 1]))
    return often and (commanded or _is_ahead(words.text[max(m.start - 4, start) : m.start]))


def _is_ahead(said: Sequence[str]) -> bool:
    return bool(_TO_COME & {*said, *(f"{a} {b}" for a, b in itertools.pairwise(said))})


def softener_days(words: Words, softeners: list[Mention], live: list[Mention]) -> tuple[Mention, int] | None:
    """How many days the softener was used: the length of time said in its sentence or the next."""
    sentence = words.sentence[softeners[-1].start]
    for m in reversed(live):
        if m.kind == "interval" and m.measure is not None and _soon_after(words, m, sentence):
            if words.text[m.end : m.end + 1] in (["ago"], ["old"]) or words.text[m.start] == NEXT:
                continue
            if m.measure.unit in ("days", "weeks"):
                return m, m.measure.whole * (7 if m.measure.unit == "weeks" else 1)
    return None


def _soon_after(words: Words, m: Mention, sentence: int) -> bool:
    """Whether a length of time stands in the sentence given or the next, or in short ones right after."""
    here = words.sentence[m.start]
    short = all(b - a <= 4 for a, b in words.bounds[sentence + 1 : here + 1])
    return sentence <= here <= sentence + 1 or (here <= sentence + 3 and here > sentence and short)


def recalls(words: Words, live: list[Mention]) -> list[Mention]:
    """Intervals after which the patient is to be seen again."""
    out: list[Mention] = []
    for m in live:
        if m.kind != "interval" or m.measure is None:
            continue
        here = [o for o in live if words.sentence[o.start] == words.sentence[m.start]]
        if _is_certain(words, m, here) or (
            not _is_past_or_lasting(words, m, here)
            and not _is_referral_s(words, m, here)
            and any(_is_cued(words, x, live) for x in (m, *m.linked))
        ):
            out.append(m)
    return out


def _is_certain(words: Words, m: Mention, here: list[Mention]) -> bool:
    """Whether the words around an interval leave nothing else: "in a week's time", "oil for a week, then back"."""
    before, after = words.text[max(m.start - 1, 0)], words.text[m.end : m.end + 1]
    _, end = words.bounds[words.sentence[m.start]]
    cued = any(o.has("recall_cue") for o in here)
    if cued and "time" in words.text[m.end : m.end + (2 if after == ["'s"] else 1)]:
        return True
    if before == "for" and any(o.kind == "agent" for o in here) and ends_in_return(words.text[m.end : end]):
        return True
    return _is_to_be_often(words, m, here) and (cued or bool(_RETURNS & {*_said(words, m)}))


def _is_past_or_lasting(words: Words, m: Mention, here: list[Mention]) -> bool:
    """Whether an interval is one gone by, or how long something lasts, or is that of a symptom."""
    before, after = words.text[max(m.start - 1, 0)], words.text[m.end : m.end + 1]
    due = before in ("for", "over") and any(
        o.has("recall_cue")
        and (
            o.end == m.start
            or (o.end <= m.start - 1 <= o.end + 1 and words.text[o.end - 1] in _BOOKED)
            or (o.end == m.start - 1 and before == "over")
        )
        for o in here
    )  # "in the book for six months"
    rare = words.text[max(m.start - 2, 0) : m.start] in (["once", "in"], ["twice", "in"])
    lasting = before in _DURATION and not due and not _is_to_be_often(words, m, here)
    if rare or lasting or (after and after[0] in _AGO - {"back", "before", "now"}):
        return True
    if (
        after == ["back"]
        and words.text[m.end + 1 : m.end + 2] in _CLOSED
        and (_PAST & set(_said(words, m)) or len(_said(words, m)) > _TERSE)
    ):
        return True
    told = max((o.start for o in here if o.kind in ("history", "symptom") and o.start < m.start), default=-1)
    return told >= 0 and not any(o.has("recall_cue") and told < o.start < m.start for o in here)


def _is_referral_s(words: Words, m: Mention, here: list[Mention]) -> bool:
    """Whether it tells when somebody else is to see the patient ("refer to ENT, to be seen within two weeks")."""
    to = max((o.end for o in here if o.kind == "referral" and o.end <= m.start), default=None)
    if to is None:
        return False
    ours = bool(_OURSELVES & {*words.text[to : m.start]})
    cues = [o for o in here if o.has("recall_cue") and (ours or not _SEEN & {*words.text[o.start : o.end]})]
    return not any(o.start >= to for o in cues)


def _is_to_be_often(words: Words, m: Mention, here: list[Mention]) -> bool:
    """Whether "every four months" is how often the patient is to come, and not how often he came."""
    said = _said(words, m)
    if (
        words.text[m.start - 1] != "every"
        or _PAST & {*said}
        or any(o.kind in ("agent", "advice", "symptom") for o in here)
    ):
        return False
    return _is_ahead(said) or said[0] in _BACK or _is_alone(words, m)


def _said(words: Words, m: Mention) -> list[str]:
    start, end = words.bounds[words.sentence[m.start]]
    return words.text[start:end]


def _is_alone(words: Words, m: Mention) -> bool:
    """Whether its sentence says nothing else ("Six weeks, please, Mary.")."""
    start, end = words.bounds[words.sentence[m.start]]
    return end - start <= _TERSE and all(
        m.start <= i < m.end or w in _POLITE or (i > m.end and words.text[i - 1] == "," and i == end - 2)
        for i, w in enumerate(words.text[start:end], start)
    )


def _is_cued(words: Words, m: Mention, live: list[Mention]) -> bool:
    sentence = words.sentence[m.start]
    start, end = words.bounds[sentence]
    if _is_alone(words, m) and any(
        o.kind in ("clearance", "instrument", "drum", "length") and o.start < m.start for o in live
    ):
        return True
    closing = words.text[m.start - 1] == "," and words.text[m.end : m.end + 2] in (["."], ["please", "."])
    distant = m.measure is not None and m.measure.unit in ("months", "years")
    if closing and distant and any(o.kind == "advice" and start <= o.start < m.start for o in live):
        return True  # "Keep it dry, four months."
    if end - start <= 4 and any(
        o.has("recall_cue") and words.sentence[o.start] == sentence - 1 for o in live
    ):
        return True
    return any(
        o.has("recall_cue") and words.sentence[o.start] == sentence and abs(o.start - m.start) < 14
        for o in live
    )


def referrals(
    words: Words, live: list[Mention], courses: dict[int, Course]
) -> tuple[Mention, Mention | None] | None:
    """To whom the patient is referred, and how urgently, if said."""
    for m in reversed([m for m in live if m.kind == "referral" and m.polarity != "denied"]):
        sentence = words.sentence[m.start]
        here = [o for o in live if words.sentence[o.start] == sentence]
        course = courses.get(m.visit, Course())
        looking = course.exam is not None and sentence >= course.exam
        cued = any(o.has("referral_cue") and -12 < o.start - m.start < 12 for o in here)
        urgent = [o for o in live if o.kind == "urgency" and 0 <= words.sentence[o.start] - sentence <= 1]
        before = words.text[max(m.start - 3, 0) : m.start]
        if (
            "asked" in words.text[max(m.start - 8, 0) : m.start]
            or "by" in before
            or (before[-2:-1] == ["from"])
        ):
            continue
        if (cued and looking) or urgent or _refers(words, here):
            return m, urgent[0] if urgent else None
    return None


def _refers(words: Words, here: list[Mention]) -> bool:
    return any(
        o.has("referral_cue") and any(w.startswith("refer") for w in words.text[o.start : o.end])
        for o in here
    )
