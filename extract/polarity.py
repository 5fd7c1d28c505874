"""Whether each mention is affirmed, possible or denied, from the scopes of `context`."""

from __future__ import annotations

from bisect import bisect_left

from spacy.language import Language
from spacy.tokens import Doc

from extract.context import Scope
from extract.mentions import Mention
from extract.not_seen import unseen_drum
from extract.words import MARKS, STOPS, Words
from shared.vocabulary import word_set

_SELF_CONTAINED = frozenset(
    {"head", "ear_cue", "correction", "disregard", "aside", "visit", "weak", "length", "size", "reference"}
)
_OWN_DENIAL = frozenset(
    {
        "occlusion",
        "clearance",
        "consent",
        "advice",
        "hearing_outcome",
        "not_seen",
        "complication",
        "history",
        "drum",
        "tolerance",
        "skin",
    }
)
_NEGATIVE = frozenset(
    {"no", "not", "n't", "nothing", "none", "never", "without", "cannot", "nor", "neither", "un"}
)

_THROUGH = word_set("polarity", "through")

_NAY, _YEA = word_set("polarity", "nay"), word_set("polarity", "yea")
_SUBJECTS, _AUXILIARIES = word_set("conditions", "subjects"), word_set("conditions", "auxiliaries")
_NOT_SO, _A_BIT = word_set("polarity", "not_so"), word_set("polarity", "a_bit")
_GIVEN_UP, _HELD = word_set("polarity", "given_up"), word_set("polarity", "held")
_DENYING = word_set("polarity", "denying")
_LONG_AGO = word_set("polarity", "long_ago")
_MAYBE, _TRAILING = word_set("polarity", "maybe"), word_set("polarity", "trailing")
_WONDERING = frozenset({"is", "was", "am"})
_REMARK = 16
"""Words after a finding within which it may be put in doubt."""
_WHO = frozenset({"he", "she", "they"})
_POINTED = frozenset({"that", "this", "it", "there"})
_ROUGHLY = word_set("polarity", "roughly")
_JUDGING = word_set("polarity", "judging")
_ASK, _ABOUT = word_set("polarity", "ask"), word_set("polarity", "about")
_DID_SOME = [
    [did, how] for did in ("did", "does", "do") for how in ("a", "slightly", "indeed", "yes", "quite")
]
"""Of "it did a wee bit", after the subject."""
_UNTIL = (["until"], ["till"], ["til"])
_SO_FAR = frozenset({"now", "then", "today"})
_CLOSE = 5
"""Words within which a denial must stand before a tool, an oil or a referral to deny it."""


@Language.component("polarity", requires=["doc._.mentions", "doc._.scopes"], assigns=["doc._.mentions"])
def polarity(doc: Doc) -> Doc:
    """Set each mention's polarity. A denial that is part of the phrase itself does not deny the phrase."""
    words: Words = doc._.words
    mentions: list[Mention] = doc._.mentions
    scopes: list[Scope] = [s for s in doc._.scopes if s.category in ("negated", "possible")]
    said_whole = {
        i
        for o in mentions
        if o.has("occlusion", "clearance", "not_seen", "advice", "consent")
        and _says_no(words, o)
        and not _looked_for(words, mentions, o)
        for i in range(words.token[o.start], words.last[o.end - 1] + 1)
    }
    at = 0
    for m in doc._.mentions:
        if m.kind == "length" and _not_this_length(words.text, m.start):
            m.polarity = "denied"
        if _SELF_CONTAINED.issuperset(m.readings):
            continue
        first, last = words.token[m.start], words.last[m.end - 1]
        while at < len(scopes) and scopes[at].end <= first - 60:
            at += 1
        found = "possible" if m.measure is not None and m.measure.other is not None else "affirmed"
        for scope in scopes[at:]:
            if scope.start > last:
                break
            if scope.start <= first < scope.end and not (first <= scope.trigger[0] <= last):
                if scope.category == "possible":
                    if found == "affirmed" and not _is_rough(words, m, scope, mentions):
                        found = "possible"
                    continue
                if scope.trigger[0] in said_whole and not _goes_on(words, m):
                    continue
                if m.has("referral", "agent", "instrument", "consent") and first - scope.trigger[1] > _CLOSE:
                    continue
                if scope.phrase == "not" and _in_its_place(words, m, scope):
                    continue
                if m.has("instrument") and scope.trigger[0] > last:
                    continue
                if not _out_of_reach(words, m, scope, mentions):
                    found = "denied"
                    m.denied_at = bisect_left(words.token, scope.trigger[0])
        said = _answered(words, m) or _given_up(words, m)
        m.polarity = said or found
        if not said and found == "denied" and _OWN_DENIAL & m.readings.keys() and _says_no(words, m):
            m.polarity = "affirmed"
    return doc


def _given_up(words: Words, m: Mention) -> str:
    """The polarity of a medicine no longer taken ("the GP stopped his warfarin"); one held for some days counts."""
    if m.readings.get("history") != "anticoagulants":
        return ""
    row = words.text
    before = [
        w
        for i, w in enumerate(row[max(m.start - _CLOSE, 0) : m.start], max(m.start - _CLOSE, 0))
        if words.part[i] == words.part[m.start]
    ]
    after = row[m.end : m.end + _CLOSE]
    if _stopped_long_ago(after):
        return "denied"
    if not _GIVEN_UP & set(before):
        return ""
    return "affirmed" if (_DENYING & set(before)) or (_HELD & set(after)) else "denied"


def _stopped_long_ago(after: list[str]) -> bool:
    """Whether a medicine was left off for good ("warfarin stopped last year"), not held for the day."""
    said = after[1:] if after[:1] in (["was"], ["is"], ["were"], ["has"], ["got"]) else after
    said = said[1:] if said[:1] == ["been"] else said
    return said[:1] in (["stopped"], ["discontinued"], ["finished"]) and bool(_LONG_AGO & set(said[1:4]))


def _not_this_length(row: list[str], start: int) -> bool:
    """Whether a length is said only to be put right ("it wasn't twenty mil"); "not quite twenty" is no denial."""
    led = start - 1 if row[start - 1] in ("a", "an", "the") else start
    return led > 0 and row[led - 1] in ("not", "n't")


def _looked_for(words: Words, mentions: list[Mention], cue: Mention) -> bool:
    """Whether "can't see" denies a finding named next, not the drum ("I can't see a hole in the drum")."""
    if not cue.has("not_seen") or words.text[cue.end - 1] in _THROUGH or unseen_drum(words, mentions, cue):
        return False
    return any(
        m.has("drum", "canal", "foreign_body", "skin")
        and cue.end <= m.start <= cue.end + _CLOSE
        and not _THROUGH & set(words.text[cue.end : m.start])
        for m in mentions
    )


def _is_rough(words: Words, m: Mention, scope: Scope, mentions: list[Mention]) -> bool:
    """Whether a doubt is only of a figure that follows it at once ("maybe a quarter full, hard and dark"): nobody
    measures these exactly."""
    at = bisect_left(words.token, scope.trigger[1])
    rough = any(o.measure is not None and o.kind != "bare" and at <= o.start <= at + 1 for o in mentions)
    return rough and _ROUGHLY.issuperset(scope.phrase.split()) and m.start >= at


def _in_its_place(words: Words, m: Mention, scope: Scope) -> bool:
    """Whether a word stands in for one refused just before ("not olive oil, peroxide", "not brown, orange")."""
    if not m.has("agent", "colour", "consistency", "instrument"):
        return False
    row = words.text
    at = bisect_left(words.token, scope.trigger[1])
    between = row[at : m.start]
    closed = m.end == len(row) or row[m.end] in MARKS
    return closed and between[-1:] == [","] and between.count(",") == 1 and 1 < len(between) <= _CLOSE


def _answered(words: Words, m: Mention) -> str:
    """The polarity that a phrase opening with "nothing", or an answer to its question, gives ("Grommets? Never.")."""
    row = words.text
    if (
        m.has("symptom", "complication")
        and row[m.start] in ("nothing", "not", "no", "never")
        and m.readings.get("complication") != "none"
        and "hearing" not in row[m.start + 1 : m.start + 2]  # "no hearing since she woke" is the complaint
    ):
        return "denied"
    if m.has("symptom", "complication", "drum", "canal") and "neither" in row[max(m.start - 6, 0) : m.start]:
        between = row[max(m.start - 6, 0) : m.start]
        return "" if any(w in MARKS for w in between[between.index("neither") :]) else "denied"
    if (
        m.has("complication")
        and row[m.end : m.end + 1] in _UNTIL
        and not _SO_FAR & {*row[m.end + 1 : m.end + 2]}
    ):
        return "affirmed"  # "no bleeding until the end"
    if m.has("symptom", "complication", "history") and m.start and row[m.start - 1] in ("no", "without"):
        return "denied"
    if m.has("drum", "canal", "skin") and _ends_in_doubt(row, m):
        return "possible"
    if m.has("drum") and (asked := _asked(row, m)):
        return asked
    if m.has("symptom", "complication", "history") and _is_refused(words, m):
        return "denied"
    if row[m.end : m.end + 1] == [":"] and (m.end + 2 == len(row) or row[m.end + 2] in MARKS):
        return answer(row[m.end + 1 : m.end + 2])  # "bleeding: none."
    mark = next((i for i in range(m.end, min(m.end + _CLOSE, len(row))) if row[i] in MARKS), m.start)
    asks = row[mark] == "?" or (row[mark] in STOPS and is_asked_about(words, m))
    return answer(row[mark + 1 : mark + 4]) if asks else ""


def is_asked_about(words: Words, m: Mention) -> bool:
    """Whether a sentence only tells that something was asked for ("ask her about pain")."""
    start, _ = words.bounds[words.sentence[m.start]]
    before = words.text[max(m.start - _CLOSE, start) : m.start]
    if "when" in before:  # "he nods when I ask about pain" is an answer
        return False
    return bool(_ASK & set(before)) and before[-1] in _ABOUT


def _is_refused(words: Words, m: Mention) -> bool:
    """Whether what opens a sentence is denied after it: "diabetes, no", "blood thinners she doesn't take"."""
    row = words.text
    start, end = words.bounds[words.sentence[m.start]]
    if m.start - start > 2:
        return False
    if row[m.end : m.end + 1] == [","] and m.end + 2 < len(row) and row[m.end + 2] in STOPS:
        return row[m.end + 1] in _NAY
    after = row[m.end : end]
    if after[:1] and after[0] in _WHO and len(after) <= _CLOSE + 1 and after[-1] in STOPS:
        return after[1:2] == ["never"] or after[2:3] in (["n't"], ["not"], ["never"])
    return False


def _asked(row: list[str], m: Mention) -> str:
    """The polarity of a finding that is asked for ("is that a hole?"): in doubt, unless it is answered."""
    near = range(m.start - 1, max(m.start - _CLOSE, -1), -1)
    opened = next((i for i in near if row[i] in ("is", "was") and row[i + 1] in _POINTED), None)
    stop = next((i for i in range(m.end, len(row)) if row[i] in STOPS), -1)
    if opened is None or stop < 0 or row[stop] != "?" or row[opened - 1] in ("what", "where", "how", "who"):
        return ""
    if row[stop + 1 : stop + 3] in (["it", "is"], ["that", "is"]):
        return "affirmed"
    return answer(row[stop + 1 : stop + 4]) or "possible"


def answer(said: list[str]) -> str:
    """What the first words of an answer say of what was asked: "denied", "affirmed", or "" if nothing."""
    if said[:1] and said[0] in _SUBJECTS and said[1:3] in _DID_SOME:
        return "affirmed"
    if said[:1] and said[0] in _SUBJECTS and set(said[1:2]) & _AUXILIARIES:
        no = said[2:3] in (["not"], ["n't"], ["never"])
        return "denied" if no else "affirmed" if MARKS.issuperset(said[2:3]) else ""
    if set(said[:1]) & _NAY or (said[:1] == ["not"] and set(said[1:]) & _NOT_SO):
        return "denied"
    yes = set(said[:1]) & _YEA or (said[:1] == ["a"] and set(said[1:]) & _A_BIT)
    return "affirmed" if yes else ""


def _ends_in_doubt(row: list[str], m: Mention) -> bool:
    """Whether what follows leaves it in doubt: "..., I think", "..., maybe", "or is that the light?", "put a question
    mark on it"."""
    after = row[m.end : m.end + 6]
    if after[:1] and after[0] in _MAYBE and (after[1:2] == [] or after[1] in MARKS or after[1] in _TRAILING):
        return True
    if _asked_again(row, m.end):
        return True
    for mark in (",", "…"):
        if mark in after:
            tail = row[m.end + after.index(mark) + 1 :][:3]
            if tail[:2] in (["i", "think"], ["i", "reckon"], ["i", "suspect"]):
                return True
            return tail[:1] in (["maybe"], ["perhaps"], ["possibly"]) and MARKS.issuperset(tail[1:2])
    return False


def _asked_again(row: list[str], end: int) -> bool:
    """Whether the words after a finding ask whether it is one ("dull, or is that my light?"), or mark it as open."""
    stops = 0
    for i in range(end, min(end + _REMARK, len(row))):
        stops += row[i] in STOPS
        if row[i : i + 2] == ["question", "mark"]:
            return stops < 3
        if not stops and row[i] == "or" and row[i + 1 : i + 2] and row[i + 1] in _WONDERING:
            close = next((j for j in range(i, len(row)) if row[j] in STOPS), -1)
            # "red, and is that a hole or is that a bubble?" asks about the hole alone
            return close >= 0 and row[close] == "?" and _WONDERING.isdisjoint(row[end:i])
    return False


def _goes_on(words: Words, m: Mention) -> bool:
    """Whether a denial that is a phrase of its own goes on to this mention ("no wax or discharge")."""
    return any(w in ("or", "nor") for w in words.text[max(m.start - 3, 0) : m.start])


def _out_of_reach(words: Words, m: Mention, scope: Scope, mentions: list[Mention]) -> bool:
    """Whether a denial before the mention stops short of it: at a new statement, or, for good findings, at
    the first thing denied ("no wax, and a healthy drum")."""
    if scope.trigger[0] > words.token[m.start]:
        return False
    at = next((i for i in range(m.start, -1, -1) if words.token[i] < scope.trigger[1]), 0) + 1
    between = words.text[at : m.start]
    for i, word in enumerate(between):
        if word in MARKS and any(tuple(between[i + 1 : i + 3])[:2] == pair for pair in _NEW_STATEMENT):
            return True
    if _JUDGING & {*scope.phrase.split()}:
        return False  # "I would not call that drum healthy", "I don't think the drum's healthy"
    good = {"healthy", "intact", "well", "complete", "improved"} & set(m.readings.values())
    return bool(good) and any(
        at <= o.start < m.start
        and o.has("occlusion", "complication", "symptom", "head", "canal", "consistency")
        for o in mentions
    )


_NEW_STATEMENT = frozenset(
    (a, b)
    for a in ("that", "it", "there", "he", "she", "they", "this", "i", "we")
    for b in ("'s", "is", "was", "has", "are", "'re", "had", "'ve")
)


def _says_no(words: Words, m: Mention) -> bool:
    return any(w in _NEGATIVE for w in words.text[m.start : m.end])
