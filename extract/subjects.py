"""What each word is said of: wax, drum, canal, skin, the patient; and so which of its meanings holds.

"Dry" is wax, skin or canal; "red" drum or canal; "pain" what the patient came with or what the work did. The
nearest noun decides (`governor`), then what was last talked about, then how far the visit has come (`meaning`);
what its sentence shows to be said of something else is set aside (`misfits`).
"""

from __future__ import annotations

from spacy.language import Language
from spacy.tokens import Doc

from extract.course import Course
from extract.governor import governor, is_place
from extract.meaning import meaning
from extract.mentions import Mention, by_sentence
from extract.misfits import NOT_LINKED, misfit
from extract.setting import Focus, Setting
from extract.words import Words

_SUCKING = frozenset({"suction_tube", "fine_suction_tube", "microsuction"})


@Language.component(
    "subjects",
    requires=["doc._.mentions", "doc._.words", "doc._.courses"],
    assigns=["doc._.mentions"],
)
def subjects(doc: Doc) -> Doc:
    """Settle every mention's kind and value, or set it aside if it is said of nothing known."""
    words: Words = doc._.words
    mentions: list[Mention] = doc._.mentions
    courses: dict[int, Course] = doc._.courses
    layered = {m.visit for m in mentions if m.has("layer") and not m.has("depth")}
    focus = Focus()
    for number, said in by_sentence(words, mentions):
        visit = said[0].visit
        focus = Focus(visit=visit) if visit != focus.visit else focus
        focus.since += 1
        course = courses.get(visit, Course())
        _settle_sentence(
            Setting(
                words,
                number,
                said,
                focus,
                looking=course.exam is not None and number >= course.exam,
                working=course.work is not None and number >= course.work,
                layered=visit in layered,
                heads=[m for m in said if m.has("head") and m.live],
            )
        )
    return doc


def _settle_sentence(at: Setting) -> None:
    for m in at.mentions:
        if not m.live or m.measure is not None:
            continue
        if m.readings.keys() == {"head"}:
            m.take("head")
            if m.value in ("wax", "drum", "canal", "skin", "cavity") and not is_place(m, at):
                at.focus.turn_to(m.value)
            continue
        _settle(m, at)
        if m.live:
            m.aside = misfit(m, at)
        if m.live:
            _turn(m, at.focus)
            said = at.words.text[m.start : m.end]
            at.focus.tubes |= m.value in ("grommet", "grommets", "other") and bool(
                {"tube", "tubes"} & set(said)
            )


def _settle(m: Mention, at: Setting) -> None:
    """Choose among a mention's readings."""
    kinds = [k for k in m.readings if k != "weak"]
    if not kinds:
        m.kind = "weak"
    elif kinds == ["symptom_absent"]:
        m.kind, m.value, m.polarity = "symptom", m.readings["symptom_absent"], "denied"
        m.aside = NOT_LINKED if at.working else ""
    elif len(kinds) == 1 and not m.has("weak"):
        m.take(kinds[0])
    else:
        noun = governor(m, at)
        said_of = noun.readings["head"] if noun is not None else ""
        m.rule = f"said of the {said_of}" if said_of else ""
        chosen = meaning(m, kinds, said_of, at)
        if chosen:
            m.take(chosen)
        else:
            m.aside = NOT_LINKED


def _turn(m: Mention, focus: Focus) -> None:
    """Remember what is talked about now; a first noun of a sentence is not displaced by a later finding."""
    focus.sucked |= m.kind in ("instrument", "method") and m.value in _SUCKING
    if m.kind == "foreign_body":
        focus.turn_to("foreign_body")
    elif m.kind in ("consistency", "colour") and m.polarity != "denied":
        focus.turn_to("wax")
    elif m.kind in ("drum", "canal", "skin") and focus.since > 0:
        focus.turn_to(m.kind)
