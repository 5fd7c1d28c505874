"""Component: every phrase of the vocabulary and every measure in the text, put on the Doc as mentions."""

from __future__ import annotations

from spacy.language import Language
from spacy.tokens import Doc

from extract.measured import (
    belongs_to_percent,
    is_figure_of_speech,
    settle_percents,
    settle_pieces,
    settle_shares,
    settle_sizes,
    tubes_by_their_bore,
)
from extract.measures import measures
from extract.mentions import Mention
from extract.phrase_book import PhraseBook
from extract.references import places
from extract.words import Words


@Language.factory("mentions", requires=["doc._.words"], assigns=["doc._.mentions"])
def _mentions(nlp: Language, name: str) -> MentionFinder:
    return MentionFinder()


class MentionFinder:
    """Component: put all mentions on the Doc. `phrases` is set by the reader that owns the vocabulary."""

    def __init__(self) -> None:
        self.phrases = PhraseBook()

    def __call__(self, doc: Doc) -> Doc:
        words: Words = doc._.words
        row = words.text
        found = [Mention(f.start, f.end, f.readings) for f in self.phrases.find(row)]
        after = [m.end for m in found if m.readings.get("visit", "greeting") != "greeting"]
        counted = [
            Mention(
                m.start,
                m.end,
                {m.kind: m.text},
                measure=m,
                kind=m.kind,
                value=m.text,
                polarity="affirmed" if m.other is None else "possible",
            )
            for m in measures(row, places(row, after))
        ]
        solid = {i for m in counted if m.kind != "bare" for i in range(m.start, m.end)}
        found = [m for m in found if not (m.start in solid and m.end - 1 in solid)]
        counted = [c for c in counted if not is_figure_of_speech(c, found)]
        settle_sizes(row, counted, found)
        found += tubes_by_their_bore(row, counted, found)
        settle_percents(row, counted)
        found = [m for m in found if not belongs_to_percent(m, counted) and not _is_left_side(row, m)]
        settle_pieces(row, counted, found)
        settle_shares(row, counted, found)
        doc._.mentions = sorted(found + counted, key=lambda m: (m.start, -m.end))
        return doc


def _is_left_side(row: list[str], m: Mention) -> bool:
    """Whether a phrase ends in "the left", which is a side and not what remained."""
    return m.has("clearance") and row[m.end - 1] == "left" and row[m.end - 2] in ("the", "his", "her", "on")
