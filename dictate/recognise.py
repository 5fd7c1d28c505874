"""Sound to words with times, by faster-whisper on the processor.

The recogniser sits behind a small interface so that tests can script it.
"""

from __future__ import annotations

import functools
import itertools
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import yaml

from dictate import weights
from shared.errors import BadVocabulary, WeightsError

Settings = dict[str, str | int | float | bool | None]

_PROMPT = Path(__file__).parent.parent / "shared" / "vocabulary" / "prompt.yaml"


@dataclass(frozen=True)
class HeardWord:
    """One word as the recogniser gives it: with its leading space, if it has one.

    start, end: seconds from the beginning of the clip. probability: 0-1.
    """

    text: str
    start: float
    end: float
    probability: float


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

    def hear(self, sound: npt.NDArray[np.float32], *, plain: bool = False) -> list[Phrase]:
        """The phrases in a clip of at most 30 s of sound, one channel, 16,000 samples a second.

        plain: without the prompt, for what the first hearing passed over.
        """


class Whisper:
    """faster-whisper, int8: one thread a worker, since a second thread slows its decoder down.

    model: as for `weights.find`. prompt: a text it takes to have gone before; it leans towards its words.
    Raises WeightsError if the weights cannot be found or loaded.
    """

    def __init__(self, model: str = "base", *, prompt: str | None = None) -> None:
        folder = weights.find(model)
        weights.go_offline()
        from faster_whisper import WhisperModel  # noqa: PLC0415  (slow to import, and only after going offline)

        self._prompt = nouns_prompt() if prompt is None else prompt
        self._settings: Settings = {
            "model": model,
            "workers": workers(),
            "compute_type": "int8",
            "beam_size": 5,
            "language": "en",
            "temperature": 0.0,
            "without_timestamps": True,
            "condition_on_previous_text": False,
            "initial_prompt": self._prompt,
        }
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

    def settings(self) -> Settings:
        """The options it runs with."""
        return dict(self._settings)

    def hear(self, sound: npt.NDArray[np.float32], *, plain: bool = False) -> list[Phrase]:
        """The phrases in a clip of at most 30 s."""
        segments, _ = self._model.transcribe(
            sound,
            language="en",
            beam_size=5,
            # No second tries with drawn words: the same sound always gives the same text.
            temperature=0.0,
            word_timestamps=True,
            # Word times come from the alignment. Told to write times itself, the recogniser drops a phrase
            # it has not closed, and goes back to the end of the clip, where it makes up a "Thank you".
            without_timestamps=True,
            condition_on_previous_text=False,
            initial_prompt=None if plain else self._prompt or None,
        )
        # A clip is one window; whatever comes later was made out of the silence after the last word.
        phrases = [_phrase(segment) for segment in itertools.takewhile(lambda s: s.seek == 0, segments)]
        # Nothing but the prompt's own words may be its echo: without it, they must be heard again.
        echo = {bare(w.text) for p in phrases for w in p.words} <= {bare(w) for w in self._prompt.split()}
        return self.hear(sound, plain=True) if phrases and echo and not plain else phrases


def bare(word: str) -> str:
    """The word in small letters, without spaces and punctuation."""
    return re.sub(r"\W", "", word.lower())


def _phrase(segment: Any) -> Phrase:
    words = tuple(HeardWord(w.word, w.start, w.end, w.probability) for w in segment.words or ())
    return Phrase(words, segment.no_speech_prob, segment.avg_logprob, segment.compression_ratio)


def workers() -> int:
    """How many clips are recognised side by side: one a processor, four at most."""
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(usable, 4)


@functools.cache
def nouns_prompt() -> str:
    """The nouns of the trade as a text for the recogniser to lean on. Raises BadVocabulary."""
    remedy = "It needs a list of words under the key nouns."
    try:
        given = yaml.safe_load(_PROMPT.read_text(encoding="utf-8"))
        nouns = given["nouns"]
    except (OSError, yaml.YAMLError, KeyError, TypeError) as fault:
        raise BadVocabulary("cannot be read as a list of nouns", where=str(_PROMPT), remedy=remedy) from fault
    if not isinstance(nouns, list) or not all(isinstance(n, str) for n in nouns):
        raise BadVocabulary("not a list of words", where=str(_PROMPT), remedy=remedy)
    # A sentence works better than a bare list, which makes the recogniser drop the first words it hears.
    return f"The words are the {', the '.join(nouns)}." if nouns else ""


@functools.lru_cache(maxsize=1)
def whisper(model: str) -> Whisper:
    """The recogniser for a model, loaded once and kept for the next recording."""
    return Whisper(model)
