"""A first guess at the words, quick enough to follow speech: to look at while it is said, never to record.

Whisper's encoder always works on 30 s. Given only the sound there is and a little silence, it takes a twentieth
of the time; its guess is nearly as good, but it may go round in circles, which is cut.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from dictate import weights
from dictate.read import RATE
from shared.errors import WeightsError

PAD_SECONDS = 3.0
"""Silence after the sound: with less the guess is worse, with more slower (tried 1 and 3 s on two samples)."""

LONGEST_SECONDS = 27.0
TOKENS_A_SECOND = 8
"""Nobody speaks more; beyond it the recogniser goes round in circles."""

Quick = Callable[[npt.NDArray[np.float32]], str]
"""The words of some sound, one channel, 16,000 samples a second, as a guess."""

_AGAIN = re.compile(r"(\b.{3,60}?[\w.,!?])(?:\s*\1)+", re.IGNORECASE)


class QuickWhisper:
    """A Quick by Whisper tiny.en: one thread, greedy, no prompt. Raises WeightsError."""

    def __init__(self, model: str = "tiny.en") -> None:
        folder = weights.find(model)
        weights.go_offline()
        from faster_whisper import WhisperModel  # noqa: PLC0415  (slow to import, and only after going offline)
        from faster_whisper.tokenizer import Tokenizer  # noqa: PLC0415

        try:
            self._model = WhisperModel(
                str(folder), device="cpu", compute_type="int8", cpu_threads=1, local_files_only=True
            )
        except (RuntimeError, ValueError, OSError) as fault:
            raise WeightsError("the model cannot be loaded", where=str(folder)) from fault
        inner = self._model.model
        self._tokens = Tokenizer(
            self._model.hf_tokenizer, inner.is_multilingual, task="transcribe", language="en"
        )

    def __call__(self, sound: npt.NDArray[np.float32]) -> str:
        """The words of the last LONGEST_SECONDS of the sound, as a guess."""
        sound = sound[-round(LONGEST_SECONDS * RATE) :]
        heard = np.pad(sound, (0, round(PAD_SECONDS * RATE)))
        features = self._model.feature_extractor(heard)
        features = np.ascontiguousarray(features[:, : features.shape[1] // 2 * 2])
        prompt = [*self._tokens.sot_sequence, self._tokens.no_timestamps]
        most = len(prompt) + 8 + round(TOKENS_A_SECOND * len(sound) / RATE)
        (found,) = self._model.model.generate(
            self._model.encode(features), [prompt], beam_size=1, max_length=most, return_no_speech_prob=True
        )
        text = str(self._tokens.decode(found.sequences_ids[0]))
        return "" if found.no_speech_prob > 0.6 else straight(text)


def straight(text: str) -> str:
    """The text with what is said again at once said only once."""
    return " ".join(_AGAIN.sub(r"\1", text).split())


class Late:
    """A Quick that loads its model when it is first needed, once for all of its kind."""

    def __call__(self, sound: npt.NDArray[np.float32]) -> str:
        """The words of the sound, as a guess."""
        return _loaded()(sound)


@functools.cache
def _loaded() -> QuickWhisper:
    return QuickWhisper()
