"""Self-corrections: the last word stands.

Natural speech ("eighteen, no, sixteen", "left, sorry, right ear", "make that four months") and the radiotelephony
words CORRECTION and DISREGARD (ICAO Annex 10 vol. II, 5.2.1.5.8). After CORRECTION the speaker may repeat the last
right words before the right version, so words that agree with what was said are anchors, not corrections.
"""

from __future__ import annotations

import itertools
from fractions import Fraction

from spacy.language import Language
from spacy.tokens import Doc

from extract.aside import RELATIVES
from extract.measures import MM_PER, ORDINALS, Measure
from extract.mentions import Mention
from extract.numbers import STARTERS
from extract.words import MARKS, STOPS, Words
from shared.vocabulary import word_set

CORRECTED = "taken back by the speaker"

_CLASSES = (
    "length",
    "percent",
    "size",
    "interval",
    "ear_cue",
    "colour",
    "consistency",
    "depth",
    "occlusion",
    "drum",
    "canal",
    "instrument",
    "agent",
    "referral",
    "urgency",
    "clearance",
    "reference",
    "history",
    "symptom",
    "hearing_outcome",
    "foreign_body",
)
_NUMERIC = frozenset({"length", "percent", "size", "interval", "bare"})
_BACK = {"no": 9, "strong": 16, "icao": 30}
_AHEAD = {"no": 13, "strong": 9, "icao": 16}
_ELLIPSIS = 9
"""Words after a correction within which a bare "it doesn't" takes back what was said."""
_BESIDE = 2
"""Words between a side and the correction that takes it back."""
_REFUSED = 3
"""Words between a correction and what it refuses ("no, not olive oil")."""
_NEAR = 9
"""Words after a plain "no" within which a bare number may replace a measure."""
_AUXILIARIES = word_set("corrections", "auxiliaries")
_AFTER_DENIAL = word_set("corrections", "after_denial")
_CLOCK = word_set("corrections", "clock")
_NEEDS_FIRM = frozenset({"instrument", "history", "symptom", "agent"})
_STRIKES = word_set("corrections", "strikes")
_FIRM = word_set("corrections", "firm")
_RULERS = frozenset({"ruler", "rule", "scale", "measure", "remeasure", "measuring"})
_ON_THE_WAY = frozenset({"no", "wait", "hang", "hold"})
"""In a correction that explains itself before the number ("no, wait, I had it upside down, it's eighteen mil")."""
_EXPLAINED = 20
_FURTHER = word_set("corrections", "further")
_FAR = ("take", "takes", "misread", "lie", "ruler", "rule", "scale", "measure", "remeasure")
_STATEMENT = word_set("corrections", "statement")
_EARLIER, _OCCASIONS = word_set("corrections", "earlier"), word_set("corrections", "occasions")
_ALIKE = word_set("corrections", "alike")
_TRICKS = word_set("corrections", "tricks")
_SMALL = frozenset({"a", "the", "my", "just", "only", "bit", "of", "an", "some", "little", "wee"})
_COUNTED = word_set("measures", "pieces") | word_set("corrections", "counted")


@Language.component("corrections", requires=["doc._.mentions", "doc._.words"], assigns=["doc._.mentions"])
def corrections(doc: Doc) -> Doc:
    """Set aside what the speaker took back, and give a bare corrected number the unit of the first."""
    words: Words = doc._.words
    mentions: list[Mention] = [m for m in doc._.mentions if m.kind != "bare" or m.measure is not None]
    at = 0
    while at < len(mentions):
        cue = mentions[at]
        if "disregard" in cue.readings:
            _disregard(words, mentions, at)
        elif "correction" in cue.readings:
            last = at
            while last + 1 < len(mentions) and _runs_on(words, mentions[last], mentions[last + 1]):
                last += 1
            _correct(words, mentions, at, last)
            at = last
        elif cue.kind == "length" and cue.polarity == "denied":
            _put_in_place(words, mentions, at)
        at += 1
    doc._.mentions = mentions
    return doc


def _put_in_place(words: Words, mentions: list[Mention], at: int) -> None:
    """Give the number that stands in for a denied length its unit ("not twenty mil, twelve")."""
    old = mentions[at]
    new = next((m for m in mentions[at + 1 :] if m.measure is not None), None)
    if new is None or new.kind != "bare" or not _ALIKE.issuperset(words.text[old.end : new.start]):
        return
    if not counts_pieces(words.text, new):
        _inherit(old, new)
        new.polarity = "affirmed"


def _runs_on(words: Words, a: Mention, b: Mention) -> bool:
    """Whether two correction cues follow each other directly ("no, hang on", "sorry, no")."""
    return "correction" in b.readings and all(w in MARKS for w in words.text[a.end : b.start])


def _correct(words: Words, mentions: list[Mention], first: int, last: int) -> None:
    row = words.text
    begin, end = mentions[first].start, mentions[last].end
    sorts = {mentions[i].readings["correction"] for i in range(first, last + 1)}
    sort = "icao" if "icao" in sorts else "strong" if "strong" in sorts else "no"
    if sort == "no" and not _lone_no(words, begin, end):
        return
    pointed = row[end : end + 2] in (["these", "are"], ["this", "is"]) or row[end + 1 : end + 3] in (
        ["these", "are"],
        ["this", "is"],
    )
    refused = "not" in row[end : end + 1 + (row[end : end + 1] == [","])]  # "no, not olive oil, peroxide"
    firm = pointed or refused or sort == "icao" or bool(_FIRM & set(row[begin:end]))
    far = any(w in _FAR for w in row[begin:end])
    back = _BACK["icao"] if far else _BACK[sort]
    ahead = _AHEAD["icao"] if far else _AHEAD[sort]
    after = [m for m in mentions[last + 1 :] if m.start < _limit(row, end, ahead)]
    if not after and _ON_THE_WAY & set(row[begin:end]):
        later = [m for m in mentions[last + 1 :] if m.start < _limit(row, end, _EXPLAINED)]
        after = later[:1] if later and later[0].kind == "length" else []
    before = [
        m for m in mentions[:first] if m.end > begin - back and m.live and m.visit == mentions[first].visit
    ]
    denied = _denied_at(row, end)
    if _is_only_wax(row, end):
        for m in [m for m in before if m.has("foreign_body") or "bleeding" in m.readings.values()][-1:]:
            m.aside = CORRECTED
    if _is_a_trick(row, end):
        for m in [m for m in before if m.has("drum", "canal", "foreign_body", "skin")][-1:]:
            m.aside = CORRECTED
    if (_STRIKES & set(row[begin:end]) or denied >= 0 or _of_another(row, end)) and before:
        replaced = [
            n
            for n in after[:3]
            if _same_class(before, n, firm) and not _same_value(_same_class(before, n, firm)[0], n)
        ]
        if not replaced:
            near = words.sentence[begin] - (begin == words.bounds[words.sentence[begin]][0])
            here = [m for m in before if words.sentence[m.start] == near and set(m.readings) & set(_CLASSES)]
            if denied >= 0 and row[denied + 1 : denied + 2] == ["hurt"]:  # "it itches. No, it doesn't hurt."
                here = [m for m in here if "pain" in m.readings.values()]
            for m in here[-1:]:
                if denied >= 0 and m.has("symptom", "complication", "history"):
                    m.polarity, m.denied_at = "denied", denied
                else:
                    m.aside = CORRECTED
            return
    for new in after:
        if "correction" in new.readings or "visit" in new.readings:
            break
        if new.kind == "length" and _FURTHER & set(row[end : new.start]):
            break  # "wait, here comes the rest, six mil"
        near = not counts_pieces(row, new) and (sort != "no" or _stands_in(row, end, new))
        olds = _same_class(before, new, firm, near)
        if not olds or (
            new.has("ear_cue") and _is_of_something_else(row, mentions, begin, end, olds[0], new)
        ):
            continue
        if _same_value(olds[0], new):
            if refused and new.start <= end + _REFUSED:
                _take_back(olds, new)
                new.aside = CORRECTED
            elif new.polarity == "denied" and olds[0].polarity != "denied":
                _take_back(olds, new)
            if sort != "icao":
                break
            continue
        _take_back(olds, new)
        if new.polarity == "denied" and "no" in row[begin:end]:
            new.polarity = "affirmed"
        _inherit(olds[0], new)
        if sort != "icao":
            break


def _is_of_something_else(
    row: list[str], mentions: list[Mention], begin: int, end: int, old: Mention, new: Mention
) -> bool:
    """Whether a side after a correction belongs to what was put right ("give glycerine, sorry, olive oil for the
    left side"): then it corrects no side."""
    beside = begin - old.end <= _BESIDE
    return not beside and any(
        o.live and end <= o.start < new.start and o.has("agent", "advice", "interval", "length", "instrument")
        for o in mentions
    )


def _take_back(olds: list[Mention], new: Mention) -> None:
    for old in olds:
        old.aside = CORRECTED
        new.linked.append(old)


def _is_only_wax(row: list[str], end: int) -> bool:
    """Whether the words after a correction say that it was wax after all ("cotton, I think, no, it's only wax")."""
    said = [w for w in row[end : end + 5] if w not in MARKS and w not in ("just", "only", "all")]
    return (
        said[:1] in (["it"], ["that"])
        and said[1:2] in (["'s"], ["is"], ["was"])
        and said[2:3] in (["wax"], ["cerumen"])
    )


def _is_a_trick(row: list[str], end: int) -> bool:
    """Whether what was seen is told to be something else ("no, that's the light", "hold on, it's a fleck of wax")."""
    said = row[end : end + 7]
    said = said[1:] if said[:1] in ([","], ["."]) else said
    if said[:1] not in (["that"], ["it"], ["this"]) or said[1:2] not in (["'s"], ["is"], ["was"]):
        return False
    rest = itertools.dropwhile(_SMALL.__contains__, said[2:])
    return next(rest, "") in _TRICKS


def _denied_at(row: list[str], end: int) -> int:
    """Where the words after a correction deny what was said with nothing in its place ("no, it's not", "no, she
    says it doesn't"); -1 if they do not."""
    for i in range(end, min(end + _ELLIPSIS, len(row))):
        if row[i] in STOPS:
            break
        if row[i] in ("not", "n't") and row[i - 1] in _AUXILIARIES and row[i - 2] not in ("i", "we", "you"):
            return i if i + 1 == len(row) or row[i + 1] in MARKS or row[i + 1] in _AFTER_DENIAL else -1
    return -1


def _of_another(row: list[str], end: int) -> bool:
    """Whether the words after a correction give what was said to somebody else, or to another time ("sorry, that was
    the brother", "that's from my last note")."""
    said = row[end : end + 7]
    if said[:1] == [","]:
        said = said[1:]
    dated = any(a in _EARLIER and b in _OCCASIONS for a, b in itertools.pairwise(said))
    return said[:1] == ["that"] and (dated or bool(RELATIVES & set(said)))


def counts_pieces(row: list[str], m: Mention) -> bool:
    """Whether a bare number only counts pieces ("one piece out", "two big lumps")."""
    if m.kind == "bare" and row[m.start] == "one" and row[m.start - 1] in ORDINALS:
        return True  # "the second one was eight mil"
    return m.kind == "bare" and any(w in _COUNTED for w in row[m.end : m.end + 2])


def _stands_in(row: list[str], end: int, new: Mention) -> bool:
    """Whether a bare number after a plain "no" can stand in for a measure ("no, I had the ruler upside down, four")."""
    return new.start - end <= _NEAR and row[new.start - 1] not in _CLOCK


def _limit(row: list[str], at: int, ahead: int) -> int:
    """The end of the words a correction may be found in: so many words, one full stop at the start aside, and what
    stands before the measuring itself ("no, let me put it on the ruler. It's nine")."""
    limit = min(at + ahead, len(row))
    for i in range(at + 2, limit):
        if row[i] in STOPS and not _RULERS & set(row[at:i]):
            return i
    return limit


def _lone_no(words: Words, begin: int, end: int) -> bool:
    """Whether a "no" takes something back rather than denying what follows."""
    row = words.text
    following = row[end] if end < len(row) else ""
    if begin > 1 and row[begin - 1] in ("well", "ah", "oh") and row[begin - 2] != "as":
        return True
    if begin and row[begin - 1] == "?" and following in STOPS:
        return False  # "any holes, any operations? No."
    return following in MARKS or following in _STATEMENT or following[:1].isdigit() or _number_like(following)


def _number_like(word: str) -> bool:
    return word in STARTERS and word not in ("a", "an")


def _same_class(before: list[Mention], new: Mention, firm: bool, near: bool = True) -> list[Mention]:
    """The mentions that `new` corrects: the nearest of its class, with those coordinated to it."""
    for old in reversed(before):
        kinds = [k for k in _CLASSES if k in old.readings and k in new.readings]
        if new.kind == "bare" and not near:
            continue
        if new.kind == "bare" and old.kind in _NUMERIC - {"bare"} and old.measure is not None:
            if new.measure is not None and new.measure.unit != "years" and _plausible(old, new.measure):
                return [old]
            continue
        if old.kind == "bare" and new.kind in _NUMERIC:
            return [old]
        measured = firm and old.kind != new.kind and {old.kind, new.kind} <= _NUMERIC - {"bare"}
        if measured and old.measure and new.measure and old.measure.value == new.measure.value:
            return [old]
        if kinds == ["canal"] and old.has("drum") and new.readings["canal"] == "bleeding":
            continue  # "drum's healthy, ah, no, there's a drop of blood"
        if kinds and not (
            kinds == ["ear_cue"]
            and {old.readings["ear_cue"], new.readings["ear_cue"]} & {"this", "that", "first", "second"}
        ):
            if kinds[0] in _NEEDS_FIRM and not firm:
                return []
            if kinds[0] != "ear_cue" and any(
                b.readings.get("ear_cue") in ("right", "left", "other") and old.end <= b.start for b in before
            ):
                return []
            return [old]
    return []


def _plausible(old: Mention, number: Measure) -> bool:
    """Whether a bare number can stand in for the measure it corrects."""
    return old.kind in ("length", "percent", "size", "interval") and Fraction(0) < number.value <= 100


def _same_value(old: Mention, new: Mention) -> bool:
    if old.measure is not None and new.measure is not None:
        return (
            old.kind == new.kind
            and old.measure.value == new.measure.value
            and old.measure.text == new.measure.text
        )
    return any(old.readings.get(k) == v for k, v in new.readings.items() if k in _CLASSES)


def _inherit(old: Mention, new: Mention) -> None:
    """Give a bare number the unit and sort of the measure it replaces."""
    if new.kind != "bare" or old.measure is None or new.measure is None or old.kind == "bare":
        return
    scale = Fraction(1)
    if old.kind == "length":
        scale = MM_PER[old.measure.unit]
    text = f"{new.measure.whole}{old.measure.text.lstrip('0123456789')}" if old.kind == "size" else ""
    new.measure.kind, new.measure.unit, new.measure.text = old.measure.kind, old.measure.unit, text
    new.measure.value *= scale
    new.kind, new.readings, new.value = old.kind, {old.kind: text}, text


def _disregard(words: Words, mentions: list[Mention], at: int) -> None:
    """Set aside what stands before DISREGARD in its sentence; if nothing does, what it names ("disregard dull"), or
    else the sentence before."""
    cue = mentions[at]
    sentence = words.sentence[cue.start]
    same = [
        m
        for m in mentions[:at]
        if words.sentence[m.start] == sentence and not m.has("correction", "aside", "weak")
    ]
    named = {
        (kind, value)
        for m in mentions[at + 1 :]
        if cue.end <= m.start <= cue.end + 1 and words.sentence[m.start] == sentence
        for kind, value in m.readings.items()
        if kind in _CLASSES
    }
    if not same and named:
        near = [m for m in mentions if sentence - 1 <= words.sentence[m.start] <= sentence]
        said = [m for m in near if m.start < cue.start + _NEAR and named & m.readings.items()]
        if any(m.start < cue.start for m in said):
            same = said
    struck = same
    if not struck:
        earlier = [m for m in mentions[:at] if not m.has("correction")]
        if earlier:
            previous = words.sentence[earlier[-1].start]
            struck = [m for m in earlier if words.sentence[m.start] == previous]
    for m in struck:
        m.aside = m.aside or CORRECTED
