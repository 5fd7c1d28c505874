"""The setting of one sentence: how far the visit has come, the nouns named, and what was last talked about."""

from __future__ import annotations

from dataclasses import dataclass, field

from extract.mentions import Mention
from extract.words import Words
from shared.vocabulary import word_set

_COPULAS = word_set("subjects", "copulas")


@dataclass(slots=True)
class Focus:
    """What was last talked about in a visit: wax, drum, canal, skin, cavity or foreign_body ("" if nothing yet).

    since: sentences since then. visit: the visit's number. tubes, sucked: whether grommets were called tubes, and
    whether a suction tube was named.
    """

    last: str = ""
    since: int = 99
    visit: int = -1
    tubes: bool = False
    sucked: bool = False

    def turn_to(self, subject: str) -> None:
        """Remember what is talked about now."""
        self.last, self.since = subject, 0


@dataclass(slots=True)
class Setting:
    """One sentence as its words are settled.

    number: the sentence's. mentions: all in it. looking, working: whether the visit has come so far. layered:
    whether the visit's wax is told in layers. heads: the nouns in it that name a part of the ear or wax.
    """

    words: Words
    number: int
    mentions: list[Mention]
    focus: Focus
    looking: bool
    working: bool
    layered: bool
    heads: list[Mention] = field(default_factory=list)

    @property
    def said(self) -> list[str]:
        """The sentence's words."""
        start, end = self.words.bounds[self.number]
        return self.words.text[start:end]

    @property
    def start(self) -> int:
        """Its first word."""
        return self.words.bounds[self.number][0]

    def opens(self, m: Mention) -> bool:
        """Whether nothing but small words stands between the sentence's start and the mention."""
        return all(w in _COPULAS for w in self.words.text[self.start : m.start])

    def wax_near(self, m: Mention) -> bool:
        """Whether wax is spoken of within eight words of the mention."""
        return any(
            o is not m
            and abs(o.start - m.start) < 8
            and (o.readings.get("head") == "wax" or o.has("colour", "consistency"))
            and not o.has("weak")
            for o in self.mentions
        )

    def nearest_before(self, m: Mention) -> str:
        """What was spoken of just before, within four words: a kind of finding or a noun."""
        near = [
            o
            for o in self.mentions
            if o is not m
            and o.end <= m.start <= o.end + 4
            and o.has("head", "skin", "drum", "consistency", "colour", "percent", "foreign_body", "occlusion")
            and not o.has("weak")
        ]
        if not near:
            return ""
        last = near[-1]
        return last.readings.get("head") or last.kind or next(iter(last.readings))
