"""The sample recordings: each has its script and gold record, and is what the manifest says it is."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
import yaml

from dictate import read
from dictate.hear import transcribe
from extract.evaluate import evaluate_files, score
from extract.gold import load_gold
from extract.reader import Reader
from shared.record import PlainVisit

FOLDER = Path(__file__).parent.parent / "sample_audio"
MANIFEST: dict[str, Any] = json.loads((FOLDER / "manifest.json").read_text())
SOUND = {".opus", ".ogg", ".flac", ".mp3", ".m4a", ".mp4"}

# What each recording was ordered to show: (visits, sides of all its ears in order).
SHOWS = {
    "right_ear": (1, ["right"]),
    "both_ears": (1, ["left", "right"]),
    "sides_not_named": (1, ["unstated", "unstated"]),
    "three_patients": (3, ["right", "left", "right", "left"]),
    "corrections": (1, ["right"]),
    "suction_hiss": (1, ["left"]),
    "left_ear_video": (1, ["left", "right"]),
    "teaching_session": (1, ["left", "right"]),
    "history_and_referral": (1, ["right"]),
    "half_pauses": (1, ["right", "left"]),
}

each_sample = pytest.mark.parametrize("name", sorted(MANIFEST))


def recording(name: str) -> Path:
    return FOLDER / str(MANIFEST[name]["file"])


def gold(name: str) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = yaml.safe_load((FOLDER / f"{name}.yaml").read_text(encoding="utf-8"))
    return items


def test_manifest_lists_every_recording_and_they_stay_small() -> None:
    found = {p.name for p in FOLDER.iterdir() if p.suffix in SOUND}
    assert found == {entry["file"] for entry in MANIFEST.values()}
    assert set(SHOWS) == set(MANIFEST)
    assert sum(recording(name).stat().st_size for name in MANIFEST) < 4_000_000


@each_sample
def test_recording_is_the_one_the_manifest_describes(name: str) -> None:
    assert hashlib.sha256(recording(name).read_bytes()).hexdigest() == MANIFEST[name]["sha256"]
    # Lossy containers pad the end to whole frames: up to 0.1 s.
    assert read.read(recording(name)).seconds == pytest.approx(MANIFEST[name]["seconds"], abs=0.1)


@each_sample
def test_gold_is_the_script_with_a_valid_record(name: str) -> None:
    (item,) = gold(name)
    assert item["id"] == name
    assert item["text"] == (FOLDER / f"{name}.txt").read_text(encoding="utf-8")
    visits = [PlainVisit.model_validate(v) for v in item["visits"]]
    sides = [ear["side"] for visit in item["visits"] for ear in visit["ears"]]
    assert (len(visits), sides) == SHOWS[name]


def test_the_video_has_a_picture_and_the_long_one_is_five_minutes() -> None:
    with av.open(str(recording("left_ear_video"))) as box:
        assert [s.type for s in box.streams] == ["audio", "video"]
    assert MANIFEST["teaching_session"]["seconds"] >= 300
    assert 40 <= MANIFEST["right_ear"]["seconds"] <= 60


def power_split(name: str) -> tuple[float, float]:
    """Mean power within the sentences and in the pauses between them, 0.1 s left out at each border."""
    sound = read.read(recording(name)).samples.astype(np.float64)
    speaking, pausing = np.zeros(len(sound), bool), np.ones(len(sound), bool)
    for start, end in MANIFEST[name]["sentences"]:
        speaking[int(start * read.RATE) : int(end * read.RATE)] = True
        pausing[max(0, int((start - 0.1) * read.RATE)) : int((end + 0.1) * read.RATE)] = False
    return float(np.mean(sound[speaking] ** 2)), float(np.mean(sound[pausing] ** 2))


def test_suction_hiss_lies_ten_decibels_under_the_speech() -> None:
    """Measured from the file itself: the pauses hold noise alone, the sentences speech and noise."""
    both, noise = power_split("suction_hiss")
    assert 10 * np.log10((both - noise) / noise) == pytest.approx(10, abs=0.5)


def test_half_of_the_paused_recording_is_pauses() -> None:
    spoken = sum(end - start for start, end in MANIFEST["half_pauses"]["sentences"])
    assert spoken / MANIFEST["half_pauses"]["seconds"] == pytest.approx(0.5, abs=0.03)


def test_scripts_are_read_as_their_gold_says() -> None:
    """The words as spoken, without the recogniser. 0.90 is the goal set for the samples."""
    result = evaluate_files(sorted(FOLDER.glob("*.yaml")), Reader())
    assert result.total.f1 >= 0.90, [str(miss) for miss in result.misses]
    assert result.wrong_visit_count == 0
    assert result.dangers["wrong side"] == 0


@pytest.mark.recogniser
def test_recordings_are_heard_and_read_as_their_gold_says() -> None:
    """The whole line on every sample. 0.90 is the goal set for the samples."""
    gold_items = load_gold(sorted(FOLDER.glob("*.yaml")))
    reader = Reader()
    got = {name: [v.plain() for v in reader.read(transcribe(recording(name)))] for name in MANIFEST}
    result = score(gold_items, got)
    assert result.total.f1 >= 0.90, [str(miss) for miss in result.misses]
    assert result.wrong_visit_count == 0
    assert result.dangers["wrong side"] == 0
