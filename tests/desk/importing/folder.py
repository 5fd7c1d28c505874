"""A folder as practices have them: over 40 short recordings cut from the samples, and over 25 hostile files.

The sound and its containers are real. `hear` decodes it for real, and takes the words from how long it is instead
of a recogniser, so that an import can be repeated many times; test_import_heard.py uses the real one.
"""

from __future__ import annotations

import os
import re
import time
from pathlib import Path
from typing import Any

import av
import numpy as np

from desk.importing.work import Job
from dictate import read
from shared.naming import readable
from shared.store import Store
from shared.transcript import Transcript, Word

SAMPLES = Path(__file__).parents[3] / "sample_audio"
RECORDINGS, HOSTILE = 42, 26
_KINDS = {
    "wav": "pcm_s16le",
    "flac": "flac",
    "opus": "libopus",
    "mp3": "libmp3lame",
    "m4a": "aac",
    "mkv": "libopus",
}
SAID = (
    "Right ear. Hard brown wax, deep. Microsuction. Eight millimetres removed. The drum is intact.",
    "Next patient. Left ear, soft wax on the drum, cleared completely. No bleeding. See again in six months.",
    "Patient 4711. Right ear, the canal is narrow. The left ear is clear, the drum is dull.",
)


def hear(job: Job) -> Transcript:
    """Really decoded; silence stays silent, else words by its length."""
    path = job.looked.path
    recording = read.read(path)
    time.sleep(0.01)
    loud = np.abs(recording.samples).max() > 100
    text = SAID[len(recording.samples) // 1000 % len(SAID)] if loud else ""
    words = tuple(
        Word(chars=m.span(), seconds=(n / 100, n / 100 + 0.01), probability=0.9)
        for n, m in enumerate(re.finditer(r"\S+", text))
    )
    settings: dict[str, Any] = {"note": recording.note} if recording.note else {}
    return Transcript(
        text=text,
        words=words,
        source=readable(path),
        duration=recording.seconds,
        model=job.model,
        settings=settings,
    )


def make(folder: Path) -> None:
    """Fill `folder`: 42 recordings in `good`, 26 hostile files in `bad`."""
    sound = read.read(SAMPLES / "half_pauses.ogg").samples
    good, bad = folder / "good", folder / "bad"
    good.mkdir(parents=True)
    bad.mkdir()
    for n in range(RECORDINGS):
        kind = list(_KINDS)[n % len(_KINDS)]
        name = ("PXL_20210315_0930{:02}" if n % 3 else "оториноларинг 耳 {:02}").format(n)
        at = n * 4000
        encode(good / f"{name}.{kind}", sound[at : at + 16_000 + 1000 * n], _KINDS[kind])
        os.utime(good / f"{name}.{kind}", (1_600_000_000 + 60 * n,) * 2)
    _hostile(bad, (good / "PXL_20210315_093001.flac").read_bytes(), sorted(good.iterdir())[0])


def encode(place: Path, sound: Any, codec: str) -> None:
    """Write samples (16 bits, 16,000 a second) as a file of this codec, the container by its ending."""
    with av.open(str(place), "w") as file:
        stream: Any = file.add_stream(codec, rate=48_000 if codec == "libopus" else 16_000)
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(sound.reshape(1, -1), format="s16", layout="mono")
        frame.sample_rate = 16_000
        resampler = av.AudioResampler(
            format=stream.format, layout="mono", rate=stream.rate, frame_size=stream.frame_size or 0
        )
        for piece in [*resampler.resample(frame), *resampler.resample(None)]:
            file.mux(stream.encode(piece))
        file.mux(stream.encode(None))


def _hostile(bad: Path, flac: bytes, good: Path) -> None:
    png = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8
    noise = np.random.default_rng(6)
    for n, ending in enumerate(("mp3", "wav", "m4a", "opus")):
        (bad / f"empty.{ending}").touch()
        (bad / f"picture.{ending}").write_bytes(png + bytes([n]))
        (bad / f"noise.{ending}").write_bytes(noise.bytes(5000))
        (bad / f"page.{ending}").write_text(f"<html>{n} not found</html>")
    (bad / "zeros.mp4").write_bytes(bytes(5000))
    (bad / "header.wav").write_bytes(b"RIFF\xff\xff\xff\xffWAVEfmt ")
    (bad / "header.flac").write_bytes(flac[:40])
    (bad / "header.ogg").write_bytes(b"OggS" + bytes(20))
    (bad / "playlist.mp3").write_text("#EXTM3U\n/etc/hostname\n")
    (bad / "line\nbreak\x1b[31m.mp3").write_bytes(png + b"!")
    (bad / "circle").symlink_to(bad)
    (bad / "itself.wav").symlink_to(bad / "itself.wav")
    (bad / "nowhere.mp3").symlink_to(bad / "gone.mp3")
    (bad / "again.flac").write_bytes(good.read_bytes())  # the bytes of another, by another name
    os.mkfifo(bad / "pipe.wav")
    assert len(list(bad.iterdir())) >= HOSTILE - 1


def state(data: Path) -> Any:
    """All that a store says, apart from numbers and moments that differ from run to run."""
    with Store(data) as store:
        assert not store.verify().faults
        rows = store._rows(
            """SELECT id, sha256, name, bytes, kind, status, reason, path, seconds, started, started_from, sound
            FROM recordings"""
        )
        visits = store._rows(
            """SELECT v.recording_id, ordinal, status, patient_reference, when_at, when_from, clinician, record,
            t.text, t.words, t.settings FROM visits v JOIN transcripts t ON t.id = v.transcript_id ORDER BY ordinal"""
        )
    for row in rows:
        number = row.pop("id")
        row["visits"] = [
            {k: v for k, v in visit.items() if k != "recording_id"}
            for visit in visits
            if visit["recording_id"] == number
        ]
    return sorted(rows, key=lambda row: row["path"])
