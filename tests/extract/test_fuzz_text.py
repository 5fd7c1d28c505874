"""Any text gives visits whose every value quotes the text, in bounded time, or a refusal; no traceback."""

import random
import resource
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from extract.reader import Reader
from shared.errors import EarsideError
from shared.record import PlainVisit, Visit
from shared.transcript import Transcript
from shared.vocabulary import forms, load

ROOT = Path(__file__).parents[2]
SAMPLES = [file.read_text(encoding="utf-8") for file in sorted((ROOT / "sample_audio").glob("*.txt"))]
ORDINARY = yaml.safe_load((Path(__file__).parent / "ordinary.yaml").read_text(encoding="utf-8"))
PHRASES = sorted({p for _, _, p in load().phrases()})
SECONDS = 5.0
"""More than any short text may take, on a busy machine (ours; most take a few milliseconds)."""

unhurried = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@pytest.fixture(scope="module")
def reader() -> Reader:
    return Reader()


def spans(part: BaseModel) -> Iterator[tuple[str | None, tuple[int, int]]]:
    """Every place in the text that a record points to, with the words it quotes if it quotes any."""
    for name in type(part).model_fields:
        held: Any = getattr(part, name)
        if name == "chars" and held is not None:
            yield getattr(part, "heard", None), held
        for inner in held if isinstance(held, list) else [held]:
            if isinstance(inner, BaseModel):
                yield from spans(inner)


def checked(reader: Reader, text: str) -> list[Visit]:
    """Read a text and hold the record to what every record must be."""
    start = time.process_time()
    try:
        visits = reader.read(Transcript.from_text(text))
    except EarsideError as refusal:
        if not str(refusal):
            raise
        return []
    assert time.process_time() - start < SECONDS
    for visit in visits:
        PlainVisit.model_validate(visit.plain())
        for heard, (begin, end) in spans(visit):
            assert 0 <= begin < end <= len(text)
            assert heard is None or heard == text[begin:end]
    return visits


def said(phrase: str, choice: int) -> str:
    """One of the ways to say a vocabulary phrase, with something said in its gaps."""
    ways = forms(phrase)
    return " ".join("well now" if word in ("..", "...") else word for word in ways[choice % len(ways)])


def dictated() -> st.SearchStrategy[str]:
    """Phrases of the vocabulary, numbers, marks and junk, in any order and any case."""
    phrase = st.builds(said, st.sampled_from(PHRASES), st.integers(0, 4000))
    counts = (
        "eighteen",
        "two and a half",
        "three quarters",
        "oh oh oh",
        "a hundred and twenty",
        "1/0",
        "½",
        "²",
    )
    number = st.one_of(st.integers(0, 10**12).map(str), st.floats(0, 1e6).map(str), st.sampled_from(counts))
    unit = st.sampled_from(["mm", "mil", "cm", "inch", "percent", "%", "gauge", "French", "weeks", "months"])
    ears = (
        "left ear",
        "right ear",
        "both ears",
        "the other side",
        "next patient",
        "same again",
        "disregard that",
    )
    small = ("no", "not", "correction", "sorry", "period", "new paragraph", *"?…,.;—'", "\n\n")
    talk = st.sampled_from([*ears, *small])
    junk = st.text(max_size=8)
    piece = st.one_of(phrase, phrase, talk, talk, number, unit, junk)
    return st.lists(piece, max_size=60).flatmap(
        lambda pieces: st.sampled_from([" ".join(pieces), " ".join(pieces).upper(), ". ".join(pieces)])
    )


@unhurried
@given(text=st.text(max_size=600))
def test_any_text(reader: Reader, text: str) -> None:
    assert isinstance(checked(reader, text), list)


@unhurried
@given(data=st.binary(max_size=600), encoding=st.sampled_from(["utf-8", "latin-1", "utf-16-le", "cp437"]))
def test_any_bytes_decoded(reader: Reader, data: bytes, encoding: str) -> None:
    assert isinstance(checked(reader, data.decode(encoding, errors="replace")), list)


@unhurried
@given(text=dictated())
def test_any_mixture_of_dictated_phrases_and_junk(reader: Reader, text: str) -> None:
    checked(reader, "Left ear, hard wax, Zoellner. " + text)
    assert isinstance(checked(reader, text), list)


@unhurried
@given(data=st.data())
def test_any_cut_of_a_dictation(reader: Reader, data: st.DataObject) -> None:
    text = data.draw(st.sampled_from(SAMPLES))
    begin = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(begin, len(text)))
    assert isinstance(checked(reader, text[begin:end]), list)


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "\n", "\x00", "\ufeff", "\u202eright ear", "\ud83d\udc42 wax", "ear" * 3000, "left " * 3000,
        "no " * 3000, "? " * 3000, "((((" * 500, "eighteen " * 2000, "next patient. " * 1000, "wax, " * 3000,
        "correction " * 1000, "1" * 5000, "a" * 20_000, "'s" * 2000, "right ear " * 1500, "not not " * 1500,
    ],
    ids=lambda text: f"{text[:12]!r}x{len(text)}",
)  # fmt: skip
def test_odd_texts(reader: Reader, text: str) -> None:
    assert isinstance(checked(reader, text), list)


def mixed(chars: int) -> str:
    """A text of `chars` characters: mostly ordinary talk, a dictation now and then."""
    chosen = random.Random(7)
    talk = [*ORDINARY["everyday"], *ORDINARY["clinic"]]
    out: list[str] = []
    size = 0
    while size < chars:
        part = chosen.choice(SAMPLES) if chosen.random() < 0.02 else chosen.choice(talk)
        out.append(part)
        size += len(part) + 2
    return "\n\n".join(out)[:chars]


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def test_five_megabytes_take_no_more_memory_than_one(reader: Reader) -> None:
    """Ours: the text itself, its places and its record may grow with it; the working memory may not."""
    text = mixed(5_000_000)
    reader.read(Transcript(text=text[:1_000_000]))
    before, start = peak_mb(), time.process_time()
    visits = reader.read(Transcript(text=text))
    assert peak_mb() - before < 200
    assert time.process_time() - start < 300
    for visit in visits:
        for heard, (begin, end) in spans(visit):
            assert heard is None or heard == text[begin:end]
