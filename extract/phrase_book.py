"""The vocabulary, ready to be found: its phrases cut into words, in three sets."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field

from spacy.language import Language

from extract.phrases import Found, Phrases, plural
from extract.words import plain_words
from shared.vocabulary import CUES, Slot, Vocabulary, slots

_PLURAL = frozenset(
    {
        "weak",
        "head",
        "instrument",
        "history",
        "foreign_body",
        "canal",
        "drum",
        "referral",
        "symptom",
        "ear_cue",
        "complication",
    }
)

_STEERING = frozenset(CUES) - {"head", "not_seen", "removal", "noise", "weak", "ear_cue"}

_OWNERS = frozenset({"the", "his", "her"})


@dataclass(slots=True)
class PhraseBook:
    """Phrases in three sets, each found on its own: what is recorded, what steers the reading, and the ears."""

    values: Phrases = field(default_factory=Phrases)
    cues: Phrases = field(default_factory=Phrases)
    ears: Phrases = field(default_factory=Phrases)

    def set_of(self, kind: str) -> Phrases:
        """The set a kind belongs to."""
        return self.ears if kind == "ear_cue" else self.cues if kind in _STEERING else self.values

    def find(self, row: list[str]) -> list[Found]:
        """All phrases of all sets; words that are noise steer nothing."""
        values = [f for f in self.values.find(row) if not _is_side(row, f)]
        noise = {i for f in values if "noise" in f.readings for i in range(f.start, f.end)}
        cues = self.cues.find(row)
        spoken = {
            i
            for f in cues
            if "correction" in f.readings and f.end - f.start > 1
            for i in range(f.start, f.end)
        }
        values = [f for f in values if f.start not in spoken or f.end - f.start > 2]
        steering = [
            f
            for part in (cues, self.ears.find(row))
            for f in part
            if f.start not in noise and f.end - 1 not in noise
        ]
        return values + steering


def _is_side(row: list[str], f: Found) -> bool:
    """Whether "right now" or "left it" begins with a side after all ("across to the right now")."""
    steers = not f.readings.keys().isdisjoint(("noise", "urgency", "depth"))
    return steers and row[f.start] in ("right", "left") and f.start > 0 and row[f.start - 1] in _OWNERS


@dataclass(slots=True)
class _Phrase:
    """One phrase of the vocabulary, cut into words as the tokenizer cuts text; with plurals, if its kind has."""

    kind: str
    value: str
    slots: list[Slot]
    nlp: Language
    cut: list[Slot] | None = None

    def first_words(self) -> set[str]:
        """The words it may begin with."""
        first: set[str] = set()
        for slot in self.slots:
            first.update(plain_words(said[:1], self.nlp)[0] for said in slot if said)
            if () not in slot:
                break
        may_be_one = sum(() not in slot for slot in self.slots) < 2
        if may_be_one and self.kind in _PLURAL:
            first.update([variant for word in first for (variant,) in plural((word,))])
        return first

    def beginning(self, first: str) -> Iterator[tuple[str, ...]]:
        """Every way to say it that begins with `first`, in the order of its alternatives."""
        if self.cut is None:
            self.cut = [tuple(plain_words(said, self.nlp) for said in slot) for slot in self.slots]
        for i, slot in enumerate(self.cut):
            for head in filter(None, slot):
                if head[0] not in (first, first.removesuffix("s")):
                    continue
                for rest in itertools.product(*self.cut[i + 1 :]):
                    words = sum(rest, head)
                    for variant in plural(words) if self.kind in _PLURAL else (words,):
                        if variant[0] == first:
                            yield variant
            if () not in slot:
                break


def compile_phrases(vocabulary: Vocabulary, nlp: Language) -> PhraseBook:
    """A vocabulary's phrases, ready to be laid out as their words are met."""
    book = PhraseBook()
    for kind, value, written in vocabulary.phrases():
        phrase = _Phrase(kind, value, slots(written), nlp)
        for first in phrase.first_words():
            book.set_of(kind).await_word(first, phrase)
    return book
