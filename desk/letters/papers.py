"""The papers of a visit by name, each as the bytes of a file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Literal, get_args

from desk import saving
from desk.letters import advice, docx, pdf, record, sentences
from desk.letters.practice import Practice, practice
from desk.letters.standing import Paper, paper
from shared.errors import BadInput
from shared.store import Store

To = Literal["gp", "ent"]
TITLES = {"gp": "Letter to the GP", "ent": "Letter to ENT"}


@dataclass(frozen=True)
class Made:
    """A paper as a file. name: with DRAFT in it for what is not signed."""

    name: str
    content: bytes


class Papers:
    """Makes the papers of one visit as it stands, with what the data folder says of the practice.

    Raises BadInput (no such visit, or a mistake in the practice's files), NotAllowed (a replaced visit).
    """

    def __init__(self, store: Store, visit_id: int, data: Path, *, now: datetime | None = None) -> None:
        self.paper: Paper = paper(store, visit_id, now=now)
        self.practice: Practice = practice(data)
        self.template = data / docx.FILE if (data / docx.FILE).exists() else None
        self._now = now or datetime.now().astimezone()

    def record(self, *, words: bool = False) -> Made:
        """The visit record, PDF."""
        shown = record.shown(self.paper, words=words)
        return self._pdf("record", "Visit record", shown, "record-with-words" if words else "record")

    def letter(self, to: To) -> tuple[Made, Made]:
        """The letter, DOCX and PDF."""
        parts = sentences.letter(self.paper.stored.visit, to)
        values = self._general(TITLES[to]) | {
            "date": f"{self._now.day} {self._now:%B %Y}",
            "greeting": "Dear colleague,",
            "parts": [{"heading": p.heading, "text": p.text} for p in parts],
        }
        standing = self.paper.standing
        wanted = {
            **values,
            "visit_time": values["when"],
            "reason": parts[0].text,
            "parts": values["parts"][1:],
            "signed_by": standing.by or "Not signed: check and sign before sending",
        }
        wanted = {name: wanted[name] for name in docx.PLACEHOLDERS}
        letter = docx.render(self.template, wanted, word=standing.word, foot=standing.foot)
        made = Made(self._name(f"letter-{to}", "docx"), letter)
        return made, Made(self._name(f"letter-{to}", "pdf"), pdf.render("letter", values))

    def advice(self) -> Made:
        """The advice for the patient, PDF."""
        shown = {"parts": advice.parts(self.paper.stored.visit, self.practice)}
        return self._pdf("advice", advice.words()["title"], shown, "advice")

    def one(self, name: str) -> Made:
        """A paper by its name in PAPERS. Raises BadInput for any other name."""
        match name.split("-"):
            case ["record"]:
                return self.record()
            case ["words"]:
                return self.record(words=True)
            case ["advice"]:
                return self.advice()
            case ["letter", "gp" | "ent" as to, "docx" | "pdf" as kind]:
                return self.letter(to)[kind == "pdf"]
        raise BadInput("there is no such paper", where=name, remedy="Choose one on the page of the visit.")

    def all(self) -> list[Made]:
        """Every paper."""
        letters = [made for to in get_args(To) for made in self.letter(to)]
        return [self.record(words=True), *letters, self.advice()]

    def _pdf(self, kind: pdf.Kind, title: str, shown: dict[str, Any], name: str) -> Made:
        return Made(self._name(name, "pdf"), pdf.render(kind, self._general(title) | shown))

    def _general(self, title: str) -> dict[str, Any]:
        return record.general(self.paper, self.practice, title)

    def _name(self, name: str, kind: str) -> str:
        draft = f"-{self.paper.standing.word}" if self.paper.standing.word else ""
        return f"visit-{self.paper.stored.id}-{name}{draft}.{kind}"


def save(made: list[Made], folder: Path, *, replace: bool) -> list[Path]:
    """Write papers into a folder, each whole or not at all. Raises BadInput if one is there already, as it
    may have been edited, and EarsideError if the disk does not let it."""
    places = [folder / paper.name for paper in made]
    if not replace:
        for place in places:
            saving.refuse_there(place, "Move it, or write over it with --replace.")
    for place, paper_ in zip(places, made, strict=True):
        saving.save(place, paper_.content, replace=replace)
    return places
