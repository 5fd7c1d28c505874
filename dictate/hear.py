"""A recording to a transcript: read, find the speech, hear it, put the words on the recording's clock."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from dictate import memory, read, speech
from dictate.hearings import Hearings, groups
from dictate.read import Recording
from dictate.recognise import Checked, HeardWord, Recogniser, Settings, whisper
from dictate.speech import Stretch
from shared.naming import readable
from shared.transcript import Transcript, Word

Progress = Callable[[float, float], None]

FAINT_BELIEF = 0.4
"""How likely a word of faint speech is taken to be at most: low enough that what rests on it is checked."""


def transcribe(
    source: str | os.PathLike[str] | npt.NDArray[np.float32],
    *,
    model: str = "base",
    progress: Progress | None = None,
    recogniser: Recogniser | None = None,
    second: Recogniser | None = None,
) -> Transcript:
    """The words of a recording, each with its seconds in it and how likely it is right.

    source: a file, or samples between -1 and 1, one channel, 16,000 a second. model: "base", "tiny.en",
    or as for `weights.find`. progress: called with seconds done, and in all as far as is known. recogniser, second:
    another than the model's own, and who hears all of it again, if not the recogniser's own second. Nobody
    speaks: a transcript without text. The transcript's settings hold, beside the recogniser's: "second_look",
    who heard it the second time; "note", what is missing of a damaged recording; "unheard_seconds", speech in
    which even a second hearing found no credible word; "faint_seconds", speech so quiet that it may be
    somebody else's.
    Raises BadRecording, WeightsError.
    """
    tell = progress or (lambda done, whole: None)
    if isinstance(source, np.ndarray):
        recording, name = Recording.of(source), ""
    else:
        recording, name = read.read(source, lambda decoded: tell(0.0, decoded)), readable(source)
    stretches = speech.find(recording, progress=lambda: tell(0.0, recording.seconds))
    clips = speech.clips(stretches)
    words: list[HeardWord] = []
    unheard, settings = 0.0, Settings()
    if clips:
        hearer = recogniser or whisper(model)
        if second is None and isinstance(hearer, Checked):
            second = hearer.second()
        settings = hearer.settings() | ({"second_look": second.settings()["model"]} if second else {})
        hearings, shared_out = Hearings(recording, hearer, second), list(groups(clips))
        pool = ThreadPoolExecutor(int(settings.get("workers") or 1))
        try:
            for group, found in zip(shared_out, pool.map(hearings.hear, shared_out), strict=True):
                words += [word for heard, _ in found for word in heard]
                unheard += sum(missed for _, missed in found)
                tell(group[-1].stretches[-1].end / read.RATE, recording.seconds)
        finally:  # an interrupt does not wait for the clips that are being heard
            pool.shutdown(wait=False, cancel_futures=True)
            memory.give_back()
    tell(recording.seconds, recording.seconds)
    faint = speech.faint(recording, stretches)
    text, spoken = join(_doubted(words, faint), recording.seconds)
    if recording.note:
        settings["note"] = recording.note
    if unheard:
        settings["unheard_seconds"] = round(unheard, 1)
    if any(_lies_in(word, faint) for word in words):
        settings["faint_seconds"] = round(speech.seconds(faint), 1)
    return Transcript(
        text=text,
        words=spoken,
        source=name,
        duration=recording.seconds,
        speech=speech.seconds(stretches),
        model=model,
        settings=settings,
    )


def _doubted(words: Iterable[HeardWord], faint: Sequence[Stretch]) -> Iterator[HeardWord]:
    """The words, those of faint speech no likelier than FAINT_BELIEF."""
    for word in words:
        yield (
            replace(word, probability=min(word.probability, FAINT_BELIEF)) if _lies_in(word, faint) else word
        )


def _lies_in(word: HeardWord, stretches: Sequence[Stretch]) -> bool:
    middle = (word.start + word.end) / 2 * read.RATE
    return any(s.start <= middle <= s.end for s in stretches)


def join(heard: Iterable[HeardWord], duration: float) -> tuple[str, tuple[Word, ...]]:
    """The text, and its words as what stands between spaces; times in order and within the recording.

    Parts without a leading space ("-Horne") belong to the word before them.
    """
    text, last = "", 0.0
    words: list[Word] = []
    for part in heard:
        bare = part.text.strip()
        if not bare:
            continue
        start = min(max(part.start, last), duration)
        end = last = min(max(part.end, start), duration)
        probability = min(max(part.probability, 0.0), 1.0)
        also = part.also
        if words and not part.text[0].isspace():
            whole = words.pop()
            assert whole.seconds is not None
            assert whole.probability is not None
            begin, start = whole.chars[0], whole.seconds[0]
            probability = min(probability, whole.probability)
            also = also if whole.also_heard is None else whole.also_heard
        else:
            begin = len(text) + 1 if text else 0
            text += " " if text else ""
        text += bare
        chars = (begin, len(text))
        words.append(Word(chars=chars, seconds=(start, end), probability=probability, also_heard=also))
    return text, tuple(words)
