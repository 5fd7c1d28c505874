"""Words that a patient's safety hangs on and that the recogniser, or a repair, was not sure of."""

from __future__ import annotations

from collections.abc import Iterator

from extract.notices.guidance import guidance
from extract.notices.view import Located, VisitView
from shared.record import Notice


def unsure(view: VisitView) -> Iterator[Notice]:
    """One notice for each stretch of words in doubt, whatever was recorded from it."""
    rules = guidance()
    sort_of = {field: sort for sort, listed in rules.safety.items() for field in listed}
    said = {view.chars(m): m for m in view.live if m.kind or m.has("ear_cue")}
    told: set[tuple[int, int]] = set()
    for v in view.values:
        chars = v.value.chars
        if chars is None or v.value.origin == "entered" or v.value.value == "unstated" or chars in told:
            continue
        m = said.get(chars)
        sort = sort_of.get(v.field)
        doubt = m.doubt if m is not None else ""
        guessed = v.value.confidence < rules.limits.probability or (m is not None and m.repaired)
        if sort and (guessed or doubt or (sort == "denial" and _denial_unsure(view, v))):
            told.add(chars)
            yield view.notice(f"uncertain_{sort}", v, more=_sentence(doubt))
        elif doubt:
            told.add(chars)
            yield view.notice("uncertain_words", v, other=doubt)


def _denial_unsure(view: VisitView, v: Located) -> bool:
    """Whether the word that denies ("no", "not") was itself not heard surely."""
    if view.transcript is None:
        return False
    denied = next((m for m in view.live if m.polarity == "denied" and view.chars(m) == v.value.chars), None)
    by = view.denying(denied) if denied is not None else None
    sure = view.transcript.probability(*by) if by is not None else None
    return sure is not None and sure < guidance().limits.probability


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:].rstrip('.')}." if words else ""
