"""Listening with the real recogniser: a dictation gives the record that its file gives."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from desk.listening import Listening, Parts
from dictate import read
from dictate.events import Event, Utterance, WordsSoFar
from dictate.hear import transcribe
from dictate.quick import QuickWhisper
from extract.reader import Reader
from shared.store import Store

SAMPLES = Path(__file__).parents[2] / "sample_audio"


@pytest.mark.recogniser
@pytest.mark.parametrize("name", ["right_ear.opus"])
def test_a_dictation_gives_the_record_of_its_file(tmp_path: Path, name: str) -> None:
    """Fed as fast as it is taken; the same in real time with `tests/benchmarks/bench_listen.py`."""
    reader = Reader()
    usual = Parts.usual()
    parts = Parts(hearer=usual.hearer, quick=usual.quick, reader=lambda: reader)
    listening = Listening.start(tmp_path, parts=parts)
    pcm = read.read(SAMPLES / name).samples.tobytes()
    for at in range(0, len(pcm), 3_200):
        listening.feed(pcm[at : at + 3_200])
    listening.settle()
    ids = listening.finish()
    events: list[Event] = [*listening.events]
    with Store(tmp_path) as store:
        kept = [store.visit(i).visit.plain() for i in ids]
    assert kept == [v.plain() for v in reader.read(transcribe(SAMPLES / name))]
    said = [e for e in events if isinstance(e, Utterance)]
    assert all(one.end <= other.start for one, other in pairwise(said))
    for utterance in said:
        times = [w.seconds for w in utterance.words if w.seconds]
        assert all(utterance.start <= start <= end <= utterance.end for start, end in times)
        assert utterance.text.split() == [utterance.text[slice(*w.chars)] for w in utterance.words]
    assert len(listening.so_far.visits) == len(ids)
    assert any(isinstance(e, WordsSoFar) for e in events)


@pytest.mark.recogniser
def test_the_quick_guess_is_near_the_words() -> None:
    """A sentence of the sample's script, heard with only the silence it needs."""
    heard = QuickWhisper()(read.read(SAMPLES / "right_ear.opus").floats(0, 5 * read.RATE))
    assert "blocked on that side" in heard or "three weeks" in heard
    assert (
        QuickWhisper()(read.Recording(read.read(SAMPLES / "right_ear.opus").samples * 0).floats(0, 48_000))
        == ""
    )
