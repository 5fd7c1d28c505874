"""What a clinician must look at before signing. Notices never record or change a value.

What each notice weighs, says and rests on is data: shared/vocabulary/guidance.yaml. The modules here find
where one is due: contradictions, measures, unsure hearing, findings that ask for care, what was not said.
"""

from __future__ import annotations

from spacy.tokens import Doc

from extract.notices.contradictions import contradictions
from extract.notices.findings import findings
from extract.notices.hearing import unsure
from extract.notices.measured import measured
from extract.notices.passages import passages
from extract.notices.unsaid import unsaid
from extract.notices.view import VisitView
from shared.record import Notice, Visit
from shared.transcript import Transcript

__all__ = ["notices"]


def notices(visit: Visit, doc: Doc, number: int, transcript: Transcript | None = None) -> list[Notice]:
    """The notices of one visit, heaviest first, then in the order spoken.

    number: the visit's number in the Doc's mentions. transcript: gives what is not recorded its
    seconds, and denying words their probability.
    """
    view = VisitView(visit, doc, number, transcript)
    found = [n for part in (contradictions, measured, unsure, passages, findings, unsaid) for n in part(view)]
    return sorted(found, key=lambda n: (-n.weight, n.chars is None, n.chars or (0, 0)))
