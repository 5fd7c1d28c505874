"""Sound to words with times, by faster-whisper on the processor.

The recogniser sits behind a small interface so that tests can script it.
"""

from __future__ import annotations

import functools
import os
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt
from threadpoolctl import threadpool_limits

from dictate import memory, weights
from dictate.bias import echoes, nouns_prompt
from shared.errors import WeightsError

Settings = dict[str, str | int | float | bool | None]
Samples = npt.NDArray[np.float32]

SECOND = "tiny.en"
"""Who hears everything a second time: small, so that it costs little, and no part of the first."""

BEAM = 5
"""Readings that the first hearing follows side by side. With 2 or 3, more words are wrong under suction noise."""

BATCH = 4
"""Most clips that are recognised at once by one thread: the weights pass through the processor once for all.
More gains little and takes memory."""


@dataclass(frozen=True)
class HeardWord:
    """One word as the recogniser gives it: with its leading space, if it has one.

    start, end: seconds from the beginning of the clip. probability: 0-1. also: what a second hearing wrote in
    its place, "" if nothing; None if it wrote the same, or there was none.
    """

    text: str
    start: float
    end: float
    probability: float
    also: str | None = None


@dataclass(frozen=True)
class Phrase:
    """Words heard in one go, and how the recogniser judged them.

    no_speech: probability that nobody spoke. log_probability: mean over the tokens. compression: how far
    the text can be packed; over 2.4 it goes round in circles (the limit of Whisper's own program).
    """

    words: tuple[HeardWord, ...]
    no_speech: float = 0.0
    log_probability: float = 0.0
    compression: float = 1.0


class Recogniser(Protocol):
    """What `dictate.hear.transcribe` needs of a recogniser. `hear` is called from several threads."""

    def settings(self) -> Settings:
        """The options it runs with, "model" and "workers" among them."""

    def hear(self, sound: Samples, *, plain: bool = False) -> list[Phrase]:
        """The phrases in a clip of at most 30 s of sound, one channel, 16,000 samples a second.

        plain: without the prompt, for what the first hearing passed over and for second hearings.
        """


@runtime_checkable
class Batching(Protocol):
    """A recogniser that hears several clips at once, which is quicker."""

    def hear_all(self, sounds: Sequence[Samples], *, plain: bool = False) -> list[list[Phrase]]:
        """What `Recogniser.hear` gives for each of the clips, BATCH at most."""


@runtime_checkable
class Checked(Protocol):
    """A recogniser that knows who should check it by hearing everything a second time."""

    def second(self) -> Recogniser | None:
        """The other recogniser; it is asked to hear plainly. None if nobody checks this one."""


def hear_all(hearer: Recogniser, sounds: Sequence[Samples], *, plain: bool = False) -> list[list[Phrase]]:
    """The phrases of each clip, at once if the recogniser can."""
    if isinstance(hearer, Batching):
        return hearer.hear_all(sounds, plain=plain)
    return [hearer.hear(sound, plain=plain) for sound in sounds]


class Whisper:
    """faster-whisper, int8: one thread a worker, since a second thread slows its decoder down.

    model: as for `weights.find`. prompt: a text it takes to have gone before; it leans towards its words.
    beam: how many readings are followed side by side. timed: whether words get their times from an alignment;
    without it they are spread over the clip, as likely as its text. Raises WeightsError if the weights cannot
    be found or loaded.
    """

    def __init__(
        self, model: str = "base", *, prompt: str | None = None, beam: int = BEAM, timed: bool = True
    ) -> None:
        folder = weights.find(model)
        weights.go_offline()
        from faster_whisper import WhisperModel  # noqa: PLC0415  (slow to import, and only after going offline)
        from faster_whisper.tokenizer import Tokenizer  # noqa: PLC0415

        self._prompt = nouns_prompt() if prompt is None else prompt
        self._timed = timed
        self._settings: Settings = {
            "model": model,
            "workers": workers(),
            "batch": BATCH,
            "compute_type": "int8",
            "beam_size": beam,
            "language": "en",
            "temperature": 0.0,
            "without_timestamps": True,
            "condition_on_previous_text": False,
            "initial_prompt": self._prompt,
        }
        memory.keep()  # before its threads begin
        # The spectra of a clip are too small to be shared out: threads of numpy's that wait for each other only take
        # the processors from the recogniser, and how they share changes the last digits of the sum.
        threadpool_limits(1, user_api="blas")
        try:
            self._model = WhisperModel(
                str(folder),
                device="cpu",
                compute_type="int8",
                cpu_threads=1,
                num_workers=workers(),
                local_files_only=True,
            )
        except (RuntimeError, ValueError, OSError) as fault:
            raise WeightsError(
                "the model cannot be loaded",
                where=str(folder),
                remedy="It is damaged, or not one for faster-whisper: get it again, or use base.",
            ) from fault
        several = self._model.model.is_multilingual
        self._tokens = Tokenizer(self._model.hf_tokenizer, several, task="transcribe", language="en")

    def settings(self) -> Settings:
        """The options it runs with."""
        return dict(self._settings)

    def second(self) -> Recogniser | None:
        """SECOND, which follows one reading only; it is not checked itself."""
        return whisper(SECOND, beam=1, timed=False) if self._settings["beam_size"] != 1 else None

    def hear(self, sound: Samples, *, plain: bool = False) -> list[Phrase]:
        """The phrases in a clip of at most 30 s."""
        return self.hear_all([sound], plain=plain)[0]

    def hear_all(self, sounds: Sequence[Samples], *, plain: bool = False) -> list[list[Phrase]]:
        """The phrases in each of the clips. One clip is one window and one phrase, or none."""
        if not sounds:
            return []
        heard = self._decode(self._encode(sounds), [len(s) for s in sounds], plain=plain)
        if plain or not self._prompt:
            return heard
        for i, phrases in enumerate(heard):
            # Nothing but the prompt's own words may be its echo: without it, they must be heard again.
            if phrases and echoes([w.text for p in phrases for w in p.words], self._prompt):
                heard[i] = self.hear(sounds[i], plain=True)
        return heard

    def _encode(self, sounds: Sequence[Samples]) -> Any:
        from ctranslate2 import StorageView  # type: ignore[import-untyped]  # noqa: PLC0415
        from faster_whisper.audio import pad_or_trim  # noqa: PLC0415

        # One at a time: what attention works on for several does not fit the processor's cache.
        frames = (self._model.feature_extractor(sound)[..., :-1] for sound in sounds)
        encoded = [np.array(self._model.encode(pad_or_trim(f))) for f in frames]
        return StorageView.from_array(np.concatenate(encoded))

    def _decode(self, encoded: Any, lengths: Sequence[int], *, plain: bool) -> list[list[Phrase]]:
        from faster_whisper.transcribe import get_suppressed_tokens  # noqa: PLC0415

        model, tokens = self._model, self._tokens
        told = [] if plain or not self._prompt else tokens.encode(" " + self._prompt)
        # Word times come from the alignment. Told to write times itself, the recogniser drops a phrase
        # it has not closed, and goes back to the end of the clip, where it makes up a "Thank you".
        start = model.get_prompt(tokens, told, without_timestamps=True)
        results = model.model.generate(
            encoded,
            [start] * len(lengths),
            beam_size=self._settings["beam_size"],
            # No second tries with drawn words: the same sound always gives the same text.
            sampling_temperature=0.0,
            max_length=model.max_length,
            suppress_blank=True,
            suppress_tokens=get_suppressed_tokens(tokens, [-1]),
            return_scores=True,
            return_no_speech_prob=True,
        )
        seconds = [length / model.feature_extractor.sampling_rate for length in lengths]
        segments = [
            [{"tokens": r.sequences_ids[0], "start": 0.0, "end": end, "seek": 0}]
            for r, end in zip(results, seconds, strict=True)
        ]
        frames = [length // model.feature_extractor.hop_length for length in lengths]
        if self._timed and any(result.sequences_ids[0] for result in results):
            # A word's probability is the one without the prompt: the alignment is not told of it.
            model.add_word_timestamps(segments, tokens, encoded, frames, _BEFORE, _AFTER, 0.0)
        return [self._phrases(r, s[0]) for r, s in zip(results, segments, strict=True)]

    def _phrases(self, result: Any, segment: dict[str, Any]) -> list[Phrase]:
        from faster_whisper.transcribe import get_compression_ratio  # noqa: PLC0415

        count = len(result.sequences_ids[0])
        likely = result.scores[0] * count / (count + 1)
        if self._timed:
            words = [
                HeardWord(w["word"], float(w["start"]), float(w["end"]), float(w["probability"]))
                for w in segment.get("words", ())
            ]
        else:
            text = self._tokens.decode(segment["tokens"])
            words = spread(text, segment["end"], float(np.exp(likely)))
        if not words:
            return []
        packed = get_compression_ratio("".join(w.text for w in words).strip())
        return [Phrase(tuple(words), result.no_speech_prob, likely, packed)]


_BEFORE, _AFTER = "\"'“¿([{-", "\"'.。,，!！?？:：”)]}、"
"""Signs that belong to the word after or before them, as faster-whisper has them."""


def processors() -> int:
    """How many processors this program may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def spread(text: str, seconds: float, probability: float) -> list[HeardWord]:
    """The words of a text, evenly over so many seconds."""
    words = text.split()
    each = seconds / max(len(words), 1)
    return [HeardWord(f" {w}", i * each, (i + 1) * each, probability) for i, w in enumerate(words)]


def workers() -> int:
    """How many clips are recognised side by side: one a processor, four at most."""
    return min(processors(), 4)


@functools.lru_cache(maxsize=2)
def whisper(model: str, beam: int = BEAM, timed: bool = True) -> Whisper:
    """The recogniser for a model, loaded once and kept for the next recording."""
    return Whisper(model, beam=beam, timed=timed)
