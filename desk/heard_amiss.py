"""What went wrong with a recording as a whole, as something to check on every visit read from it."""

from __future__ import annotations

from collections.abc import Iterator

from shared.record import Notice
from shared.transcript import Transcript

WEIGHT = 97
"""Before nearly all else: nobody can see from the record what is missing in it. Set by us; no source."""


def notices(transcript: Transcript) -> Iterator[Notice]:
    """What is damaged, not recognised or perhaps somebody else's (see `dictate.hear.transcribe`)."""
    if note := transcript.settings.get("note"):
        yield _notice("recording_damaged", f"The recording is damaged: {note}. Add what was said there.")
    if seconds := transcript.settings.get("unheard_seconds"):
        yield _notice(
            "speech_unheard",
            f"In {float(seconds):.0f} seconds of speech no word was recognised. Listen to the recording.",
        )
    if seconds := transcript.settings.get("faint_seconds"):
        yield _notice(
            "speech_faint",
            f"{float(seconds):.0f} seconds of speech are very quiet: somebody else may be talking. What was read "
            "from them is marked as not heard clearly.",
        )


def _notice(kind: str, message: str) -> Notice:
    return Notice(kind=kind, weight=WEIGHT, message=message, guidance="common practice, no source")
