"""Listening as a whole, with a scripted detector, recogniser and reader: sound in, the record as it changes out."""

from __future__ import annotations

import dataclasses
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from listening_script import WORDS, Script, find, said, scripted_parts

from desk import keeping
from desk.listening import Finished, Listening, MissingSound, Parts
from desk.so_far import RecordSoFar
from dictate import speech
from dictate.events import Event, Utterance
from extract.reader import Reader
from shared.errors import BadInput, StoreError
from shared.store import Store


@pytest.fixture(scope="module")
def reader() -> Reader:
    return Reader()


@pytest.fixture
def parts(reader: Reader, monkeypatch: pytest.MonkeyPatch) -> Parts:
    monkeypatch.setattr(speech, "find", find)
    return scripted_parts(lambda: reader)


Start = Callable[..., Listening]


@pytest.fixture
def start(tmp_path: Path, parts: Parts) -> Start:
    return lambda: Listening.start(tmp_path, who="a clinician", parts=parts)


def feed(listening: Listening, pcm: bytes) -> None:
    for at in range(0, len(pcm), 3_200):
        listening.feed(pcm[at : at + 3_200])


def sound_of(data: Path, visit: int) -> Path:
    """Where the store keeps the sound of a visit."""
    with Store(data) as store:
        (recording,) = [r.id for r in store.recordings() if r.name == store.visit(visit).recording]
        sound = store.sound(recording)
    assert sound
    assert sound.parent == data / "recordings"
    return sound


def records(events: list[Event]) -> list[list[dict[str, Any]]]:
    return [[v.plain() for v in e.visits] for e in events if isinstance(e, RecordSoFar)]


def test_the_record_grows_and_parts_at_the_next_patient(start: Start, tmp_path: Path) -> None:
    listening = start()
    grown = []
    for n in WORDS:
        feed(listening, said(n))
        listening.settle()
        grown.append([v.plain() for v in listening.so_far.visits])
    ids = listening.finish()
    events = [*listening.events]
    assert records(events) == grown[-1:]  # unread ones gave way
    assert [len(visits) for visits in grown] == [1, 1, 2, 2]
    assert grown[0][0]["ears"][0]["side"] == "right"
    assert "instruments" in str(grown[1][0]) or "jobson_horne_probe" in str(grown[1][0])
    assert grown[2][1]["ears"][0]["side"] == "left"
    assert grown[3][0] == grown[1][0]
    assert events[-1] == Finished(ids, sound_of(tmp_path, ids[0]))
    with Store(tmp_path) as store:
        kept = [store.visit(i).visit for i in ids]
        assert [v.plain() for v in kept] == grown[-1]
        assert {store.visit(i).recording for i in ids} == {f"{listening.id}.wav"}
    # The places of the record so far are places in its text.
    last = [e for e in events if isinstance(e, RecordSoFar)][-1]
    for visit in last.visits:
        for _, value in visit.values():
            if value.chars:
                assert last.transcript.text[slice(*value.chars)] == value.heard


def test_what_is_heard_is_there_before_it_is_read(tmp_path: Path, parts: Parts, reader: Reader) -> None:
    """For a page that comes back in between: it would miss these words."""
    let = threading.Event()
    slow = dataclasses.replace(parts, reader=lambda: let.wait(20) and reader)
    listening = Listening.start(tmp_path, who="a clinician", parts=slow)
    feed(listening, said(1))
    assert any(isinstance(event, Utterance) for event in listening.events)
    assert (listening.words, listening.so_far.transcript.text) == (WORDS[1], "")
    let.set()
    listening.settle()
    assert (listening.words, listening.so_far.transcript.text) == (WORDS[1], WORDS[1])
    listening.leave()


def test_it_gives_the_record_that_the_file_gives(start: Start, tmp_path: Path, parts: Parts) -> None:
    from dictate.hear import transcribe  # noqa: PLC0415

    listening = start()
    feed(listening, said(*WORDS))
    ids = listening.finish()
    heard = transcribe(sound_of(tmp_path, ids[0]), recogniser=Script())
    with Store(tmp_path) as store:
        assert [store.visit(i).visit.plain() for i in ids] == [v.plain() for v in parts.reader().read(heard)]


def test_pieces_sent_again_count_once_and_a_gap_is_refused(start: Start, tmp_path: Path) -> None:
    listening, pcm = start(), said(1, 2)
    listening.feed(pcm[:10_000], at=0)
    listening.feed(pcm[:10_000], at=0)
    listening.feed(pcm[4_000:20_001], at=4_000)
    assert listening.received == 20_001
    with pytest.raises(MissingSound, match="from byte 20001") as missing:
        listening.feed(pcm[30_000:], at=30_000)
    assert missing.value.expected == 20_001
    listening.feed(pcm[20_001:], at=20_001)
    assert listening._journal.flush() == 0
    assert listening.feed(b"", at=len(pcm)) == listening.confirmed == len(pcm)
    (visit,) = listening.finish()
    assert sound_of(tmp_path, visit).read_bytes()[44:] == pcm


def test_after_a_crash_it_is_taken_up_where_it_stood(start: Start, parts: Parts, tmp_path: Path) -> None:
    """The server dies: its memory is gone, its lock is free, what it flushed is there."""
    first, pcm = start(), said(*WORDS)
    feed(first, said(1, 2))
    first.settle()
    first.leave()
    assert [f.id for f in keeping.unfinished(tmp_path)] == [first.id]
    again = Listening.take_up(tmp_path, first.id, parts=parts)
    assert keeping.unfinished(tmp_path) == []  # in use
    again.feed(pcm[again.received :], at=again.received)
    again.settle()
    ids = again.finish()
    events = [*again.events]
    assert [e.text for e in events if isinstance(e, Utterance)] == [WORDS[3], WORDS[4]]  # 1 and 2 are known
    assert [v.plain() for v in again.so_far.visits] == records(events)[-1]
    assert len(records(events)[-1]) == len(ids) == 2
    assert keeping.unfinished(tmp_path) == []
    with pytest.raises(BadInput, match="no unfinished recording"):
        Listening.take_up(tmp_path, first.id, parts=parts)
    assert list((tmp_path / "listening").iterdir()) == []


def test_an_unfinished_recording_is_finished_by_the_ordinary_line(
    start: Start, parts: Parts, tmp_path: Path
) -> None:
    listening = start()
    feed(listening, said(1, 2))
    listening.leave()
    (found,) = keeping.unfinished(tmp_path)
    assert (found.seconds, found.who) == (8.0, "a clinician")
    kept = keeping.finish(tmp_path, found.id, model="base", hearer=Script(), reader=parts.reader)
    with Store(tmp_path) as store:
        (row,) = store.visits().rows
    assert (row.id, row.when_from) == (*kept.visits, "dictation")
    assert row.when[:16] == found.started[:16]
    assert keeping.unfinished(tmp_path) == []
    with pytest.raises(BadInput, match="no unfinished recording"):
        keeping.finish(tmp_path, found.id, model="base", hearer=Script(), reader=parts.reader)


def test_a_crash_between_keeping_and_noting_it_makes_no_second_visit(
    start: Start, parts: Parts, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    listening = start()
    feed(listening, said(1, 2))
    listening.leave()
    with monkeypatch.context() as patch:
        patch.setattr(keeping.journals, "remove", lambda *a, **b: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            keeping.finish(tmp_path, listening.id, model="base", hearer=Script(), reader=parts.reader)
    kept = keeping.finish(tmp_path, listening.id, model="base", hearer=Script(), reader=parts.reader)
    with Store(tmp_path) as store:
        assert [row.id for row in store.visits().rows] == list(kept.visits)


def test_a_pause_is_on_the_transcript_and_its_sound_nowhere(start: Start, tmp_path: Path) -> None:
    listening = start()
    feed(listening, said(1))
    at = listening.pause()
    feed(listening, said(3))
    listening.feed(said(3), at=at)
    listening.resume()
    listening.feed(said(2), at=at)
    (visit,) = listening.finish()
    assert sound_of(tmp_path, visit).read_bytes()[44:] == said(1, 2)
    with Store(tmp_path) as store:
        settings = store.transcript(store.visit(visit).transcript).settings
    assert str(settings["pauses"]).startswith("at 4.0 s, 20")


def test_nothing_dictated_leaves_nothing(start: Start, tmp_path: Path) -> None:
    listening = start()
    assert listening.finish() == ()
    assert list((tmp_path / "listening").iterdir()) == []
    assert [type(e) for e in listening.events] == [Finished]


def test_sound_that_the_disk_has_not_taken_keeps_it_from_finishing(
    start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    listening = start()
    feed(listening, said(1))
    monkeypatch.setattr(listening._journal, "flush", lambda: 2.5)
    with pytest.raises(StoreError, match=r"last 2\.5 seconds.*They are in memory"):
        listening.finish()
    monkeypatch.undo()
    monkeypatch.setattr(speech, "find", find)
    assert len(listening.finish()) == 1


def test_finishing_twice_at_once_keeps_one_visit(start: Start, tmp_path: Path) -> None:
    listening = start()
    feed(listening, said(1))
    got: list[tuple[int, ...]] = []
    threads = [threading.Thread(target=lambda: got.append(listening.finish())) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len({*got}) == 1
    with Store(tmp_path) as store:
        assert len(store.visits().rows) == 1
