"""The reading as a whole: its components fit together, and every value points at the words behind it."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from spacy.language import Language

from extract.reader import COMPONENTS, Reader
from shared.record import Notice, PlainVisit, Value, Visit
from shared.transcript import Transcript, Word

HERE = Path(__file__)
ROOT = HERE.parents[2]
SETS = sorted((ROOT / "tests" / "dictations").glob("*.yaml"))
TEXTS = {
    **{path.stem: path.read_text(encoding="utf-8") for path in sorted((ROOT / "sample_audio").glob("*.txt"))},
    **{
        one["id"]: one["text"]
        for path in SETS
        for one in yaml.load(path.read_text("utf-8"), Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))[
            ::4
        ]
    },
    "nothing": "Mind the step. The kettle is on.",
    "accents": "Naïve café talk. Ear: left – hard wax… Zöllner, “18 G”. Drum’s intact.",
    "marks": "left ear period new paragraph hard wax comma brown period zoellner period drum intact period",
    "several": "Patient 12. Left ear, hard wax, hook, all out.\n\nNext patient, 13.\tRight ear: no wax.",
    "misheard": "Left ear. Hard wacks. Jobs in horn pro, crocodile for steps. Drum in tact. No breeding.",
}
PACE = 0.4
"""Seconds from one word to the next in the timed transcripts of these tests."""


def timed(text: str) -> Transcript:
    """The text as if spoken at an even pace, the words heard with various probability."""
    words = tuple(
        Word(chars=m.span(), seconds=(n * PACE, n * PACE + PACE * 0.75), probability=0.5 + (n % 50) / 100)
        for n, m in enumerate(re.finditer(r"\S+", text))
    )
    return Transcript(text=text, words=words, duration=len(words) * PACE)


def evidence(visit: Visit) -> Iterator[tuple[str, Value[Any] | Notice]]:
    yield from visit.values()
    yield from ((f"notices[{n}]", notice) for n, notice in enumerate(visit.notices))


def analysis(nlp: Language) -> dict[str, Any]:
    found = nlp.analyze_pipes(keys=["requires", "assigns"])
    assert found is not None
    return found


def test_every_component_gets_what_it_needs(reader: Reader) -> None:
    found = analysis(reader.nlp)
    assert {name: needs for name, needs in found["problems"].items() if needs} == {}


def test_every_component_says_what_it_assigns_and_needs(reader: Reader) -> None:
    summary = analysis(reader.nlp)["summary"]
    assert tuple(summary) == COMPONENTS == tuple(reader.nlp.pipe_names)
    assert [name for name, said in summary.items() if not said["assigns"]] == []
    assert [name for name, said in summary.items() if not said["requires"]] == [COMPONENTS[0]]


@pytest.mark.parametrize(("gone", "needed"), [("words", "doc._.words"), ("mentions", "doc._.mentions")])
def test_a_missing_component_would_be_named(gone: str, needed: str) -> None:
    nlp = Reader().nlp
    nlp.remove_pipe(gone)
    problems = analysis(nlp)["problems"]
    assert any(needed in needs for needs in problems.values())


@pytest.mark.parametrize("name", TEXTS)
def test_every_value_quotes_the_text(reader: Reader, name: str) -> None:
    text = TEXTS[name]
    for visit in reader.read(Transcript.from_text(text)):
        for path, value in evidence(visit):
            assert (value.chars is None) == (value.heard is None), path
            if value.chars:
                begin, end = value.chars
                assert 0 <= begin < end <= len(text), path
                assert value.heard == text[begin:end], path
            assert value.seconds is None, path


@pytest.mark.parametrize("name", TEXTS)
def test_every_value_has_its_time_in_the_recording(reader: Reader, name: str) -> None:
    transcript = timed(TEXTS[name])
    assert transcript.duration is not None
    for visit in reader.read(transcript):
        assert visit.extent is not None
        assert visit.extent.seconds is not None
        for path, value in evidence(visit):
            if value.chars is None:
                continue
            assert value.seconds is not None, path
            begin, end = value.seconds
            assert 0 <= begin < end <= transcript.duration, path
            assert visit.extent.seconds[0] <= begin, path
            assert end <= visit.extent.seconds[1], path
            assert value.seconds == transcript.seconds(*value.chars), path


@pytest.mark.parametrize("name", TEXTS)
def test_later_words_have_later_times(reader: Reader, name: str) -> None:
    for visit in reader.read(timed(TEXTS[name])):
        found = sorted((v.chars, v.seconds) for _, v in evidence(visit) if v.chars and v.seconds)
        starts = [seconds[0] for _, seconds in found]
        assert starts == sorted(starts)


@pytest.mark.parametrize("name", TEXTS)
def test_both_forms_are_valid_and_survive_writing(reader: Reader, name: str) -> None:
    visits = reader.read(Transcript.from_text(TEXTS[name]))
    assert visits or name == "nothing"
    for visit in visits:
        again = Visit.model_validate_json(visit.model_dump_json())
        assert again == visit
        plain = json.loads(json.dumps(visit.plain()))
        assert PlainVisit.model_validate(plain).model_dump(exclude_none=True, exclude_defaults=True) == plain


@pytest.mark.parametrize("name", TEXTS)
def test_the_same_words_give_the_same_record(reader: Reader, name: str) -> None:
    text = TEXTS[name]
    first = reader.read(Transcript.from_text(text))
    assert reader.read(Transcript.from_text(text)) == first
    assert [v.plain() for v in reader.read(timed(text))] == [v.plain() for v in first]


def test_a_new_reader_reads_the_same(reader: Reader) -> None:
    fresh = Reader()
    for text in TEXTS.values():
        assert fresh.read(Transcript.from_text(text)) == reader.read(Transcript.from_text(text))


def test_a_value_is_no_surer_than_the_words_were_heard(reader: Reader) -> None:
    transcript = timed(TEXTS["several"])
    checked = 0
    for visit in reader.read(transcript):
        for path, value in visit.values():
            if value.chars:
                heard = transcript.probability(*value.chars)
                assert heard is not None
                assert value.confidence <= heard + 1e-9, path
                checked += 1
    assert checked > 5


@pytest.mark.parametrize("text", ["", "   ", "\n\n", "...", "?!"])
def test_nothing_said_gives_no_visit(reader: Reader, text: str) -> None:
    assert reader.read(Transcript.from_text(text)) == []
