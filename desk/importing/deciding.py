"""What a visit waits for, as the summary of an import says it: one clause for each notice that must be decided."""

from __future__ import annotations

WHAT = {
    "side_unstated": "the side of an ear was not said",
    "side_corrected": "a side was put right only later",
    "drum_contradiction": "two findings of a drum do not go together",
    "complication_contradiction": "a complication was both said and denied",
    "consent_contradiction": "consent was said to be given and to be declined",
    "clearance_contradiction": "an ear was said to be cleared and not to be",
    "occlusion_contradiction": "an ear was said to be blocked and to hold no wax",
    "length_disagreement": "two lengths were said of one piece",
    "length_teen_or_ty": "a length may have been misheard (fifteen or fifty)",
    "size_teen_or_ty": "a size may have been misheard (fifteen or fifty)",
    "length_over_canal": "a piece would be longer than an ear canal",
    "length_zero": "a length of nothing was said",
    "total_below_pieces": "the length in all is less than that of the pieces",
    "hard_to_hear": "much of the visit was hard to hear",
    "uncertain_side": "a side was not heard surely",
    "uncertain_drum": "a finding of the drum was not heard surely",
    "uncertain_number": "a number was not heard surely",
    "uncertain_denial": "a denial was not heard surely",
    "uncertain_complication": "a complication was not heard surely",
    "uncertain_finding": "a warning sign was not heard surely",
}
"""By the notice's kind, as in `shared/vocabulary/guidance.yaml`."""


def what(kind: str) -> str:
    """The clause for a kind of notice; of one that is new here, its own name in words."""
    return WHAT.get(kind, kind.replace("_", " "))
