"""Speech that the first hearing passed over is heard again, so that no dictated second is lost.

The recogniser now and then leaves out a passage, or goes round in circles in one. Such a gap is cut out and
heard on its own, without the prompt. What stays unheard is counted, to be shown.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from dictate import speech
from dictate.read import RATE, Recording
from dictate.recognise import HeardWord
from dictate.speech import Clip, Stretch

GAP_SECONDS = 2.0
"""Shortest time without a word that is looked into; shorter ones are breaths and slips of the timing."""

SPOKEN_SECONDS = 1.0
"""Least speech in it that is worth a second hearing."""

Hear = Callable[[Clip], list[HeardWord]]


def fill(
    recording: Recording, clip: Clip, words: Sequence[HeardWord], again: Hear
) -> tuple[list[HeardWord], float]:
    """The words with those of a second hearing put in their places, and the seconds still unheard.

    words: of this clip, in seconds of the recording, in order. again: hears a clip without the prompt.
    """
    whole, unheard = list(words), 0.0
    for gap in gaps(clip, words):
        spoken = speech.seconds(speech.find(recording, gap, pause=0.3, pad=0.0))
        if spoken < SPOKEN_SECONDS:
            continue
        found = [w for w in again(Clip((gap,))) if gap.start <= (w.start + w.end) / 2 * RATE <= gap.end]
        whole += found
        unheard += 0.0 if found else spoken
    return sorted(whole, key=lambda w: w.start), unheard


def gaps(clip: Clip, words: Sequence[HeardWord]) -> list[Stretch]:
    """The parts of the clip's stretches, GAP_SECONDS long or longer, where no word was heard."""
    found = []
    for stretch in clip.stretches:
        edge = stretch.start
        inside = [w for w in words if stretch.start <= (w.start + w.end) / 2 * RATE <= stretch.end]
        for start, end in [(round(w.start * RATE), round(w.end * RATE)) for w in inside] + [
            (stretch.end,) * 2
        ]:
            if start - edge >= GAP_SECONDS * RATE:
                found.append(Stretch(edge, start))
            edge = max(edge, end)
    return found
