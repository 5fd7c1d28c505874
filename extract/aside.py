"""What is not about this patient now: teaching, supposing, other people, last time, tools not used, questions.

A cue sets aside what follows it in its sentence, up to a contrast ("but she had no dizziness today"), and what
precedes it in the same part.
"""

from __future__ import annotations

import itertools

from spacy.language import Language
from spacy.tokens import Doc

from extract.conditions import deny_supposed
from extract.mentions import Mention, by_sentence
from extract.polarity import answer, is_asked_about
from extract.words import MARKS, Words
from shared.vocabulary import word_set

REASONS = {
    "teaching": "a general remark",
    "hypothetical": "supposed, not found",
    "other_person": "about somebody else",
    "past_visit": "from an earlier visit",
    "not_used": "mentioned but not used",
    "chat": "small talk",
    "hope": "hoped for, not found",
    "question": "a question, not a finding",
}

_ALWAYS_COUNTS = frozenset(
    {
        "advice",
        "consent",
        "interval",
        "referral",
        "urgency",
        "reference",
        "recall_cue",
        "referral_cue",
        "visit",
        "correction",
        "disregard",
        "ear_cue",
        "aside",
        "contrast",
        "head",
        "layer",
    }
)
_SPARED = {
    "hypothetical": _ALWAYS_COUNTS | {"tolerance"},
    "past_visit": (_ALWAYS_COUNTS | {"history", "agent"}) - {"layer"},
    "other_person": _ALWAYS_COUNTS - {"advice", "layer"},
    "teaching": _ALWAYS_COUNTS,
    "hope": _ALWAYS_COUNTS | {"tolerance", "instrument", "method", "length"},
    "chat": frozenset({"instrument", "method", "drum", "consistency", "symptom", "history"}) | _ALWAYS_COUNTS,
}
_OF_THE_PATIENT = frozenset({"he", "she", "him", "her", "his", "hers"})
_PEOPLE = frozenset({"people", "patients", "folk", "some", "you", "they", "anybody"})
_TOOLS = frozenset({"instrument", "method", "agent"})
_QUESTIONED = frozenset({"symptom", "complication", "tolerance"})
_SPLICED = 30
"""Words in a sentence beyond which its commas were heard for full stops: "if X, Y" then ends at the second."""
_LISTING = word_set("aside", "listing")
_BACKWARD = word_set("aside", "backward")
_DETERMINERS = word_set("aside", "determiners")
_OBJECT = 2
"""Words between a cue that ends in "the" and the tool it is about: "cleaned the long hook", not "cleaned the canal
with the hook"."""
_APPOSITION = 9
"""Words between commas that may stand between a person and what they have."""
_CLAUSE = 2
"""Words between "if" and a consent that is only hoped for ("if his mother has signed")."""
_TOLD_OF_THEN = 12
"""Words before "then" among which is the verb of what was so then."""
_DATING = word_set("aside", "dating")
_SHORT_QUESTION = 11
_OPENING = 4
"""Words of a sentence that show whether it comes back to this patient."""
_HERE = word_set("aside", "here")
_DEICTIC = word_set("aside", "deictic")
_PREDICATES = word_set("aside", "predicates")
_PAPERS = word_set("aside", "papers")
_WISHES = word_set("aside", "wishes")
_ASKS = word_set("aside", "asks")


@Language.component("aside", requires=["doc._.mentions", "doc._.words"], assigns=["doc._.mentions"])
def aside(doc: Doc) -> Doc:
    """Give the reason to every mention that a cue sets aside."""
    words: Words = doc._.words
    announced = answering = -1
    for sentence, mentions in by_sentence(words, doc._.mentions):
        if sentence == announced:
            _set_all_aside(mentions, "teaching")
        if sentence == answering and not _PREDICATES & set(words.text[slice(*words.bounds[sentence])]):
            for m in mentions:
                if m.has("referral", "urgency", *_TOOLS):
                    m.aside = m.aside or REASONS["hypothetical"]
        start, end = words.bounds[sentence]
        for cue in mentions:
            sort = cue.readings.get("aside")
            if sort and _counts(words, cue, sort, mentions):
                _set_aside(words, mentions, cue, sort)
        for cue in mentions:
            if cue.readings.get("aside") == "hypothetical":
                deny_supposed(words, mentions, cue)
        _what_was_then(words, mentions, start, end)
        _no_longer(words, mentions, end)
        if words.text[end - 1] == "?" and _asks_what_if(words.text[start:end]):
            answering = sentence + 1
        if words.text[end - 1] == ":" and _only_announces(mentions):
            announced = sentence + 1
        if words.text[end - 1] == "?" and any(_asks_in_general(words, m) for m in mentions):
            after = words.bounds[sentence + 1 : sentence + 2]
            if after and not _DEICTIC & set(words.text[after[0][0] : after[0][1]][:_OPENING]):
                announced = sentence + 1
        for m in mentions:
            if m.live and "advice" in m.readings and _is_ours(words, m):
                m.aside = REASONS["hypothetical"]
            if m.live and "advice" in m.readings:
                _what_to_come_back_for(words, mentions, m)
        short = end - start <= _SHORT_QUESTION
        answered = answer(words.text[end : end + 3]) == "affirmed"
        for m in mentions:
            about = m.has("symptom", "complication", "history") and m.polarity == "affirmed"
            if about and m.live and not answered and is_asked_about(words, m):
                m.aside = REASONS["question"]
        if short and not answered and words.text[end - 1] == "?" and words.text[start] not in ("see", "look"):
            asks = words.text[start] in _ASKS
            for m in mentions:
                seen = m.has("consistency", "canal", "drum", "history")
                if m.live and m.polarity != "denied" and m.has(*_QUESTIONED) and (asks or not seen):
                    m.aside = REASONS["question"]
    return doc


def _what_was_then(words: Words, mentions: list[Mention], start: int, end: int) -> None:
    """Findings told with "then" of an earlier time ("I cleared it last spring, and it was all black and hard then")."""
    row = words.text
    for i in range(start + 1, end):
        closed = row[i] == "then" and (i + 1 == end or row[i + 1] in MARKS)
        if not closed or not {"was", "were", "had", "looked"} & set(row[max(i - _TOLD_OF_THEN, start) : i]):
            continue
        earlier = [m.start for m in mentions if m.end <= i and _tells_of_earlier(m)]
        earlier += [j for j in range(start, i) if row[j] == "before" and row[j + 1] in MARKS]
        for m in mentions:
            told = bool(earlier) and min(earlier) < m.start < i
            if told and m.live and not _SPARED["past_visit"] & m.readings.keys():
                m.aside = REASONS["past_visit"]


def _no_longer(words: Words, mentions: list[Mention], end: int) -> None:
    """Deny what was so at an earlier time, where its sentence says that it is so no longer ("she had pain last year,
    now it is not there")."""
    row = words.text
    for m in mentions:
        if not m.has("symptom") or m.aside != REASONS["past_visit"]:
            continue
        now = next((i for i in range(m.end, end) if row[i] in ("now", "today")), end)
        no = next(
            (i for i in range(now, min(now + _OBJECT + 4, end)) if row[i] in ("not", "n't", "none", "gone")),
            -1,
        )
        if no >= 0:
            m.aside, m.polarity, m.denied_at = "", "denied", no


def _tells_of_earlier(m: Mention) -> bool:
    return m.readings.get("aside") == "past_visit" or m.readings.get("history") == "previous_removal"


def _asks_what_if(said: list[str]) -> bool:
    """Whether a question supposes something ("If it were clean, what would you do?")."""
    would = any(a in ("would", "'d") and b in ("you", "we") for a, b in itertools.pairwise(said))
    return would and bool({"what", "where", "who"} & set(said)) and bool({"if", "were", "had"} & set(said))


def _is_ours(words: Words, advice: Mention) -> bool:
    """Whether an "if ..." tells what the clinician would do, not the patient ("if it had bled I'd be on the phone")."""
    said = words.text[advice.start : advice.end]
    if said[0] != "if":
        return False
    ours = [i for i, w in enumerate(said) if w in ("i", "we") and said[i + 1 : i + 2] in (["'d"], ["would"])]
    wished = any(set(said[i + 2 : i + 3]) & _WISHES for i in ours)
    return "my" in said or bool(ours and not wished)


def _what_to_come_back_for(words: Words, mentions: list[Mention], advice: Mention) -> None:
    """Signs named in a piece of advice or listed after it ("any pain or drainage, straight back") have not happened."""
    end = advice.end
    for m in mentions:
        listed = m.start >= end and all(w in _LISTING for w in words.text[end : m.start])
        inside = advice.start <= m.start < advice.end or listed
        if m is not advice and m.live and inside and m.has("symptom", "complication", "canal"):
            m.aside = REASONS["hypothetical"]
            end = max(end, m.end)


def _only_announces(mentions: list[Mention]) -> bool:
    """Whether a sentence only says whom a general remark is for ("for the students:")."""
    left = [m for m in mentions if m.live]
    return bool(left) and all(m.readings.get("aside") == "teaching" for m in left)


def _asks_in_general(words: Words, cue: Mention) -> bool:
    """Whether a question is about such things in general ("what does a healthy drum look like?"): so is its answer."""
    return cue.readings.get("aside") == "teaching" and words.text[cue.start] in ("what", "how", "why")


def _set_all_aside(mentions: list[Mention], sort: str) -> None:
    for m in mentions:
        if m.live and not _SPARED[sort] & m.readings.keys():
            m.aside = REASONS[sort]


def _set_aside(words: Words, mentions: list[Mention], cue: Mention, sort: str) -> None:
    low, high = _reach(words, mentions, cue, sort)
    if sort == "not_used" and _looks_back(words, cue):
        earlier = [m for m in mentions if m.has(*_TOOLS) and cue.start - 14 < m.start < cue.start and m.live]
        low, high = (earlier[-1].start, cue.start) if earlier else (low, high)
    elif sort == "not_used" and not any(m.has(*_TOOLS) and low <= m.start < high for m in mentions):
        earlier = [m for m in mentions if m.has(*_TOOLS) and cue.start - 14 < m.start < cue.start and m.live]
        low = earlier[-1].start if earlier else low
    last: Mention | None = None
    for m in mentions:
        at = m.end - 1 if sort == "hope" else m.start
        if m is cue or not m.live or not low <= at < high:
            continue
        if sort == "not_used":
            if m.has(*_TOOLS) and not m.has("advice"):
                if last is None and m.start > cue.end + _OBJECT and words.text[cue.end - 1] in _DETERMINERS:
                    break
                if last is not None and cue.end <= last.start and not _joined(words, last, m):
                    break
                m.aside, last = REASONS[sort], m
        elif sort == "other_person" and _own_family_speaks(words, m, cue):
            continue
        elif (
            sort == "past_visit"
            and m.has("drum", "canal")
            and {"previous", "visit", "time", "used"} & set(words.text[cue.start : cue.end])
        ):
            m.aside = REASONS[sort]
        elif sort == "past_visit" and words.text[cue.end - 1] == "ago" and m.has("symptom"):
            continue
        elif (
            not _SPARED[sort] & m.readings.keys()
            or (sort == "other_person" and m.has("symptom", "history"))
            or (m.has("referral", "urgency") and m.start > cue.end and _sets_condition(words, cue))
            or (m.has("consent") and cue.end <= m.start <= cue.end + _CLAUSE and _sets_condition(words, cue))
        ):
            m.aside = REASONS[sort]


def _sets_condition(words: Words, cue: Mention) -> bool:
    """Whether what follows only happens if something else does ("if it bleeds I'd send her to ENT"), unlike a
    request ("I'd be grateful if you could see her")."""
    said = words.text[cue.start : cue.end]
    polite = words.text[cue.end : cue.end + 1] in (["you"], ["that"], ["possible"])
    return bool(_CONDITIONS & set(said)) and not polite


def _counts(words: Words, cue: Mention, sort: str, mentions: list[Mention]) -> bool:
    """Whether a cue is one: "since last year" dates a complaint, and a relative must be said to have something."""
    row = words.text
    if sort == "past_visit":
        return cue.start == 0 or row[cue.start - 1] not in _DATING
    said = row[cue.start : cue.end]
    if said == ["sometimes"]:
        here = set(row[slice(*words.bounds[words.sentence[cue.start]])])
        return not _OF_THE_PATIENT & here or bool(_PEOPLE & here)
    if sort == "hope":
        return row[cue.start - 1] not in ("no", "a")  # "not a hope"
    if said == ["if"]:
        return not (
            row[cue.end + 1 : cue.end + 2] == [","] and row[cue.end] in ("that", "anything", "so", "any")
        )
    if said[-1] == "last" and row[cue.end : cue.end + 1] and row[cue.end] in _PAPERS:
        return False  # "that's from my last note"
    if sort == "other_person" and said[-1] in RELATIVES:
        if row[max(cue.start - 1, 0)] in ("like", "than", "as", "unlike"):  # likened to theirs, not theirs
            return False
        agrees = any(m.has("consent") and m.start > cue.start for m in mentions)
        after = _after_apposition(row, cue.end)
        return after < len(row) and row[after] in _HAVING and not agrees
    return True


def _after_apposition(row: list[str], i: int) -> int:
    """The place after what is put in between commas ("her daughter, who's also my patient, has...")."""
    if row[i : i + 1] != [","]:
        return i
    closing = next((j for j in range(i + 1, min(i + _APPOSITION, len(row))) if row[j] in MARKS), i)
    return closing + 1 if row[closing] == "," else i


_CONDITIONS = word_set("aside", "conditions")
RELATIVES = word_set("aside", "relatives")
_HAVING = word_set("aside", "having")


def _reach(words: Words, mentions: list[Mention], cue: Mention, sort: str) -> tuple[int, int]:
    """The words [low, high) that a cue sets aside."""
    start, end = words.bounds[words.sentence[cue.start]]
    row = words.text
    part = words.part[cue.start]
    low = cue.start
    while low > start and words.part[low - 1] == part:
        low -= 1
    if sort == "other_person" and cue.start - low > 8:
        low = cue.start
    said_of_noun = (
        row[cue.start] == "you" and cue.start > low and row[cue.start - 1] not in (*MARKS, "and", "so")
    )
    if sort == "teaching" and said_of_noun:
        low = cue.start  # "a hole you could post a letter through"
    if sort in ("hypothetical", "chat", "hope"):
        low = cue.start if sort != "chat" else max(low, cue.start - 4)
    high = cue.end
    if "but" in row[high - 2 : high]:  # "I thought there was a hole, but": what follows counts
        return low, high
    spliced = end - start > _SPLICED and sort in ("hypothetical", "teaching")
    commas = 0
    while high < end:
        commas += row[high] == ","
        if spliced and commas > 1:
            break
        if sort == "hypothetical" and row[high : high + 2] in (["only", "for"], ["but", "for"]):
            break  # "it would be intact only for a pinhole"
        if row[high] in ("but", "though", "although", "however") and high > cue.end and _turns(row, high):
            break
        if (
            sort == "teaching"
            and row[high] == ","
            and any(o.start == high + 1 and o.has("ear_cue") for o in mentions)
        ):
            break
        if sort == "past_visit" and high == cue.end and row[high] in MARKS and cue.start - start > 2:
            break
        if sort == "hope" and high > cue.end and (row[high] in MARKS or words.part[high] != part):
            break
        if sort in ("not_used", "past_visit", "chat", "other_person") and high > cue.end:
            leads = cue.start - start < 2 or (
                row[cue.start - 1] in ("and", "but") and row[cue.start - 2] in MARKS
            )
            opening = sort == "past_visit" and (leads or row[cue.start] == "back")
            if opening and row[high - 1] in MARKS and _is_now(row, high):
                break
            if row[high] in MARKS and sort not in {"not_used", "other_person"} and not opening:
                break
            if sort == "not_used" and (
                row[high] in (",", "…") or words.part[high] != words.part[cue.end - 1]
            ):
                break
        high += 1
    return low, high


def _is_now(row: list[str], i: int) -> bool:
    """Whether the talk comes back from last time to this visit at word i ("..., today it just itches")."""
    after = row[i + 1 : i + 4] if row[i] in ("and", "but", "so", "well") else row[i : i + 3]
    return after[:1] in (["today"], ["now"]) or after[:2] in (["this", "time"], ["this", "visit"])


def _joined(words: Words, a: Mention, b: Mention) -> bool:
    """Whether two tools are named together ("the hook or the probe"), or one phrase names the other."""
    between = words.text[a.end : b.start]
    return len(between) < 2 or any(w in ("or", "and", "nor", ",") for w in between)


def _looks_back(words: Words, cue: Mention) -> bool:
    """Whether "not used" speaks of the tool named before it ("put it down again", "didn't need them")."""
    row = words.text
    return row[cue.start] in _BACKWARD or row[cue.end : cue.end + 1] in (
        ["it"],
        ["them"],
        ["that"],
    )


def _turns(row: list[str], i: int) -> bool:
    """Whether a "but" turns back to this patient."""
    return any(w in _HERE for w in row[i + 1 : i + 4])


def _own_family_speaks(words: Words, m: Mention, cue: Mention) -> bool:
    """A parent or partner who speaks for the patient ("Mum says the right one's been draining")."""
    after = words.text[cue.end : cue.end + 3]
    return (
        any(
            w
            in (
                "says",
                "said",
                "reports",
                "thinks",
                "noticed",
                "booked",
                "signed",
                "consented",
                "telling",
                "confirms",
                "reckons",
                "tells",
            )
            for w in after
        )
        and m.start > cue.start
    )
