"""Whenever a program that listens is killed, what was dictated is there, is found, and becomes a record.

Ten random moments; a hundred with `tests/benchmarks/kill_listening.py`. A power cut, which takes what is not
flushed, cannot be had here: test_journal.py cuts files after any byte, and here what is not flushed is measured.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from killing import kill_once
from listening_script import find, said, scripted_parts

from desk.listening import Listening
from dictate import speech
from dictate.journal import BYTES_A_SECOND
from extract.reader import Reader


@pytest.fixture(scope="module")
def reader() -> Reader:
    return Reader()


@pytest.mark.parametrize("seed", range(10))
def test_killed_at_a_random_moment(
    tmp_path: Path, reader: Reader, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(speech, "find", find)
    killed = kill_once(tmp_path, random.Random(seed), lambda: reader, seconds=10, speed=8)
    assert killed.lost_seconds <= 1.0, killed


def test_what_is_taken_is_flushed_within_a_second(tmp_path: Path, reader: Reader) -> None:
    """Four seconds in real time: after each piece, what a power cut would take is under a second."""
    import time  # noqa: PLC0415

    listening = Listening.start(tmp_path, parts=scripted_parts(lambda: reader))
    in_flight, began = [], time.monotonic()
    for n in range(40):
        time.sleep(max(began + n / 10 - time.monotonic(), 0))
        listening.feed(said(1)[:3_200])
        in_flight.append((listening.received - listening.confirmed) / BYTES_A_SECOND)
    listening.leave()
    assert max(in_flight) <= 1.0
    assert listening.confirmed == 40 * 3_200
