"""The prompt names instruments and anatomy and nothing that could stand in a record as found, done or denied."""

from __future__ import annotations

import pytest
import yaml

from dictate.bias import _PROMPT, nouns_prompt
from extract.reader import Reader

NOUNS = yaml.safe_load(_PROMPT.read_text(encoding="utf-8"))["nouns"]


@pytest.fixture(scope="module")
def reader() -> Reader:
    return Reader()


@pytest.mark.parametrize("noun", [*NOUNS, nouns_prompt()])
def test_read_as_if_it_had_been_said_it_gives_no_finding(noun: str, reader: Reader) -> None:
    """Whatever the reader sees in it, recorded or not: an instrument, what is done with it, a place; no more."""
    read = reader.annotate(f"The {noun}.")._.mentions
    kinds = {kind for m in read for kind in m.readings}
    assert kinds <= {"instrument", "method", "head", "not_length"}, kinds
    assert not any(m.polarity == "denied" or m.measure for m in read)
