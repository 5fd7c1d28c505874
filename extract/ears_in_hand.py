"""The ears of one visit as they come up, and which of them a cue points at.

The side is never guessed: "the other one" has a side only if this one has, "this ear" none unless it was named.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from extract.ear_cues import OPPOSITE, names_ear_in_hand, side_of
from extract.mentions import Mention
from extract.words import Words
from shared.vocabulary import word_set

_WAS, _WORKED = word_set("ears", "was"), word_set("ears", "worked")


@dataclass(slots=True)
class EarEntry:
    """One ear of a visit: its side and the mention that named it."""

    side: str
    named_by: Mention | None = None
    first: int = -1


@dataclass(slots=True)
class EarsInHand:
    """What is known of the ears at one point of a visit.

    ears: as first spoken of. current: numbers of the ears now spoken of. hinted: sides that only the patient's
    story named. last_side: the last "right" or "left". heading: the side that was a heading just before.
    clean, waxed: numbers of ears said to hold no wax, some.
    seen_well, worked: of those whose drum or healthy canal was seen, and in which removal was begun.
    rated: numbers of the ears called the good and the bad one.
    waiting: tools taken up before any ear was spoken of, to be given to the first that is.
    asked: symptoms and history that the sentence before asked for.
    pairs: ears neither of whose sides was said when the second was called the other one.
    """

    ears: list[EarEntry] = field(default_factory=list)
    current: tuple[int, ...] = ()
    hinted: dict[str, Mention] = field(default_factory=dict)
    last_side: Mention | None = None
    heading: Mention | None = None
    clean: set[int] = field(default_factory=set)
    waxed: set[int] = field(default_factory=set)
    seen_well: set[int] = field(default_factory=set)
    worked: set[int] = field(default_factory=set)
    rated: dict[str, int] = field(default_factory=dict)
    waiting: list[Mention] = field(default_factory=list)
    pairs: list[tuple[int, int]] = field(default_factory=list)
    asked: list[Mention] = field(default_factory=list)

    def named(self, side: str, by: Mention) -> int:
        """The ear of a side, made if there is none yet."""
        for i, ear in enumerate(self.ears):
            if ear.side == side:
                return i
        self.ears.append(EarEntry(side, by, by.start))
        return len(self.ears) - 1

    def name(self, numbers: tuple[int, ...], by: Mention) -> bool:
        """Give a side to the one ear of this number, if it has none yet and no other ear has that side."""
        if len(numbers) != 1 or any(ear.side == side_of(by) for ear in self.ears):
            return False
        ear = self.ears[numbers[0]]
        if ear.side != "unstated":
            return False
        ear.side, ear.named_by = side_of(by), by
        for other in (self.ears[b] for a, b in self.pairs if a == numbers[0]):
            if other.side == "unstated":
                other.side, other.named_by = OPPOSITE[ear.side], by
        return True

    def unstated(self, at: int) -> int:
        """A new ear whose side is not said, first spoken of at word `at`."""
        self.ears.append(EarEntry("unstated", None, at))
        return len(self.ears) - 1

    def begin(self, at: Mention) -> int:
        """The ear looked at first when none is named: the one the patient's talk named, if only one was."""
        if len(self.hinted) == 1:
            side, by = next(iter(self.hinted.items()))
            return self.named(side, by)
        return self.unstated(at.start)

    def pointed_at(self, words: Words, cue: Mention) -> tuple[int, ...]:
        """The ears a cue points at, made if need be."""
        side = side_of(cue)
        if side in OPPOSITE:
            return self._side(words, side, cue)
        if side == "both":
            return self._both(cue)
        if side in ("first", "second") and len(self.ears) > 1:
            return (("first", "second").index(side),)
        if side in ("other", "second"):
            return self._other(cue)
        if side in ("good", "bad"):
            return self._rated(side, cue)
        if self.current:
            return self.current
        return (self.begin(cue) if side == "that" else self.unstated(cue.start),)

    def _side(self, words: Words, side: str, cue: Mention) -> tuple[int, ...]:
        ear = self._told_late(words, cue)
        if ear is not None and self.name((ear,), cue):
            return (ear,)
        if names_ear_in_hand(words, cue) and self.name(self.current, cue):
            return self.current
        return (self.named(side, cue),)

    def _told_late(self, words: Words, cue: Mention) -> int | None:
        """Which of two ears a late remark names: the first, or the one worked on ("it was the left I took it from")."""
        start, end = words.bounds[words.sentence[cue.start]]
        said = {*words.text[start : cue.start], *words.text[cue.end : end]}
        if len(self.ears) != 2 or not _WAS & said or any(ear.side in OPPOSITE for ear in self.ears):
            return None
        if "first" in said:
            return 0
        return next(iter(self.worked)) if _WORKED & said and len(self.worked) == 1 else None

    def _rated(self, side: str, cue: Mention) -> tuple[int, ...]:
        """The good or the bad ear: of two so called each is another, and neither's side tells that of the other."""
        if side not in self.rated:
            here = self.current[0] if len(self.current) == 1 else None
            fresh = here is None or here in self.rated.values()
            self.rated[side] = self.unstated(cue.start) if fresh or here is None else here
        return (self.rated[side],)

    def _both(self, cue: Mention) -> tuple[int, ...]:
        if not self.ears:
            return self.named("right", cue), self.named("left", cue)
        if len(self.ears) == 1:
            only = self.ears[0].side
            if only == "unstated":
                return 0, self.unstated(cue.start)
            return 0, self.named(OPPOSITE[only], cue)
        return tuple(range(len(self.ears)))

    def _other(self, cue: Mention) -> tuple[int, ...]:
        if len(self.current) != 1:
            if len(self.ears) == 2 and self.current:
                return self.current
            return self.current or (self.unstated(cue.start),)
        here = self.current[0]
        side = self.ears[here].side
        if side in OPPOSITE:
            return (self.named(OPPOSITE[side], cue),)
        others = [i for i in range(len(self.ears)) if i != here]
        there = others[0] if others else self.unstated(cue.start)
        if len(self.ears) == 2 and self.ears[there].side == "unstated":
            self.pairs.append((here, there))
        return (there,)
