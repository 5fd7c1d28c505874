"""Which of its meanings a word has: "red" of drum or canal, "pain" the patient came with or the work did.

The noun it is said of decides, then what was last talked about, then how far the visit has come. A *weak* word
("fine", "clean", "hole") means something only where the talk around it carries it.
"""

from __future__ import annotations

import itertools

from extract.mentions import Mention
from extract.setting import Setting
from extract.words import MARKS
from shared.vocabulary import word_set

_OF = {
    "wax": ("consistency", "colour"),
    "drum": ("drum",),
    "canal": ("canal",),
    "skin": ("skin",),
    "cavity": ("canal",),
    "ear": ("consistency", "canal"),
}
"""What can be said of each noun."""
_SEEN_ON_SKIN = ("inflamed", "swollen", "bleeding", "abraded", "tender")
"""What the skin in there shows of the canal, unless it has a meaning of its own for skin."""
_LIKELIEST = (
    "consistency", "colour", "canal", "skin", "depth", "instrument", "foreign_body", "clearance",
)  # fmt: skip
"""What a word means if nothing around it tells, the likeliest first."""
_PLACED = frozenset({"in", "on", "into", "within"})
_OURS = word_set("subjects", "ours")
_DRUM_PARTS = word_set("subjects", "drum_parts")
_YOUNG = word_set("subjects", "young")
_CHANGED, _AS_IT_CAME = word_set("subjects", "changed"), word_set("subjects", "as_it_came")
_FOR = frozenset({"for", "since", "these", "this"})
_PAST, _SUPPOSING = word_set("subjects", "past"), word_set("subjects", "supposing")


def meaning(m: Mention, kinds: list[str], said_of: str, at: Setting) -> str:
    """The kind that a mention means, "" if the talk carries none. said_of: the noun that governs it, if any."""
    weak = m.has("weak")
    if "consistency" in kinds and (said_of == "wax" or (at.looking and "symptom" in kinds)):
        return "consistency"
    if "symptom" in kinds and "removal" in kinds and said_of == "wax":
        return "removal"
    if "symptom_absent" in kinds and "hearing_outcome" in kinds and at.working:
        return "hearing_outcome"
    if "symptom" in kinds and ("hearing_outcome" in kinds or "clearance" in kinds):
        after = "hearing_outcome" if "hearing_outcome" in kinds else "clearance"
        return after if at.working else "symptom"
    if "symptom" in kinds or "complication" in kinds:
        return _patient_or_finding(m, kinds, said_of, at)
    if "history" in kinds and (not at.looking or _tells_past(m, at)):
        return "history"
    if kinds == ["layer"] and weak:
        return "layer" if _opens_layer(m, at) or _is_told_apart(m, at) else ""
    if "layer" in kinds and "depth" in kinds:
        return "layer" if at.layered else "depth"
    if weak and said_of == "ear" and not {"clearance", "instrument", "foreign_body"} & set(kinds):
        return ""
    if weak and m.readings.get("drum") == "healthy" and not _praises(m, at):
        return ""
    if "consistency" in kinds and said_of in ("canal", "cavity") and _among_wax(m, at):
        return "consistency"
    if said_of == "skin" and at.looking and m.readings.get("canal") in _SEEN_ON_SKIN:
        return "canal"
    if (
        said_of == "canal"
        and {"consistency", "skin"} <= set(kinds)
        and "canal" not in kinds
        and at.focus.last != "wax"
    ):
        return "skin"  # "the canal is dry and flaky"
    return next((kind for kind in _OF.get(said_of, ()) if kind in kinds), None) or _by_the_talk(
        m, kinds, said_of, at
    )


def _by_the_talk(m: Mention, kinds: list[str], said_of: str, at: Setting) -> str:
    """What a mention means whose noun does not tell: by what was last talked about and what stands near."""
    weak = m.has("weak")
    if "drum" in kinds and "history" in kinds:
        return "drum"
    if "drum" in kinds and "instrument" in kinds:
        seen = at.words.text[max(m.start - 2, 0) : m.start] == ["see", "the"]
        near = any(o.readings.get("head") == "drum" for o in at.mentions)
        if near or seen or m.polarity == "denied":
            return "drum"
        return (
            "" if at.focus.tubes and not at.focus.sucked else "instrument"
        )  # "I've got the tube out", a grommet
    if weak and "clearance" in kinds:
        return "clearance" if _tells_clearance(m, said_of, at) else ""
    if "drum" in kinds and "canal" in kinds and (listed := _listed_with(m, at)):
        return listed
    if "drum" in kinds and "canal" in kinds:
        reach = 2 if at.said[:1] == ["it"] else 1
        healthy = m.readings["drum"] == "healthy"
        if weak or (healthy and (at.focus.since > reach or not at.opens(m))):
            return ""
        return at.focus.last if at.focus.last in ("drum", "canal") else ""
    if weak and "consistency" in kinds:
        return "consistency" if at.wax_near(m) else ""
    if weak and "drum" in kinds:
        return "drum" if _drum_carried(m, at) else ""
    if weak and "foreign_body" in kinds:
        around = at.words.text[max(m.start - 6, 0) : m.end + 6]
        placed = any(w in around for w in ("ear", "canal", "there", "out"))
        return "foreign_body" if at.looking and placed else ""
    likely = (() if said_of else _OF.get(at.focus.last, ())) + _LIKELIEST
    likeliest = next((kind for kind in likely if kind in kinds), "" if weak else kinds[0])
    return "" if weak and not _weakly_carried(m, likeliest, at) else likeliest


def _listed_with(m: Mention, at: Setting) -> str:
    """Whether a word is listed straight after a finding of drum or canal alone ("intact and healthy")."""
    before = [o for o in at.mentions if o.end == m.start - 1 and o.live and o.kind in ("drum", "canal")]
    joined = at.words.text[m.start - 1] in ("and", ",") and m.start > at.start
    return before[-1].kind if before and joined else ""


def _patient_or_finding(m: Mention, kinds: list[str], said_of: str, at: Setting) -> str:
    """Whether a word is the patient's complaint or history, what is seen, or what the work did."""
    perforation = "perforation" in m.readings.values()
    if m.has("weak") and not said_of and "instrument" not in kinds:
        ours = bool(_OURS & set(at.said))
        return "drum" if "drum" in kinds and not ours and _drum_carried(m, at) else ""
    if "history" in kinds and (not at.looking or _tells_past(m, at)):
        return "history"
    state = said_of == "drum" and at.words.text[m.start - 1] in ("'s", "is")  # "the drum's perforated now"
    if perforation and "complication" in kinds and _OURS & set(at.said) and not state:
        return "complication"
    of_drum = said_of == "drum" or (at.looking and at.focus.last == "drum" and "canal" not in kinds)
    if "drum" in kinds and of_drum:
        return "drum"
    if at.looking and "complication" in kinds and at.words.text[m.end - 1] == "bled":
        return "complication"  # "the canal bled a bit": by the work, unlike "the canal's bleeding"
    if "symptom" in kinds and at.working and _lasting(m, at):
        return "symptom"
    if (
        "symptom" in kinds
        and not at.working
        and (_reported(m, at) or (said_of == "cavity" and not at.looking))
    ):
        return "symptom"
    found = not at.working or "complication" not in kinds
    if "canal" in kinds and said_of in ("canal", "cavity", "skin") and found:
        return "canal"
    asked = bool({"been", "had", "has"} & set(at.words.text[max(m.start - 4, 0) : m.start]))
    denied_of_late = at.looking and not at.working and m.polarity == "denied" and asked
    if "symptom" in kinds and (denied_of_late or not at.looking):
        return "symptom"
    if at.working and "complication" in kinds:
        late = any(o.readings.get("late") == "cue" for o in at.mentions)
        if "drum" in kinds and perforation:
            return "drum"
        return "canal" if "canal" in kinds and late and m.polarity != "denied" else "complication"
    if "canal" in kinds:
        return "canal"
    if "occlusion" in kinds and at.looking:
        return "occlusion"
    if "symptom" in kinds:
        return "symptom"
    return "complication" if "complication" in kinds and at.working else "drum" if "drum" in kinds else ""


def _weakly_carried(m: Mention, kind: str, at: Setting) -> bool:
    """Whether the talk around a weak word carries its meaning: canal or wax just spoken of, or the work begun."""
    if kind in ("canal", "skin"):
        placed = any(
            0 <= o.start - m.end < 4 and (o.has("depth") or o.readings.get("head") == "canal")
            for o in at.mentions
        )  # "hairs at the entrance"
        return placed or (at.focus.last in ("canal", "cavity", "skin") and at.focus.since <= 1)
    if kind in ("depth", "colour"):
        return at.wax_near(m) or (at.focus.last == "wax" and at.focus.since <= 1)
    return kind != "instrument" or at.looking


def _drum_carried(m: Mention, at: Setting) -> bool:
    """Whether a weak word goes on about the drum: in its sentence, or opening the next ("that might be a hole")."""
    row = at.words.text
    if row[m.end : m.end + 1] == ["in"] and not _DRUM_PARTS & set(row[m.end + 1 : m.end + 4]):
        return False  # "a hole in my glove"
    return at.focus.last == "drum" and (
        at.focus.since == 0 or (at.focus.since <= 1 and (at.opens(m) or "it" in row[at.start : m.start]))
    )


def _reported(m: Mention, at: Setting) -> bool:
    """Whether a word is told as the patient's complaint: "it's been discharging", "she says it weeps"."""
    row = at.words.text
    lasting = row[m.start].endswith("ing") and "been" in row[max(m.start - 2, at.start) : m.start]
    says = any(o.has("patient_says") and at.start <= o.start < m.start for o in at.mentions)
    return lasting or says


def _among_wax(m: Mention, at: Setting) -> bool:
    """Whether a word is listed with such as are of wax alone ("the canal is impacted, hard, dry, black")."""
    return any(
        not o.has("canal", "weak", "skin")
        and o.has("consistency", "colour")
        and _LISTED.issuperset(at.words.text[min(o.end, m.end) : max(o.start, m.start)])
        for o in at.mentions
    )


_LISTED = frozenset({",", "and"})


def _lasting(m: Mention, at: Setting) -> bool:
    """Whether a complaint is told again as it came: "the ringing she came in with is the same", "hasn't gone"."""
    row = at.words.text
    _, end = at.words.bounds[at.number]
    after = row[m.end : min(m.end + 8, end)]
    stays = any(
        (a in ("not", "n't") and b in _CHANGED) or (a == "came" and b in ("in", "with"))
        for a, b in itertools.pairwise(after)
    )
    return stays or bool(_AS_IT_CAME & set(after))


def _opens_layer(m: Mention, at: Setting) -> bool:
    """Whether "top" or "inner" opens a layer: at the start of a part, before what is said of it ("the top hard")."""
    near = any(o.start in (m.end, m.end + 1) and o.has("consistency", "colour") for o in at.mentions)
    lead = at.words.text[max(m.start - 2, 0) : m.start]
    opens = not lead or lead[-1] in MARKS
    return near and (opens or (lead[-1] == "the" and (len(lead) < 2 or lead[0] in MARKS or lead[0] == "and")))


def _is_told_apart(m: Mention, at: Setting) -> bool:
    """Whether "outside" closes one layer and another follows ("it's hard outside and inside it's soft")."""
    described = any(o.end == m.start and o.has("consistency", "colour") for o in at.mentions)
    other = any(o is not m and o.has("layer") and o.start in (m.end + 1, m.end + 2) for o in at.mentions)
    return described and other and at.words.text[m.end] in ("and", "but", ",")


def _tells_clearance(m: Mention, said_of: str, at: Setting) -> bool:
    """Whether "gone" or "clean" says that the wax is out."""
    row = at.words.text
    alone = row[max(m.start - 1, 0)] == "," and row[m.end : m.end + 1] in ([","], ["."])
    if at.working and (len(at.said) <= 3 or alone):
        return True
    return said_of in ("wax", "canal", "ear", "cavity") or at.wax_near(m)


def _praises(m: Mention, at: Setting) -> bool:
    """Whether a word of praise ("lovely") is said straight of a noun: before it, or after it with only an aside."""
    ahead = [h for h in at.mentions if "head" in h.readings and 0 <= h.start - m.end <= 3]
    if any(not _PLACED & set(at.words.text[m.end : h.start]) for h in ahead):
        return True
    if ahead:  # "the grommet's sitting fine in the drum"
        return False
    before = [
        o
        for o in at.mentions
        if o.end <= m.start and not o.has("weak", "recall_cue", "referral_cue", "piece", "layer", "contrast")
    ]
    return bool(before) and before[-1].has("head", "drum", "canal", "ear_cue", "clearance")


def _tells_past(m: Mention, at: Setting) -> bool:
    row = at.words.text
    after = row[m.end : m.end + 8]
    before = range(max(m.start - 6, 0), m.start)
    had = any(row[i] in _PAST and not (row[i] == "'d" and row[i + 1] in _SUPPOSING) for i in before)
    since = any(a in _FOR and "years" in after for a in after)  # "a perforation in it this thirty years"
    return had or since or ("as" in after and any(w in _YOUNG for w in after))
