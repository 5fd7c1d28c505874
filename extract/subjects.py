"""What each word is said of: wax, drum, canal, skin, the patient; and so which of its meanings holds.

"Dry" is wax, skin or canal; "red" drum or canal; "pain" what the patient came with or what the work did. The
nearest noun decides, then what was last talked about, then how far the visit has come.
"""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass

from spacy.language import Language
from spacy.tokens import Doc

from extract.mentions import Mention
from extract.words import MARKS, Words
from shared.vocabulary import word_set

NOT_LINKED = "not clear what it is said of"

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
_NAMING = frozenset({"right", "left", "first"})
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
_PLACES = word_set("subjects", "places")
_BETWEEN = word_set("subjects", "between")
_JOINTS = word_set("subjects", "joints")
_TOLD = word_set("subjects", "told")
_OURS = word_set("subjects", "ours")
_NOT_DRUM = word_set("subjects", "not_drum")
_YOUNG = word_set("subjects", "young")
_HANDLED = word_set("subjects", "handled")
_OF = {
    "wax": ("consistency", "colour"),
    "drum": ("drum",),
    "canal": ("canal",),
    "skin": ("skin",),
    "cavity": ("canal",),
    "ear": ("consistency", "canal"),
}
_COPULAS = word_set("subjects", "copulas")


@dataclass(slots=True)
class Course:
    """How far one visit has come: the first sentence of looking, and of working (None if never)."""

    exam: int | None = None
    work: int | None = None


Doc.set_extension("courses", default=None, force=True)


@Language.component(
    "subjects",
    requires=["doc._.mentions", "doc._.words", "doc._.visit_starts"],
    assigns=["doc._.mentions", "doc._.courses"],
)
def subjects(doc: Doc) -> Doc:
    """Settle every mention's kind and value, or set it aside if it is said of nothing known."""
    words: Words = doc._.words
    mentions: list[Mention] = doc._.mentions
    doc._.courses = courses(words, mentions)
    by_sentence: dict[int, list[Mention]] = {}
    for m in mentions:
        by_sentence.setdefault(words.sentence[m.start], []).append(m)
    reader = _Subjects(words, doc._.courses, mentions)
    for sentence in sorted(by_sentence):
        reader.sentence(sentence, by_sentence[sentence])
    return doc


def courses(words: Words, mentions: list[Mention]) -> dict[int, Course]:
    """Where looking and working begin in each visit.

    Looking begins with the first sentence that describes an ear, or with the last "right ear" before it if only
    that stands between it and the patient's story.
    """
    out: dict[int, Course] = {}
    for visit in sorted({m.visit for m in mentions}):
        mine = [m for m in mentions if m.visit == visit and m.live]
        story = {
            words.sentence[m.start]
            for m in mine
            if (m.has("history") and not m.has("canal", "drum"))
            or (_BACKGROUND & m.readings.keys() and not _EXAM & m.readings.keys())
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
        story -= tools - told_only
        story -= {sentence for sentence, times in seen.items() if times > 1}
        described = [m for m in mine if _describes_ear(words, m) and words.sentence[m.start] not in story]
        course = out[visit] = Course()
        described = _without_early_tools(words, described, story)
        if not described:
            continue
        first = words.sentence[described[0].start]
        told = max((s for s in story if s < first), default=-1)
        named = [
            words.sentence[m.start]
            for m in mine
            if m.readings.get("ear_cue") in _NAMING
            and told < words.sentence[m.start] < first
            and not any(words.sentence[o.start] == words.sentence[m.start] and o.has("agent") for o in mine)
        ]
        course.exam = min(named, default=first)
        working = [
            m
            for m in mine
            if _does_work(m)
            and words.sentence[m.start] >= course.exam
            and (m.has("length") or words.sentence[m.start] not in story)
        ]
        course.work = words.sentence[working[0].start] if working else None
    return out


def _without_early_tools(words: Words, described: list[Mention], story: set[int]) -> list[Mention]:
    """Without tools named before the patient's story ("I'll drive the sucker. So, her hearing's been poor...")."""
    found = next((m for m in described if not m.has("instrument", "method")), None)
    if found is None:
        return described
    until = max((s for s in story if s < words.sentence[found.start]), default=-1)
    return [
        m for m in described if not (m.has("instrument", "method") and words.sentence[m.start] < until)
    ] or described


def _describes_ear(words: Words, m: Mention) -> bool:
    if (
        m.has("drum")
        and m.has("history")
        and {"drum", "tm", "eardrum"} & set(words.text[max(m.start - 3, 0) : m.end + 3])
    ):
        return not {"had", "history", "previous", "never"} & set(words.text[max(m.start - 8, 0) : m.start])
    if m.has("foreign_body") and not m.has("weak", "consistency"):
        start, _end = words.bounds[words.sentence[m.start]]
        near = words.text[max(m.start - 6, start) : m.start]
        shown = {"see", "look", "spy"} & set(near) or any(
            a == "there" and b in ("'s", "is", "she", "it", "was") for a, b in itertools.pairwise(near)
        )
        return bool(shown) and m.polarity != "denied"
    return (
        bool(_EXAM & m.readings.keys())
        and not m.has("weak", "symptom", "history", "foreign_body")
        and (m.polarity != "denied" or m.has("occlusion"))
    )


def _does_work(m: Mention) -> bool:
    if m.polarity == "denied" or m.has("weak"):
        return False
    return (
        m.readings.get("instrument") in REMOVERS
        or m.has("method", "length")
        or (m.readings.get("clearance") in ("complete", "partial"))
    )


class _Subjects:
    def __init__(self, words: Words, courses: dict[int, Course], mentions: list[Mention]) -> None:
        self.words, self.courses = words, courses
        self.last, self.since, self.visit = "", 99, -1
        self.layered = {m.visit for m in mentions if m.has("layer") and not m.has("depth")}

    def sentence(self, number: int, mentions: list[Mention]) -> None:
        self.since += 1
        heads = [m for m in mentions if "head" in m.readings and m.live]
        for m in mentions:
            if m.visit != self.visit:
                self.last, self.since, self.visit = "", 99, m.visit
            if not m.live:
                continue
            if "head" in m.readings and len(m.readings) == 1:
                m.take("head")
                if m.value in ("wax", "drum", "canal", "skin", "cavity") and not self._is_place(m):
                    self.last, self.since = m.value, 0
                continue
            if m.measure is not None:
                continue
            self._settle(m, number, heads, mentions)
            if m.live and m.aside == "":
                self._check(m, number, heads, mentions)
            if m.live and m.kind == "foreign_body":
                self.last, self.since = "foreign_body", 0
            elif m.live and m.kind in ("consistency", "colour") and m.polarity != "denied":
                self.last, self.since = "wax", 0
            elif m.live and m.kind in ("drum", "canal", "skin") and self.since > 0:
                self.last, self.since = m.kind, 0

    def _settle(self, m: Mention, number: int, heads: list[Mention], mentions: list[Mention]) -> None:
        course = self.courses.get(m.visit, Course())
        looking = course.exam is not None and number >= course.exam
        working = course.work is not None and number >= course.work
        kinds = [k for k in m.readings if k != "weak"]
        weak = "weak" in m.readings
        if not kinds:
            m.kind = "weak"
            return
        if kinds == ["symptom_absent"]:
            m.kind, m.value, m.polarity = "symptom", m.readings["symptom_absent"], "denied"
            m.aside = "" if not working else NOT_LINKED
            return
        if len(kinds) == 1 and not weak:
            m.take(kinds[0])
            return
        head = self._governor(m, heads, mentions)
        said_of = head.readings["head"] if head is not None else ""
        m.rule = f"said of the {said_of}" if said_of else ""
        chosen = self._choose(m, kinds, weak, said_of, looking, working, mentions)
        if chosen:
            m.take(chosen)
        else:
            m.aside = NOT_LINKED

    def _check(self, m: Mention, number: int, heads: list[Mention], mentions: list[Mention]) -> None:
        """Set aside what its sentence shows to be said of something else."""
        said_of = {h.readings["head"] for h in heads}
        wax = "wax" in said_of or any(
            o is not m and o.has("consistency", "colour", "percent", "layer", "occlusion") for o in mentions
        )
        course = self.courses.get(m.visit, Course())
        looking = course.exam is not None and number >= course.exam
        start, end = self.words.bounds[number]
        if (
            (m.kind == "colour" and not wax and end - start > 5 and m.start > start)
            or (
                m.kind == "depth"
                and not wax
                and (
                    {h.readings["head"] for h in heads if h.end <= m.start} & {"skin", "drum"}
                    or any(o.kind == "skin" and o.end <= m.start for o in mentions)
                )
            )
            or (m.kind == "symptom" and self._too_late(m, number, course))
        ):
            m.aside = NOT_LINKED
        elif m.kind == "symptom" and m.value == "blocked" and looking:
            said = self.words.text[start:end]
            if not any(
                w.startswith("feel") or w.startswith("felt") or w.startswith("complain") for w in said
            ):
                m.aside = NOT_LINKED
        elif (
            (
                m.kind == "symptom"
                and m.value == "discharge"
                and looking
                and self.words.text[m.start].startswith("run")
            )
            or (
                m.kind in ("colour", "depth")
                and self.last == "foreign_body"
                and not any(o.readings.get("head") == "wax" and o.start < m.end + 3 for o in mentions)
            )
            or (m.kind == "colour" and any(o.start == m.end and o.has("foreign_body") for o in mentions))
            or (
                m.kind == "drum"
                and m.value == "intact"
                and "drum" not in said_of
                and _NOT_DRUM & set(self._said(m))
            )
        ):
            m.aside = NOT_LINKED
        elif m.kind in ("colour", "consistency") and self._says_not_wax(m):
            m.aside = "said not to be wax"
        elif (
            (
                m.kind == "skin"
                and m.value in ("loose", "attached")
                and "skin" not in said_of
                and not (self.last == "skin" and self.since <= 1)
                and "skin" not in self.words.text[m.start : m.end]
            )
            or (m.kind == "depth" and self._nearest_before(m, mentions) in ("skin", "drum", "foreign_body"))
            or (
                m.kind == "foreign_body"
                and (m.value == "cotton" and self.words.text[m.end - 1] in ("buds", "swabs", "tips"))
            )
        ):
            m.aside = NOT_LINKED
        elif m.kind in ("consistency", "colour", "canal", "foreign_body", "drum") and self._is_comparison(
            m, mentions
        ):
            m.aside = "a comparison"
        elif (
            m.kind == "foreign_body"
            and not {"in", "down", "up", "into"} & set(self.words.text[m.end : m.end + 2])
            and (
                any(w in _HANDLED for w in self.words.text[max(m.start - 8, 0) : m.start])
                or self._is_means(m)
            )
        ):
            m.aside = NOT_LINKED

    def _praises(self, m: Mention, mentions: list[Mention]) -> bool:
        """Whether a word of praise ("lovely") is said straight of a noun: before it, or after it with only an aside."""
        following = [h for h in mentions if "head" in h.readings and 0 <= h.start - m.end <= 3]
        before = [
            o
            for o in mentions
            if o.end <= m.start and not o.has("weak", "recall_cue", "referral_cue", "piece")
        ]
        return bool(following) or (
            bool(before) and before[-1].has("head", "drum", "canal", "ear_cue", "clearance")
        )

    def _too_late(self, m: Mention, number: int, course: Course) -> bool:
        """Whether a complaint heard during the work is not told as the patient's own."""
        working = course.work is not None and number >= course.work
        return working and m.polarity != "denied" and not _TOLD & set(self._said(m))

    def _is_means(self, m: Mention) -> bool:
        """Whether a cotton bud is what was used, not what was found ("digging about with a cotton bud")."""
        row = self.words.text
        return m.value == "cotton" and "with" in row[max(m.start - 3, 0) : m.start]

    def _says_not_wax(self, m: Mention) -> bool:
        """Whether the sentence says that what it describes is no wax ("the white stuff isn't wax")."""
        said = self._said(m)
        start, _ = self.words.bounds[self.words.sentence[m.start]]
        return any(
            a in ("n't", "not") and b in ("wax", "cerumen") and m.start < start + i
            for i, (a, b) in enumerate(itertools.pairwise(said))
        )

    def _nearest_before(self, m: Mention, mentions: list[Mention]) -> str:
        """What was spoken of just before, within four words: a kind of finding or a noun."""
        near = [
            o
            for o in mentions
            if o is not m
            and o.end <= m.start <= o.end + 4
            and o.has("head", "skin", "drum", "consistency", "colour", "percent", "foreign_body", "occlusion")
            and not o.has("weak")
        ]
        if not near:
            return ""
        last = near[-1]
        return last.readings.get("head") or last.kind or next(iter(last.readings))

    def _is_comparison(self, m: Mention, mentions: list[Mention]) -> bool:
        """Whether the words only say what something is like ("as soft as wet bread")."""
        row = self.words.text
        for back in (1, 2, 3, 4, 5):
            i = m.start - back
            if i < 1 or row[i] in MARKS or row[i] == "and":
                return False
            if row[i] == "as" and any(o.end == i and o.has("consistency", "colour") for o in mentions):
                return True
            if row[i] == "like" or (row[i] == "than" and back == 1):
                return True
            if row[i] == "as" and any(w == "as" for w in row[max(i - 3, 0) : i]):
                return True
        return False

    def _choose(
        self,
        m: Mention,
        kinds: list[str],
        weak: bool,
        said_of: str,
        looking: bool,
        working: bool,
        mentions: list[Mention],
    ) -> str:
        row = self.words.text
        if "consistency" in kinds and (said_of == "wax" or (looking and "symptom" in kinds)):
            return "consistency"
        if "symptom_absent" in kinds and "hearing_outcome" in kinds and working:
            return "hearing_outcome"
        if "symptom" in kinds and ("hearing_outcome" in kinds or "clearance" in kinds):
            after = "hearing_outcome" if "hearing_outcome" in kinds else "clearance"
            return after if working else "symptom"
        if "symptom" in kinds or "complication" in kinds:
            return self._patient_or_finding(m, kinds, weak, said_of, looking, working, mentions)
        if "history" in kinds and (not looking or self._tells_past(m)):
            return "history"
        if kinds == ["layer"] and weak:
            near = any(o.start in (m.end, m.end + 1) and o.has("consistency", "colour") for o in mentions)
            lead = row[max(m.start - 2, 0) : m.start]
            opens = (
                not lead
                or lead[-1] in MARKS
                or (lead[-1] == "the" and (len(lead) < 2 or lead[0] in MARKS or lead[0] == "and"))
            )
            return "layer" if near and opens else ""
        if "layer" in kinds and "depth" in kinds:
            return "layer" if m.visit in self.layered else "depth"
        if weak and said_of == "ear" and "clearance" not in kinds:
            return ""
        if weak and m.readings.get("drum") == "healthy" and not self._praises(m, mentions):
            return ""
        for kind in _OF.get(said_of, ()):
            if kind in kinds:
                return kind
        if "drum" in kinds and "history" in kinds:
            return "drum"
        if "drum" in kinds and "instrument" in kinds:
            near = any(o.readings.get("head") == "drum" for o in mentions) or self.words.text[
                max(m.start - 2, 0) : m.start
            ] == ["see", "the"]
            return "drum" if near or m.polarity == "denied" else "instrument"
        if weak and "clearance" in kinds:
            start, end = self.words.bounds[self.words.sentence[m.start]]
            alone = row[max(m.start - 1, 0)] == "," and row[m.end : m.end + 1] in ([","], ["."])
            if working and (end - start <= 3 or alone):
                return "clearance"
            return (
                "clearance"
                if said_of in ("wax", "canal", "ear", "cavity") or self._wax_near(m, mentions)
                else ""
            )
        if "drum" in kinds and "canal" in kinds:
            healthy = m.readings["drum"] == "healthy"
            pronoun = self._said(m)[:1] == ["it"]
            if weak or (healthy and (self.since > (2 if pronoun else 1) or not self._opens(m))):
                return ""
            return self.last if self.last in ("drum", "canal") else ""
        if weak and ({"consistency"} & set(kinds)):
            return "consistency" if self._wax_near(m, mentions) else ""
        if weak and "drum" in kinds:
            return (
                "drum"
                if self.last == "drum" and (self.since == 0 or (self.since <= 1 and self._opens(m)))
                else ""
            )
        if weak and "foreign_body" in kinds:
            around = row[max(m.start - 6, 0) : m.end + 6]
            placed = any(w in around for w in ("ear", "canal", "there", "out"))
            return "foreign_body" if looking and placed else ""
        if self.last and not said_of:
            for kind in _OF.get(self.last, ()):
                if kind in kinds:
                    return kind
        for kind in (
            "consistency",
            "colour",
            "canal",
            "skin",
            "depth",
            "instrument",
            "foreign_body",
            "clearance",
        ):
            if kind in kinds:
                return kind
        return kinds[0] if not weak else ""

    def _patient_or_finding(
        self,
        m: Mention,
        kinds: list[str],
        weak: bool,
        said_of: str,
        looking: bool,
        working: bool,
        mentions: list[Mention],
    ) -> str:
        if weak and not said_of and "instrument" not in kinds:
            return ""
        if "history" in kinds and (not looking or self._tells_past(m)):
            return "history"
        if "perforation" in m.readings.values() and "complication" in kinds and _OURS & set(self._said(m)):
            return "complication"
        if "drum" in kinds and (
            said_of == "drum" or (looking and self.last == "drum" and "canal" not in kinds)
        ):
            return "drum"
        if (
            "canal" in kinds
            and said_of in ("canal", "cavity", "skin")
            and (not working or "complication" not in kinds)
        ):
            return "canal"
        if "perforation" in m.readings.values() and "complication" in kinds and _OURS & set(self._said(m)):
            return "complication"
        if (
            looking
            and not working
            and m.polarity == "denied"
            and "symptom" in kinds
            and ({"been", "had", "has"} & set(self.words.text[max(m.start - 4, 0) : m.start]))
        ):
            return "symptom"
        if not looking and "symptom" in kinds:
            return "symptom"
        if working and "complication" in kinds:
            late = any(o.readings.get("late") == "cue" for o in mentions)
            if "drum" in kinds and "perforation" in m.readings.values():
                return "drum"
            return "canal" if "canal" in kinds and late else "complication"
        if "canal" in kinds:
            return "canal"
        if "occlusion" in kinds and looking:
            return "occlusion"
        if "symptom" in kinds:
            return "symptom"
        return "complication" if "complication" in kinds and working else "drum" if "drum" in kinds else ""

    def _governor(self, m: Mention, heads: list[Mention], mentions: list[Mention]) -> Mention | None:
        """The noun that a word belongs to: just after it ("healthy drum"), or before it in the sentence."""
        row = self.words.text
        i = m.end if row[m.start - 1] not in ("'s", "is", "are", "was", "looks") or not m.start else len(row)
        while i < len(row) and i - m.end < 5:
            ahead = next((h for h in heads if h.start == i), None)
            if ahead is not None:
                return ahead
            flakes = next(
                (o for o in mentions if o.start == i and o.has("skin") and row[o.end - 1] == "skin"), None
            )
            if flakes is not None:
                return Mention(flakes.start, flakes.end, {"head": "skin"})
            joint = row[i] in _JOINTS and self._describes(i + 1, mentions)
            if row[i] not in _BETWEEN and not joint and not self._describes(i, mentions):
                break
            i += 1
        where = next((h for h in heads if m.end < h.start <= m.end + 5), None)
        between = row[m.end : where.start] if where is not None else []
        if (
            (
                where is not None
                and _PLACES & set(between)
                and not any(w in MARKS or w == "and" for w in between)
            )
            and m.has("drum", "canal")
            and where.readings["head"] in ("drum", "canal", "skin", "cavity")
        ):
            return where
        before = [h for h in heads if h.end <= m.start]
        seen = [h for h in heads if h.readings["head"] in ("drum", "canal") and h.start > m.start]
        fresh = self.since > 1 or self.last not in ("drum", "canal")
        named = len(seen) == 1 and not m.has("weak") and row[seen[0].start - 1] == "the"
        if not before and named and fresh and m.has("drum", "canal"):
            return seen[0]
        subjects = [h for h in before if not self._is_place(h)]
        return subjects[-1] if subjects else before[-1] if before else None

    def _describes(self, i: int, mentions: list[Mention]) -> bool:
        """Whether word i is another adjective of the same noun."""
        return any(
            m.start <= i < m.end and m.has("consistency", "colour", "drum", "canal", "skin") for m in mentions
        )

    def _is_place(self, head: Mention) -> bool:
        """Whether a noun tells where ("wax in the canal") rather than what is described."""
        row = self.words.text
        if head.readings["head"] == "wax":
            return False
        for back in (1, 2, 3):
            i = head.start - back
            if i < 0 or row[i] in MARKS:
                return False
            if row[i] in _PLACES:
                return not (row[i] in ("in", "on", "at", "with", "up") and head.start + 1 < 0)
            if row[i] not in ("the", "his", "her", "that", "this", "a", "my", "ear", "right", "left", "your"):
                return False
        return False

    def _opens(self, m: Mention) -> bool:
        """Whether nothing but small words stands between the sentence's start and the mention."""
        first = self.words.bounds[self.words.sentence[m.start]][0]
        return all(w in _COPULAS for w in self.words.text[first : m.start])

    def _wax_near(self, m: Mention, mentions: list[Mention]) -> bool:
        return any(
            o is not m
            and abs(o.start - m.start) < 8
            and (o.readings.get("head") == "wax" or o.has("colour", "consistency"))
            and not o.has("weak")
            for o in mentions
        )

    def _said(self, m: Mention) -> list[str]:
        start, end = self.words.bounds[self.words.sentence[m.start]]
        return self.words.text[start:end]

    def _tells_past(self, m: Mention) -> bool:
        row = self.words.text
        before = row[max(m.start - 6, 0) : m.start]
        after = row[m.end : m.end + 8]
        return any(w in ("had", "history", "previous", "having", "'d", "known") for w in before) or (
            any(w in _YOUNG for w in after) and "as" in after
        )
