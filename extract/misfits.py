"""Words that their sentence shows to be said of something else than their meaning asks for.

A colour with no wax near, "deep" said of skin, a cotton bud that was a tool, what a thing is only likened to.
"""

from __future__ import annotations

import itertools

from extract.mentions import Mention
from extract.setting import Setting
from extract.words import MARKS
from shared.vocabulary import word_set

NOT_LINKED = "not clear what it is said of"
COMPARISON = "a comparison"
NOT_WAX = "said not to be wax"

_PEARLY, _PALE = word_set("subjects", "pearly"), word_set("subjects", "pale")
_TOLD = word_set("subjects", "told")
_NOT_DRUM = word_set("subjects", "not_drum")
_HANDLED = word_set("subjects", "handled")
_THINGS = word_set("subjects", "things")
_COPULAS = word_set("subjects", "copulas")
_INWARD = word_set("subjects", "inward")
_BUDS = word_set("subjects", "buds")
_BLOOD = frozenset({"blood", "bleeding", "sweat", "pus"})
_SEEMS = frozenset({"look", "looked", "looking", "looks", "seems"})
_NOUN = 2
"""Words between an adjective and the wax it stands before."""
_LIKENED = 5
"""Words before a mention in which a comparison ("as soft as") is looked for."""


def misfit(m: Mention, at: Setting) -> str:
    """Why a settled mention cannot mean what it was taken for, "" if nothing speaks against it."""
    if m.kind == "symptom":
        return NOT_LINKED if _is_no_complaint(m, at) else ""
    if m.kind == "consistency" and _was_made_soft(m, at):
        return NOT_LINKED
    if m.kind in ("colour", "depth") and _is_of_foreign_body(m, at):
        return NOT_LINKED
    if m.value == "bead" and _BLOOD & set(at.words.text[max(m.start - _LIKENED - 3, at.start) : m.start]):
        return NOT_LINKED  # "a bit of blood on the left, just a bead"
    carried = (at.focus.last == "wax" and at.opens(m)) or any(old.has("colour") for old in m.linked)
    if m.kind == "colour" and not (carried or _wax_in(m, at)) and len(at.said) > 5 and m.start > at.start:
        return NOT_LINKED
    if m.kind == "depth":
        return NOT_LINKED if _is_depth_of_other(m, at) else ""
    if m.kind == "skin" and m.value in ("loose", "attached") and not _skin_in_talk(m, at):
        return NOT_LINKED
    if m.kind == "drum" and m.value == "intact" and "drum" not in _nouns(at) and _NOT_DRUM & set(at.said):
        return NOT_LINKED
    if m.kind == "drum" and m.value == "healthy" and _is_pale_wax(m, at):
        return NOT_LINKED
    if m.kind == "consistency" and m.value in ("wet", "liquid") and _is_of_canal(m, at):
        return NOT_LINKED
    if m.kind == "consistency" and m.value == "dry" and (_is_of_hole_or_tube(m, at) or _is_of_blood(m, at)):
        return NOT_LINKED
    if m.kind == "occlusion" and m.value == "none" and _tells_what_it_is(m, at):
        return NOT_WAX
    if m.kind in ("colour", "consistency") and _is_of_a_thing(m, at):
        return NOT_LINKED
    if m.kind in ("colour", "consistency") and _says_not_wax(m, at):
        return NOT_WAX
    if m.kind == "foreign_body" and m.value == "cotton" and at.words.text[m.end - 1] in _BUDS:
        return NOT_LINKED
    if m.kind in ("consistency", "colour", "canal", "foreign_body", "drum") and _is_comparison(m, at):
        return COMPARISON
    return NOT_LINKED if m.kind == "foreign_body" and _is_tool(m, at) else ""


def _nouns(at: Setting) -> set[str]:
    return {h.readings["head"] for h in at.heads}


def _is_pale_wax(m: Mention, at: Setting) -> bool:
    """Whether "pearly white" is said of a plug or of skin; said of nothing named, it must follow on the drum."""
    words = at.words
    if not _PEARLY & set(words.text[m.start : m.end]):
        return False
    part = {w for i, w in enumerate(words.text) if words.part[i] == words.part[m.start]}
    return bool(_PALE & part) or ("drum" not in _nouns(at) and at.focus.last != "drum")


def _wax_in(m: Mention, at: Setting) -> bool:
    """Whether the sentence speaks of wax, by its name or by what else it says of it."""
    described = ("consistency", "colour", "percent", "layer", "occlusion", "same")
    return "wax" in _nouns(at) or any(o is not m and o.has(*described) for o in at.mentions)


def _is_no_complaint(m: Mention, at: Setting) -> bool:
    """Whether a complaint is none of the patient's: heard during the work and not told as theirs, or seen."""
    if at.working and m.polarity != "denied" and not _TOLD & set(at.said):
        return True
    if m.value == "discharge" and at.words.text[m.end - 1] == "wet" and "wax" in _nouns(at):
        return True  # "the wax in the left ear is wet"
    if at.looking and m.value == "blocked":
        return not any(w.startswith(("feel", "felt", "complain", "mean")) for w in at.said)
    return at.looking and m.value == "discharge" and at.words.text[m.start].startswith("run")


def _is_of_a_thing(m: Mention, at: Setting) -> bool:
    """Whether a word is said of something that is no wax ("a hard job", "the light is yellow")."""
    row = at.words.text
    if any(old.has(m.kind) for old in m.linked):
        return False  # "dark grey. No, that's the light, it's brown."
    i = m.start - 1
    while i > at.start and row[i] in _COPULAS:
        i -= 1
    if any(o.start <= i < o.end and o.has("occlusion", "depth") for o in at.mentions):
        return False  # "packed to the door, light brown"
    if any(h.readings["head"] == "wax" and 0 <= h.start - m.end <= _NOUN for h in at.heads):
        return False
    shade = any(o.start == m.end and o.has("colour") for o in at.mentions)  # "hard light brown"
    after = m.end < len(row) and row[m.end] in _THINGS and not shade
    return after or (at.start <= i < m.start - 1 and row[i] in _THINGS)


def _is_of_canal(m: Mention, at: Setting) -> bool:
    """Whether "wet" is said of the canal or drum ("canal wet from the drops"), with no wax in the sentence."""
    before = [h for h in at.heads if h.end <= m.start and _COPULAS.issuperset(at.words.text[h.end : m.start])]
    said_of = before[-1].readings["head"] if before else ""
    return said_of in ("canal", "drum") and not _wax_in(m, at)


def _is_of_hole_or_tube(m: Mention, at: Setting) -> bool:
    """Whether "dry" is said of a hole or a tube in the drum named just before ("grommet in the drum, dry")."""
    said = [o for o in at.mentions if o.end <= m.start and o.kind in ("drum", "consistency", "colour")]
    return bool(said) and said[-1].value in ("perforated", "grommet") and "wax" not in _nouns(at)


def _is_of_blood(m: Mention, at: Setting) -> bool:
    """Whether "dried" is said of the blood named just before ("a spot of blood, it's dried up")."""
    said = [o for o in at.mentions if o.end <= m.start and o.has("complication", "consistency", "colour")]
    return bool(said) and said[-1].readings.get("complication") == "bleeding" and "wax" not in _nouns(at)


def _was_made_soft(m: Mention, at: Setting) -> bool:
    """Whether "softened" tells what was done with an oil, not how the wax is found ("I'd it softened with drops")."""
    if at.words.text[m.end - 1] != "softened" or not any(o.has("agent") for o in at.mentions):
        return False
    return bool(
        {"'d", "had", "have", "'ve", "been", "was", "got"} & set(at.words.text[max(m.start - 3, 0) : m.start])
    )


def _tells_what_it_is(m: Mention, at: Setting) -> bool:
    """Whether "that's no wax" says what something is, not that there is none."""
    row = at.words.text
    pointed = row[max(m.start - 2, 0)] in ("that", "it", "this") and row[m.start - 1] in ("'s", "is", "was")
    return pointed and m.end - m.start == 2 and (row[m.end : m.end + 1] == [] or row[m.end] in MARKS)


def _is_of_foreign_body(m: Mention, at: Setting) -> bool:
    """Whether a colour or depth is that of the thing found in the ear ("a white bead")."""
    if m.kind == "colour" and any(o.start == m.end and o.has("foreign_body") for o in at.mentions):
        return True
    wax = any(o.readings.get("head") == "wax" and o.start < m.end + 3 for o in at.mentions)
    return at.focus.last == "foreign_body" and not wax


def _is_depth_of_other(m: Mention, at: Setting) -> bool:
    """Whether a depth is said of skin, drum or a thing found, not of wax."""
    wax = {o.start for o in at.mentions if o.readings.get("head") == "wax"}
    found = any(
        o.kind == "canal" and o.end <= m.start <= o.end + 5 and not wax & set(range(o.end, m.start))
        for o in at.mentions
    )
    if found or at.nearest_before(m) in ("skin", "drum", "foreign_body"):
        return True
    before = {h.readings["head"] for h in at.heads if h.end <= m.start}
    of_other = before & {"skin", "drum"} or any(o.kind == "skin" and o.end <= m.start for o in at.mentions)
    return bool(of_other) and not _wax_in(m, at)


def _skin_in_talk(m: Mention, at: Setting) -> bool:
    carried = at.focus.last == "skin" and at.focus.since <= 1
    return carried or "skin" in _nouns(at) or "skin" in at.words.text[m.start : m.end]


def _says_not_wax(m: Mention, at: Setting) -> bool:
    """Whether the sentence says that what it describes is no wax ("the white stuff isn't wax")."""
    return any(
        a in ("n't", "not") and b in ("wax", "cerumen") and m.start < at.start + i
        for i, (a, b) in enumerate(itertools.pairwise(at.said))
    )


def _is_comparison(m: Mention, at: Setting) -> bool:
    """Whether the words only say what something is like ("as soft as wet bread")."""
    row = at.words.text
    for back in range(1, _LIKENED + 1):
        i = m.start - back
        if i < 1 or row[i] in MARKS or row[i] == "and":
            return False
        if any(o.start <= i < o.end and o.has("consistency", "colour") for o in at.mentions):
            continue  # "clay-like brown wax"
        if row[i] == "like" and m.kind in ("canal", "drum") and row[i - 1] in _SEEMS:
            return False
        if row[i] == "like" or (row[i] == "than" and back == 1):
            return True
        described = any(o.end == i and o.has("consistency", "colour") for o in at.mentions)
        if row[i] == "as" and (described or "as" in row[max(i - 3, 0) : i]):
            return True
    return False


def _is_tool(m: Mention, at: Setting) -> bool:
    """Whether a thing was handled, not found: put in, or what was used ("digging about with a cotton bud")."""
    row = at.words.text
    if _INWARD & set(row[m.end : m.end + 2]):
        return False
    means = m.value == "cotton" and "with" in row[max(m.start - 3, 0) : m.start]
    return means or any(w in _HANDLED for w in row[max(m.start - 8, 0) : m.start])
