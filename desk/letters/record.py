"""The visit record on one page: what stands for years in a patient's file."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from desk import wording
from desk.ear_picture import Moment, describe, ear_picture
from desk.letters.practice import Practice
from desk.letters.standing import Paper
from desk.lines import Line, clean, sections
from desk.web.rows import lay_out
from desk.web.when import clock
from shared.record import Ear, Visit

_ORDER = ("right", "left", "unstated")


def shown(paper: Paper, *, words: bool) -> dict[str, Any]:
    """What the record's template shows; words: on further pages the words behind every value."""
    visit = paper.stored.visit
    ears = sorted(visit.ears, key=lambda ear: _ORDER.index(ear.side.value))
    rest = visit.model_copy(update={"ears": [], "patient_reference": None})
    return {
        "ears": [_ear(ear) for ear in ears],
        "rest": [{"heading": s.heading, "lines": _joined(s.lines)} for s in sections(rest)],
        "signed": paper.standing.signed,
        "source": clean(paper.stored.recording),
        "caution": wording.CAUTION,
        "words": _words(visit) if words else [],
    }


def general(paper: Paper, practice: Practice, title: str) -> dict[str, Any]:
    """What every template shows."""
    standing = paper.standing
    return {
        "title": title,
        "author": standing.by or "Earside",
        "number": paper.stored.id,
        "patient": paper.patient,
        "when": paper.when,
        "word": standing.word,
        "state": standing.state,
        "origin": standing.origin,
        "foot": standing.foot,
        "by": standing.by,
        "paper": practice.paper,
        "practice": {
            "name": clean(practice.name),
            "address": [clean(line) for line in practice.address],
            "phone": clean(practice.phone),
        },
    }


def _ear(ear: Ear) -> dict[str, Any]:
    first, *parts = sections(Visit(ears=[ear]))
    moments: list[Moment] = ["before"] if ear.after is None else ["before", "after"]
    return {
        "heading": first.heading,
        "sections": [{"heading": s.heading, "lines": _joined(s.lines)} for s in parts],
        "pictures": [
            {"moment": m.capitalize(), "alt": describe(ear, m), "svg": _lettered(ear_picture(ear, m))}
            for m in moments
        ],
    }


def _lettered(svg: str) -> str:
    """The picture with the paper's font, which a picture that stands alone must name."""
    return svg.replace("<text ", '<text font-family="Noto Sans" ')


def _joined(lines: tuple[Line, ...]) -> list[dict[str, str]]:
    """Lines with the same label as one."""
    return [
        {"label": label, "text": _list([line.text for line in same])}
        for label, same in groupby(lines, lambda line: line.label)
    ]


def _list(texts: list[str]) -> str:
    return ("; " if any("," in text for text in texts) else ", ").join(texts)


def _words(visit: Visit) -> list[dict[str, str]]:
    laid = lay_out(visit)
    names = {f"ears[{ear.number}]": f"{wording.EARS[ear.side]}: " for ear in laid.ears}
    return [
        {
            "field": names.get(item.path.partition(".")[0], "") + item.label,
            "value": item.words + (" (possible)" if item.value.certainty == "possible" else ""),
            "heard": f"“{clean(item.value.heard)}”" if item.value.heard else "entered by hand",
            "at": clock(item.value.seconds[0]) if item.value.seconds else "",
        }
        for item in laid.items()
    ]
