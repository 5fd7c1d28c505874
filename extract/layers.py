"""Layers of wax: "hard on top and soft behind" is two entries, surface and inner.

A layer's words stand either before what they govern ("behind that it's soft") or right after it ("soft behind").
"""

from __future__ import annotations

from spacy.language import Language
from spacy.tokens import Doc

from extract.mentions import Mention
from extract.words import MARKS, STOPS, Words
from shared.vocabulary import word_set

_BITS = word_set("layers", "bits")
_COPULAS = word_set("layers", "copulas")
_PLACES = word_set("layers", "places")
_ONLY_PLACES = [["in", "behind"], ["further", "in"], ["farther", "in"], ["deeper", "in"], ["deeper", "down"]]
"""Say where wax sits, unless it is told apart from other wax."""
_NEAR_THING = 16
"""Words between a thing and "behind it"."""
_UNLIKE = (
    (frozenset({"hard", "firm"}), frozenset({"soft", "wet", "liquid"})),
    (frozenset({"dry", "crumbly", "flaky"}), frozenset({"wet", "liquid"})),
)
"""Kinds of wax that no one layer has both of."""


@Language.component("layers", requires=["doc._.mentions", "doc._.words"], assigns=["doc._.mentions"])
def layers(doc: Doc) -> Doc:
    """Give every kind and colour of wax its layer."""
    words: Words = doc._.words
    current: dict[tuple[int, tuple[int, ...]], str] = {}
    in_sentence: dict[tuple[int, tuple[int, ...]], tuple[int, str]] = {}
    known: dict[tuple[int, tuple[int, ...], str], str] = {}
    mentions = [m for m in doc._.mentions if m.live and m.kind in ("layer", "consistency", "colour")]
    carried: set[int] = set()
    pending: list[Mention] = []
    ears: tuple[int, ...] = ()
    visit = -1
    for n, m in enumerate(mentions):
        if m.kind == "layer" and (_is_place(words, m) or _behind_a_thing(words, doc._.mentions, m)):
            continue
        if m.kind != "layer":
            if m.visit != visit or (m.ears and m.ears != ears):
                pending, ears, visit = [], m.ears, m.visit
            key = (m.visit, m.ears)
            following = words.text[m.end] if m.end < len(words.text) else ""
            if m.kind == "consistency" and following in _BITS and (*key, m.value) in known:
                current[key] = known[*key, m.value]
            m.layer = current.get(key, "")
            said_at, layer = in_sentence.get(key, (-1, ""))
            if said_at == words.sentence[m.start]:
                m.layer = layer
                carried.add(id(m))
            pending.append(m)
            known.setdefault((*key, str(m.value)), m.layer) if m.layer else None
            continue
        upcoming = next((x for x in mentions[n + 1 :] if x.kind != "layer"), None)
        before = [p for p in pending if p.visit == m.visit]
        key = (m.visit, before[-1].ears if before else (upcoming.ears if upcoming is not None else ()))
        if before and _looks_back(words, before[-1], m):
            for p in _chunk(words, before, m, carried):
                p.layer = m.value
                known[*key, str(p.value)] = m.value
            pending = []
            in_sentence[key] = (words.sentence[m.start], m.value)
            continue
        if upcoming is not None and _governs_later(words, doc._.mentions, m, upcoming):
            current[m.visit, upcoming.ears or key[1]] = m.value
            in_sentence.pop((m.visit, upcoming.ears or key[1]), None)
            pending = []
    _forget_places(words, mentions)
    return doc


def _forget_places(words: Words, mentions: list[Mention]) -> None:
    """Take "wax further in", "trapped in behind" for where it sits, where no other layer of that ear is told."""
    by_ear: dict[tuple[int, tuple[int, ...]], list[Mention]] = {}
    for m in mentions:
        if m.kind != "layer":
            by_ear.setdefault((m.visit, m.ears), []).append(m)
    for wax in by_ear.values():
        if {m.layer for m in wax} != {"inner"}:
            continue
        cues = [
            c
            for c in mentions
            if c.kind == "layer" and words.sentence[c.start] == words.sentence[wax[0].start]
        ]
        if cues and all(words.text[c.start : c.end] in _ONLY_PLACES for c in cues):
            for m in wax:
                m.layer = ""


def _is_place(words: Words, cue: Mention) -> bool:
    """Whether "behind" or "under" tells where the wax sits ("behind the hairs"), not which part of it is meant."""
    row = words.text
    if row[cue.end - 1] not in ("behind", "under", "beneath", "underneath"):
        return False
    at = cue.end + (row[cue.end : cue.end + 1] in (["the"], ["his"], ["her"], ["some"], ["a"], ["those"]))
    return bool(_PLACES & set(row[at : at + 2]))


def _behind_a_thing(words: Words, mentions: list[Mention], cue: Mention) -> bool:
    """Whether "behind it" is behind something that does not belong there ("a bead, and soft wax behind it")."""
    said = [
        m
        for m in mentions
        if m.live and m.visit == cue.visit and m.end <= cue.start and cue.start - m.end < _NEAR_THING
    ]
    things = [m for m in said if m.kind == "foreign_body" and m.polarity != "denied"]
    if not things or words.text[cue.end - 1] == "top":
        return False
    wax = [m for m in said if m.start >= things[-1].end and m.kind in ("consistency", "colour")]
    return all(words.part[m.start] == words.part[cue.start] for m in wax)


def _governs_later(words: Words, mentions: list[Mention], cue: Mention, upcoming: Mention) -> bool:
    """Whether a layer's words govern wax described later: in its sentence, or further on if nothing else is
    described in it."""
    sentence = words.sentence[cue.start]
    if words.sentence[upcoming.start] == sentence:
        return True
    if words.sentence[upcoming.start] - sentence > 3:
        return False
    return not any(
        words.sentence[o.start] == sentence
        and o.live
        and (
            o.kind in ("drum", "canal", "skin", "complication")
            or o.readings.get("head") in ("drum", "canal", "skin")
        )
        for o in mentions
    )


def _looks_back(words: Words, last: Mention, cue: Mention) -> bool:
    """Whether a layer's words govern what was said just before them."""
    row = words.text
    between = row[last.end : cue.start]
    if len(between) > 3 or any(w in MARKS or w in ("and", "but", "then") for w in between):
        return False
    following = row[cue.end : cue.end + 2]
    return not (following and following[0] in _COPULAS - {"a", "there"})


def _chunk(words: Words, before: list[Mention], cue: Mention, carried: set[int]) -> list[Mention]:
    """What a layer said afterwards governs: back to the last layer, or to the last pause if one came before."""
    out: list[Mention] = []
    row = words.text
    at = cue.start
    for p in reversed(before):
        between = row[p.end : at]
        if any(w in STOPS for w in between):
            break
        if "," in between and ("wax" in between or any(_unlike(p, o) for o in out)):
            break
        layered = bool(p.layer) and id(p) not in carried
        apart = words.part[p.start] != words.part[cue.start] or any(
            w in (",", "…", "but", "probably") for w in between
        )
        if layered and apart:
            break
        out.append(p)
        at = p.start
    return out


def _unlike(a: Mention, b: Mention) -> bool:
    return any(
        (a.value in one and b.value in other) or (a.value in other and b.value in one)
        for one, other in _UNLIKE
    )
