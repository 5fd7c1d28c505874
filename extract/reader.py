"""Read a transcript into visit records: the spaCy pipeline and its one public door, `Reader`."""

from __future__ import annotations

import gc

import spacy
from spacy.language import Language
from spacy.tokens import Doc

from extract import (
    aside,
    clauses,
    context,
    corrections,
    course,
    ears,
    finding,
    joined,
    layers,
    not_seen,
    pauses,
    polarity,
    repair,
    subjects,
    timing,
    topic,
    visits,
    words,
)
from extract.build import Builder
from extract.finding import MentionFinder
from extract.pauses import Pauses
from extract.phrase_book import compile_phrases
from extract.repair import Repairer
from extract.stretches import read_in_stretches
from shared.errors import BadText
from shared.record import Visit
from shared.transcript import Transcript
from shared.vocabulary import Vocabulary, load

REGISTERED = (
    words, pauses, repair, clauses, finding, visits, topic, context, polarity, aside, corrections, course, subjects,
    joined, not_seen, ears, layers, timing,
)  # fmt: skip
"""The modules whose components the pipeline is made of; importing one registers it."""

COMPONENTS = (
    "words",
    "pauses",
    "repair",
    "clauses",
    "mentions",
    "visits",
    "topic",
    "earside_context",
    "polarity",
    "aside",
    "corrections",
    "course",
    "subjects",
    "joined",
    "not_seen",
    "ears",
    "layers",
    "timing",
)


class Reader:
    """Reads transcripts. Making one takes a moment; reading does not: keep it.

    vocabulary: the phrases to know; the shipped ones if None.
    """

    def __init__(self, vocabulary: Vocabulary | None = None) -> None:
        self.nlp = _pipeline()
        self._vocabulary = vocabulary or load()
        finder = self.nlp.get_pipe("mentions")
        if isinstance(finder, MentionFinder):
            finder.phrases = compile_phrases(self._vocabulary, self.nlp)
            pausing = self.nlp.get_pipe("pauses")
            if isinstance(pausing, Pauses):
                pausing.phrases = finder.phrases
        repairer = self.nlp.get_pipe("repair")
        if vocabulary is not None and isinstance(repairer, Repairer):
            repairer.learn(vocabulary)
        # The phrases are many small objects that live as long as the reader; sweeping them again and again
        # for garbage took half the reading time.
        gc.collect()
        gc.freeze()

    def annotate(self, text: str) -> Doc:
        """The text with all mentions settled (for explaining), before the record is built."""
        return self.nlp(text)

    def read(self, transcript: Transcript) -> list[Visit]:
        """The visits of one transcript, in the order spoken; empty if it holds nothing of ear care.

        Raises BadText for a text that cannot be written as UTF-8.
        """
        try:
            transcript.text.encode()
        except UnicodeEncodeError as error:
            raise BadText(
                "the text has half a character in it",
                where=f"character {error.start}",
                remedy="Save it as UTF-8 and try again.",
            ) from error
        return read_in_stretches(transcript, self._read) if transcript.text.strip() else []

    def _read(self, part: Transcript) -> tuple[list[Visit], tuple[int, float] | None]:
        """The visits of one stretch; and, if there are several, where the last begins and how surely."""
        doc = self.annotate(part.text)
        starts, words = doc._.visit_starts or [], doc._.words
        last = None
        if len(starts) > 1:
            sentence, confidence = starts[-1]
            last = doc[words.token[words.bounds[sentence][0]]].idx, confidence
        return Builder(doc, part, self._read_otherwise(part)).visits(), last

    def _read_otherwise(self, part: Transcript) -> list[Visit] | None:
        """The visits as the second hearing has them; None if nobody heard a second time."""
        if "second_look" not in part.settings:
            return None
        other = part.otherwise() or part
        return Builder(self.annotate(other.text), other).visits()


def _pipeline() -> Language:
    nlp = spacy.blank("en")
    words.speak_scots(nlp)
    nlp.max_length = 50_000_000
    for name in COMPONENTS:
        nlp.add_pipe(name)
    return nlp
