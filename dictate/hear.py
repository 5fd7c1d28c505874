"""A recording to a transcript: read, find the speech, hear it, put the words on the recording's clock."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt

from dictate import read, second_look, speech
from dictate.read import Recording
from dictate.recognise import HeardWord, Phrase, Recogniser, Settings, bare, whisper
from dictate.speech import Clip
from shared.transcript import Transcript, Word

Progress = Callable[[float, float], None]

LOOP_COMPRESSION = 2.4
"""A phrase that packs better than this repeats itself (the limit of Whisper's own program)."""

_ROUND_AND_ROUND = re.compile(r"\b(.{1,60}?)(?:\1){4,}")

NO_SPEECH, LOW_LOG_PROBABILITY = 0.6, -1.0
"""A phrase beyond both was made out of noise (the limits of Whisper's own program)."""


def transcribe(
    source: str | os.PathLike[str] | npt.NDArray[np.float32],
    *,
    model: str = "base",
    progress: Progress | None = None,
    recogniser: Recogniser | None = None,
) -> Transcript:
    """The words of a recording, each with its seconds in it and how sure the recogniser was.

    source: a file, or samples between -1 and 1, one channel, 16,000 a second. model: "base", "tiny.en",
    or as for `weights.find`. progress: called with seconds done and seconds in all. recogniser: another
    than the model's own, for tests. Nobody speaks: a transcript without text. The transcript's settings
    hold, beside the recogniser's: "note", what is missing of a damaged recording; "unheard_seconds", speech
    in which even a second hearing found no word.
    Raises BadRecording, WeightsError.
    """
    if isinstance(source, np.ndarray):
        recording, name = Recording.of(source), ""
    else:
        recording, name = read.read(source), os.fspath(source)
    stretches = speech.find(recording)
    clips = speech.clips(stretches)
    hearer = recogniser or (whisper(model) if clips else None)
    settings: Settings = hearer.settings() if hearer else {}
    words: list[HeardWord] = []
    unheard = 0.0

    def listen(clip: Clip) -> tuple[list[HeardWord], float]:
        assert hearer
        first = heard(hearer, recording, clip)
        return second_look.fill(recording, clip, first, lambda gap: heard(hearer, recording, gap, plain=True))

    pool = ThreadPoolExecutor(int(settings.get("workers") or 1))
    try:
        for clip, (found, missed) in zip(clips, pool.map(listen, clips), strict=True):
            words += found
            unheard += missed
            if progress:
                progress(clip.stretches[-1].end / read.RATE, recording.seconds)
    finally:  # an interrupt does not wait for the clips that are being heard
        pool.shutdown(wait=False, cancel_futures=True)
    if progress:
        progress(recording.seconds, recording.seconds)
    text, spoken = join(words, recording.seconds)
    if recording.note:
        settings["note"] = recording.note
    if unheard:
        settings["unheard_seconds"] = round(unheard, 1)
    return Transcript(
        text=text,
        words=spoken,
        source=name,
        duration=recording.seconds,
        speech=speech.seconds(stretches),
        model=model,
        settings=settings,
    )


def heard(hearer: Recogniser, recording: Recording, clip: Clip, *, plain: bool = False) -> list[HeardWord]:
    """The credible words in a clip, in seconds of the recording."""
    words: list[HeardWord] = []
    for phrase in filter(credible, hearer.hear(clip.samples(recording), plain=plain)):
        for i, word in enumerate(phrase.words):
            text = word.text if i else f" {word.text}"  # a phrase never goes on within a word
            words.append(HeardWord(text, *clip.original(word.start, word.end), word.probability))
    return words


def credible(phrase: Phrase) -> bool:
    """False for what the recogniser makes out of noise, or when it says the same five times running."""
    noise = phrase.no_speech > NO_SPEECH and phrase.log_probability < LOW_LOG_PROBABILITY
    text = "".join(bare(word.text) + " " for word in phrase.words)
    return not (noise or phrase.compression > LOOP_COMPRESSION or _ROUND_AND_ROUND.search(text))


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
        if words and not part.text[0].isspace():
            whole = words.pop()
            assert whole.seconds is not None
            assert whole.probability is not None
            begin, start = whole.chars[0], whole.seconds[0]
            probability = min(probability, whole.probability)
        else:
            begin = len(text) + 1 if text else 0
            text += " " if text else ""
        text += bare
        words.append(Word(chars=(begin, len(text)), seconds=(start, end), probability=probability))
    return text, tuple(words)
