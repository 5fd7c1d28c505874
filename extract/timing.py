"""Before or after: a finding belongs to `after` once the removal in its ear is finished, else to `before`.

A drum described after anything came out is `after`, unless more comes out and the drum is described again.
"""

from __future__ import annotations

from spacy.language import Language
from spacy.tokens import Doc

from extract.course import REMOVERS
from extract.lengths import tells_place
from extract.mentions import Mention
from extract.words import Words
from shared.vocabulary import word_set


@Language.component(
    "timing", requires=["doc._.mentions", "doc._.words", "doc._.ears"], assigns=["doc._.mentions"]
)
def timing(doc: Doc) -> Doc:
    """Set `when` on every finding of drum, canal and skin, and tell a cleared ear from one that had no wax."""
    words: Words = doc._.words
    by_ear: dict[tuple[int, int], list[Mention]] = {}
    for m in doc._.mentions:
        if m.live:
            for ear in m.ears:
                by_ear.setdefault((m.visit, ear), []).append(m)
    cues = [m for m in doc._.mentions if m.has("late") and m.live]
    late = {s for s in (words.sentence[m.start] for m in cues) if not _AGAIN & set(_said(words, s))}
    timely = {
        id(m)
        for m in doc._.mentions
        if m.live and m.kind == "drum" and _is_apart(words, m, cues, doc._.mentions)
    }
    final = {words.sentence[m.start] + n for m in doc._.mentions if m.has("final") and m.live for n in (0, 1)}
    for mentions in by_ear.values():
        _time_ear(words, mentions, late, final, timely)
    return doc


def _said(words: Words, sentence: int) -> list[str]:
    return words.text[slice(*words.bounds[sentence])]


def _is_apart(words: Words, m: Mention, cues: list[Mention], mentions: list[Mention]) -> bool:
    """Whether all that tells of earlier in a sentence comes after something else it is told of ("the drum's intact,
    and there was a graze, that was there before")."""
    here = [c for c in cues if words.sentence[c.start] == words.sentence[m.start]]
    return bool(here) and all(
        c.start > m.end
        and any(
            o.live and o.kind in ("canal", "skin") and m.end <= o.start
            for o in mentions
            if words.sentence[o.start] == words.sentence[m.start]
            and words.part[o.start] != words.part[m.start]
        )
        for c in here
    )


def _time_ear(
    words: Words, mentions: list[Mention], late: set[int], final: set[int], timely: set[int]
) -> None:
    events = [m for m in mentions if _removes(m) and not _is_place(words, m)]
    work = [m for m in mentions if _works(m)]
    _settle_clear(words, mentions, work)
    events = [e for e in events if e.live and _removes(e)]
    work = [w for w in work if w.live and _works(w)]
    finishes = [m for m in mentions if _finishes(m)]
    drums = [m for m in mentions if m.kind in ("drum", "not_seen")]
    nothing_out = _nothing_removed(mentions)
    for m in mentions:
        if m.kind not in ("drum", "not_seen", "canal", "skin"):
            continue
        was_late = words.sentence[m.start] in late and m.value != "attached" and id(m) not in timely
        if words.sentence[m.start] in final and work and not was_late:
            m.when = "after"
        elif m.when == "before" or was_late or nothing_out:
            m.when = "before"
        elif m.kind in ("drum", "not_seen"):
            m.when = "after" if _drum_after(m, events, work, drums) else "before"
        elif (m.kind == "skin" and m.value in ("loose", "keratin_plug")) or m.value in (
            "narrow",
            "hairy",
            "exostoses",
        ):
            m.when = "before"
        elif m.kind == "skin" and m.value == "attached":
            m.when = "after" if any(e.start < m.start for e in work) else "before"
        else:
            finished = any(f.start < m.start for f in finishes)
            if m.kind == "skin" and not finished:
                m.when = "before"
                continue
            settled = any(e.start < m.start for e in events) and not any(e.start > m.start for e in events)
            m.when = "after" if finished or settled else "before"


_EMPTY, _DRUMS = word_set("timing", "empty"), word_set("timing", "drums")
_OF_WAX = frozenset({"consistency", "colour", "percent", "occlusion", "depth", "foreign_body", "ellipsis"})
"""Kinds by which an ear has something in it, or was said to have nothing."""
_MOVED, _AGAIN = word_set("timing", "moved"), word_set("timing", "again")


def _is_place(words: Words, m: Mention) -> bool:
    """Whether a length tells how far in something sits."""
    return m.kind == "length" and tells_place(words.text[m.end : m.end + 5])


def _removes(m: Mention) -> bool:
    """Whether something comes out of the ear here."""
    return m.polarity != "denied" and (
        m.kind == "length"
        or (m.kind == "clearance" and m.value != "none")
        or m.kind == "removal"
        or (m.kind == "tolerance" and m.value == "stopped_early")
    )


def _works(m: Mention) -> bool:
    """Whether removal is under way here."""
    used = (m.kind == "instrument" and m.value in REMOVERS) or m.kind == "method"
    return m.polarity != "denied" and (used or m.kind in ("length", "removal") or m.kind == "clearance")


def _finishes(m: Mention) -> bool:
    return (m.kind == "clearance" and m.value != "none") or (
        m.kind == "tolerance" and m.value == "stopped_early"
    )


def _settle_clear(words: Words, mentions: list[Mention], work: list[Mention]) -> None:
    """ "Clear" before any work is no clearance; "no wax" after it is one."""
    tools = [m for m in work if m.kind in ("instrument", "method")]
    for m in mentions:
        worked = any(w.start < m.start for w in tools)
        if m.kind == "occlusion" and m.value == "none" and m.polarity != "denied" and worked:
            m.kind, m.value = "clearance", "complete"
        elif (
            m.kind == "clearance"
            and not work[1:]
            and not tools
            and m.value == "complete"
            and not _MOVED & set(words.text[m.start : m.end])
        ):
            of_drum = _DRUMS & set(words.text[max(m.start - 3, 0) : m.end])
            empty = _EMPTY & set(words.text[m.start : m.end]) and not of_drum
            if empty and not any(o.kind in _OF_WAX for o in mentions):
                m.kind, m.value = "occlusion", "none"  # "the left is clear": only looked into
                continue
            m.aside = (
                "no removal was described in this ear"
                if not any(o.kind == "foreign_body" for o in mentions)
                else m.aside
            )


def _nothing_removed(mentions: list[Mention]) -> bool:
    cleared = [m for m in mentions if m.kind == "clearance" and m.live]
    return bool(cleared) and cleared[-1].value == "none" and not any(m.kind == "length" for m in mentions)


def _drum_after(m: Mention, events: list[Mention], work: list[Mention], drums: list[Mention]) -> bool:
    if not any(w.start < m.start for w in work):
        return False
    later = [e for e in events if e.start > m.start and e.kind in ("length", "clearance", "removal")]
    again = later and any(d.start > later[0].start and d.polarity != "denied" for d in drums)
    return not again
