"""Values of the record, each with its evidence: the words of its mention, their place, time and confidence."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

from pydantic import BaseModel
from spacy.tokens import Doc

from extract.mentions import Mention, quoted
from extract.words import Words
from shared.record import Value
from shared.transcript import Transcript

_REPAIRED = 0.55
"""Confidence of a value whose words were repaired, at most."""
_POSSIBLE = 0.8
"""Confidence of a value said with doubt, at most."""
Part = TypeVar("Part", bound=BaseModel)


class Values:
    """Makes values of one Doc's mentions.

    transcript: gives each its seconds and confidence. caps: {characters: highest confidence they allow}, of
    every value made so far.
    """

    def __init__(self, doc: Doc, transcript: Transcript) -> None:
        self.doc, self.transcript = doc, transcript
        self.caps: dict[tuple[int, int], float] = {}
        self.words: Words = doc._.words
        self.mentions: list[Mention] = doc._.mentions

    def value(self, m: Mention, value: Any, origin: str = "heard") -> Value[Any]:
        """A value with the evidence of its mention."""
        chars = quoted(self.doc, m)
        heard = self.transcript.probability(*chars)
        cap = _POSSIBLE if m.polarity == "possible" else 1.0
        if any(i in self.words.repairs for i in range(m.start, m.end)):
            cap = _REPAIRED
        self.caps[chars] = min(cap, self.caps.get(chars, 1.0))
        return Value(
            value=value,
            certainty="possible" if m.polarity == "possible" else "stated",
            origin=origin,
            heard=self.transcript.text[chars[0] : chars[1]],
            chars=chars,
            seconds=self.transcript.seconds(*chars),
            confidence=round(min(heard if heard is not None else 0.95, cap), 3),
        )

    def listed(self, mentions: Iterable[Mention]) -> list[Value[Any]]:
        """The values of all mentions not denied, each once."""
        kept = [m for m in mentions if m.polarity != "denied" or m.kind == "not_seen"]
        out = []
        for m in first_of_each(kept, lambda m: "not_seen" if m.kind == "not_seen" else m.value):
            out.append(self.value(m, "not_seen" if m.kind == "not_seen" else m.value))
        return out

    def without_taken_back(self, said: list[Mention]) -> list[Mention]:
        """Without what was affirmed and then, after a correction, denied ("that stings. No, it doesn't hurt")."""
        cues = [c.start for c in self.mentions if c.has("correction")]
        return [
            m
            for m in said
            if m.polarity == "denied"
            or not any(
                d.polarity == "denied"
                and d.value == m.value
                and any(m.start < c <= d.start for c in cues if d.start - m.start < 30)
                for d in said
            )
        ]

    def working(self, m: Mention) -> bool:
        """Whether a mention was said once the work had begun."""
        course = self.doc._.courses.get(m.visit)
        return course is not None and course.work is not None and self.words.sentence[m.start] >= course.work


def first_of_each(mentions: list[Mention], key: Callable[[Mention], Any]) -> list[Mention]:
    """The first mention of each key; a certain one stands before a doubtful one."""
    chosen: dict[Any, Mention] = {}
    for m in mentions:
        old = chosen.get(key(m))
        if old is None:
            chosen[key(m)] = m
        elif old.polarity == "possible" and m.polarity == "affirmed":
            old.polarity = "affirmed"
    return list(chosen.values())


def or_none(part: Part) -> Part | None:
    """A part of the record; None if nothing is in it."""
    return part if part.model_dump(exclude_defaults=True) else None
