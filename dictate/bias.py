"""The nouns that the recogniser is told of before it listens, and how to tell when it only repeats them."""

from __future__ import annotations

import functools
import re
from collections.abc import Sequence
from pathlib import Path

import yaml

from shared.errors import BadVocabulary

_PROMPT = Path(__file__).parent.parent / "shared" / "vocabulary" / "prompt.yaml"

ECHO_WORDS = 6
"""Words running that stand in the prompt in this order: nobody lists instruments as it does."""


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


def bare(word: str) -> str:
    """The word in small letters, without spaces and punctuation."""
    return re.sub(r"\W", "", word.lower())


def echoes(words: Sequence[str], prompt: str) -> bool:
    """Whether the words are nothing but the prompt's, or repeat ECHO_WORDS of it in its order."""
    said, told = [b for w in words if (b := bare(w))], [bare(w) for w in prompt.split()]
    runs = {tuple(told[i : i + ECHO_WORDS]) for i in range(len(told) - ECHO_WORDS + 1)}
    repeated = any(tuple(said[i : i + ECHO_WORDS]) in runs for i in range(len(said) - ECHO_WORDS + 1))
    return bool(said) and (repeated or set(said) <= set(told))
