"""Where in a recording somebody speaks, and how to cut it for recognition.

Speech is found by Silero VAD, which faster-whisper brings. All places are sample numbers of the original
recording; `Clip.original` alone turns the time in a clip back into it.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dictate.read import RATE, Recording

CLIP_SECONDS = 28.0
"""Longest clip: the recogniser hears 30 s at a time; the rest leaves room for the last word."""

THRESHOLD = 0.35
"""Probability of speech from which a 32 ms frame counts as speech. Hiss, hum, tones and breath made for the
tests stay below 0.3; speech at 10 dB over hiss is above 0.35 in 93 % of its frames (above 0.5 in 88 %)."""

SHORTEST_SECONDS = 0.09
"""Shorter speech is a click or a chance in the noise: the shortest word lasts longer."""

PAUSE_SECONDS = 0.3
"""Shortest silence at which a clip may end. The more such places there are, the fuller clips get."""

LEFT_OUT_SECONDS = 1.2
"""Shortest silence between two stretches that is left out of a clip. Without the shorter ones,
words spoken between two pauses were lost (jfk.flac of the open data)."""

PAD_SECONDS = 0.4
"""Kept around each stretch of speech, so that no soft consonant is lost."""

FAINT_DB, FAINT_FLOOR_DB = 25.0, -45.0
"""Speech so far below the loudest in the recording, or below so much of full scale, may be somebody else's: a
voice falls by 6 dB with each doubling of its distance. Ours, no source."""

BLOCK_SECONDS = 600
"""Speech is looked for in blocks of this length, the detector beginning anew in each."""


@dataclass(frozen=True)
class Stretch:
    """Speech without a longer pause: samples [start, end) of the recording."""

    start: int
    end: int

    def __len__(self) -> int:
        return self.end - self.start


@dataclass(frozen=True)
class Clip:
    """Stretches that are recognised together, one after another, at most CLIP_SECONDS long."""

    stretches: tuple[Stretch, ...]

    def samples(self, recording: Recording) -> npt.NDArray[np.float32]:
        """The sound of the stretches, the pauses between them left out."""
        return np.concatenate([recording.floats(s.start, s.end) for s in self.stretches])

    def original(self, start: float, end: float) -> tuple[float, float]:
        """Seconds in the recording of something heard at seconds [start, end] of the clip."""
        begins = [0]
        for stretch in self.stretches:
            begins.append(begins[-1] + len(stretch))
        # Both ends are placed in the stretch that holds the middle: a word does not span a pause.
        middle = (start + end) / 2 * RATE
        which = min(max(bisect.bisect_right(begins, middle) - 1, 0), len(self.stretches) - 1)
        stretch = self.stretches[which]
        moved = (stretch.start - begins[which]) / RATE

        def inside(t: float) -> float:
            return min(max(t + moved, stretch.start / RATE), stretch.end / RATE)

        return inside(start), inside(end)


def find(
    recording: Recording,
    within: Stretch | None = None,
    *,
    pause: float = PAUSE_SECONDS,
    pad: float = PAD_SECONDS,
    progress: Callable[[], object] = lambda: None,
) -> list[Stretch]:
    """The stretches of speech, in order, not overlapping. Empty if nobody speaks.

    within: where to look, everywhere if None. pause, pad: as PAUSE_SECONDS and PAD_SECONDS. progress: called after
    each block.
    """
    from faster_whisper.vad import VadOptions, get_speech_timestamps  # noqa: PLC0415  (slow to import)

    options = VadOptions(
        threshold=THRESHOLD,
        min_speech_duration_ms=round(SHORTEST_SECONDS * 1000),
        min_silence_duration_ms=round(pause * 1000),
        speech_pad_ms=round(pad * 1000),
        max_speech_duration_s=CLIP_SECONDS,
    )
    within = within or Stretch(0, len(recording.samples))
    found: list[Stretch] = []
    # In blocks, for the sake of memory: a day of sound is more than a small computer holds as floats.
    for start in range(within.start, within.end, BLOCK_SECONDS * RATE):
        block = recording.floats(start, min(start + BLOCK_SECONDS * RATE, within.end))
        found += [
            Stretch(start + s["start"], start + s["end"]) for s in get_speech_timestamps(block, options)
        ]
        progress()
    return found


def clips(stretches: Iterable[Stretch]) -> list[Clip]:
    """Neighbouring stretches put together into clips, as full as they get, with the short pauses between them."""
    made: list[list[Stretch]] = []
    for stretch in stretches:
        clip = made[-1] if made else []
        if clip and stretch.start - clip[-1].end < LEFT_OUT_SECONDS * RATE:
            longer = [*clip[:-1], Stretch(clip[-1].start, stretch.end)]
        else:
            longer = [*clip, stretch]
        if clip and sum(map(len, longer)) <= CLIP_SECONDS * RATE:
            made[-1] = longer
        else:
            made.append([stretch])
    return [Clip(tuple(group)) for group in made]


def seconds(stretches: Iterable[Stretch]) -> float:
    """How much speech there is."""
    return sum(map(len, stretches)) / RATE


def faint(recording: Recording, stretches: Iterable[Stretch]) -> list[Stretch]:
    """The stretches whose speech is so quiet that it may come from farther away than the speaker's."""
    levels = [(stretch, _level_db(recording, stretch)) for stretch in stretches]
    loudest = max((level for _, level in levels), default=0.0)
    return [stretch for stretch, level in levels if level < max(loudest - FAINT_DB, FAINT_FLOOR_DB)]


def _level_db(recording: Recording, stretch: Stretch) -> float:
    """Level of the louder tenth of a stretch, in decibels of full scale: of its vowels, not of its pauses."""
    sound = recording.floats(stretch.start, stretch.end)
    frame = 512
    power = np.square(sound[: len(sound) // frame * frame]).reshape(-1, frame).mean(axis=1)
    return float(10 * np.log10(np.quantile(power, 0.9) + 1e-12)) if len(power) else -120.0
