"""Every kind of recording is read alike; every bad one is refused in one line, or says what it lacks."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dictate.read import RATE, Recording, read
from shared.errors import BadRecording, EarsideError

KINDS = [
    ("8k.wav", "wav", "pcm_s16le", 8_000, "mono", None),
    ("24bit.wav", "wav", "pcm_s24le", 44_100, "stereo", None),
    ("float.wav", "wav", "pcm_f32le", 96_000, "mono", None),
    ("a.flac", "flac", "flac", 48_000, "stereo", None),
    ("a.mp3", "mp3", "libmp3lame", 44_100, "stereo", None),
    ("22k.mp3", "mp3", "libmp3lame", 22_050, "mono", None),
    ("a.m4a", "ipod", "aac", 44_100, "mono", None),
    ("lossless.m4a", "ipod", "alac", 44_100, "mono", None),
    ("a.opus", "ogg", "libopus", 48_000, "mono", None),
    ("a.ogg", "ogg", "vorbis", 44_100, "stereo", None),
    ("a.wma", "asf", "wmav2", 44_100, "stereo", None),
    ("a.aiff", "aiff", "pcm_s16be", 22_050, "mono", None),
    ("a.mp4", "mp4", "aac", 48_000, "stereo", "mpeg4"),
    ("a.mov", "mov", "pcm_s16le", 48_000, "mono", "mpeg4"),
    ("a.mkv", "matroska", "flac", 48_000, "mono", "mpeg4"),
    ("a.webm", "webm", "libopus", 48_000, "stereo", "libvpx"),
]


@pytest.mark.parametrize("kind", KINDS, ids=[k[0] for k in KINDS])
def test_any_format(kind: tuple[str, str, str, int, str, str | None], record: Callable[..., Path]) -> None:
    name, container, codec, rate, layout, video = kind
    heard = read(record(name, container, codec, rate, layout, video=video))
    assert heard.note == ""
    assert heard.seconds == pytest.approx(3.0, abs=0.05)
    middle = heard.floats(RATE // 2, 5 * RATE // 2)
    assert np.abs(np.fft.rfft(middle)).argmax() * RATE / len(middle) == pytest.approx(440, abs=1)
    assert np.sqrt((middle**2).mean()) == pytest.approx(0.5 / np.sqrt(2), rel=0.1)


def test_samples_and_back() -> None:
    given = np.linspace(-1, 1, 1001, dtype=np.float32)
    assert np.abs(Recording.of(given).floats(0, 1001) - given).max() < 1e-4


def test_name_that_looks_like_an_address(record: Callable[..., Path], tmp_path: Path) -> None:
    odd = tmp_path / "concat:Größe 5%.flac"
    record("a.flac", "flac", "flac").rename(odd)
    assert read(odd).seconds == pytest.approx(3.0, abs=0.01)


def _bad(path: Path) -> str:
    with pytest.raises(BadRecording) as refused:
        read(path)
    assert refused.value.where == str(path)
    assert refused.value.remedy
    assert "\n" not in refused.value.line
    return refused.value.what


def test_nothing_to_read(tmp_path: Path) -> None:
    (tmp_path / "empty.wav").touch()
    (tmp_path / "a.txt").write_text("Right ear. Hard brown wax.\n" * 50)
    (tmp_path / "a.wav").write_bytes(b"RIFF" + bytes(2000))
    (tmp_path / "a.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(2000))
    os.mkfifo(tmp_path / "pipe.wav")
    assert _bad(tmp_path / "gone.wav") == "no such file"
    assert _bad(tmp_path) == "a folder, not a recording"
    assert _bad(tmp_path / "empty.wav") == "the file is empty"
    assert _bad(tmp_path / "a.txt" / "b.wav").startswith("cannot be read")
    assert _bad(tmp_path / "a.txt") == "not a recording"
    assert _bad(tmp_path / "a.png") == "not a recording"
    assert _bad(tmp_path / "a.wav") == "cut off or damaged, nothing of it can be read"
    assert _bad(tmp_path / "pipe.wav") == "not a file"


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_no_access(tmp_path: Path) -> None:
    path = tmp_path / "locked.wav"
    path.write_bytes(b"RIFF")
    path.chmod(0)
    assert _bad(path).startswith("cannot be read")


def test_video_without_sound(record: Callable[..., Path]) -> None:
    assert _bad(record("silent.mp4", "mp4", None, video="mpeg4")) == "no sound track in it"


def test_playlist_opens_nothing_else(record: Callable[..., Path], tmp_path: Path) -> None:
    other = record("other.mp3", "mp3", "libmp3lame", 44_100)
    lists = {
        "a.m3u8": f"#EXTM3U\n#EXT-X-TARGETDURATION:3\n#EXTINF:3,\n{other}\n#EXT-X-ENDLIST\n",
        "a.ffconcat": f"ffconcat version 1.0\nfile {other.name}\n",
    }
    for name, text in lists.items():
        (tmp_path / name).write_text(text)
        assert _bad(tmp_path / name) == "not a recording"


@pytest.mark.parametrize("kind", KINDS, ids=[k[0] for k in KINDS])
def test_cut_off(kind: tuple[str, str, str, int, str, str | None], record: Callable[..., Path]) -> None:
    """Half a file is read as far as it goes, and says that its end is missing; or it is refused."""
    name, container, codec, rate, layout, video = kind
    path = record(name, container, codec, rate, layout, video=video)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    if container in ("ipod", "mp4", "mov"):  # these keep their index at the end
        assert _bad(path) == "cut off or damaged, nothing of it can be read"
    else:
        heard = read(path)
        assert 0.4 < heard.seconds < 2.1
        assert "missing" in heard.note or "damaged" in heard.note


def test_damage_in_the_middle_keeps_the_clock(record: Callable[..., Path]) -> None:
    path = record("a.mkv", "matroska", "aac", seconds=20.0)
    data = bytearray(path.read_bytes())
    data[len(data) // 5 : len(data) // 4] = bytes(len(data) // 4 - len(data) // 5)
    path.write_bytes(data)
    heard = read(path)
    assert heard.note
    assert heard.seconds == pytest.approx(20.0, abs=0.3)
    assert heard.samples[RATE : 2 * RATE].any()
    assert not heard.samples[round(4.2 * RATE) : round(4.8 * RATE)].any()
    assert heard.samples[18 * RATE : 19 * RATE].any()


@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    kind=st.sampled_from([k for k in KINDS if k[0][0] == "a"]),
    changes=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), max_size=40),
    near_start=st.booleans(),
    kept=st.floats(0, 1),
)
def test_damaged_files_are_read_or_refused(
    kind: tuple[str, str, str, int, str, str | None],
    changes: list[tuple[float, int]],
    near_start: bool,
    kept: float,
    record: Callable[..., Path],
) -> None:
    name, container, codec, rate, layout, video = kind
    path = record(name, container, codec, rate, layout, video=video, seconds=0.5)
    data = bytearray(path.read_bytes())
    for where, value in changes:
        data[int(where * (min(300, len(data)) if near_start else len(data)))] = value
    path.write_bytes(data[: int(len(data) * kept)] if kept < 0.5 else data)
    refused = None
    try:
        heard = read(path)
    except EarsideError as fault:
        refused = fault
    if refused:
        assert refused.what
        assert refused.where == str(path)
    else:
        assert heard.samples.dtype == np.int16
        assert heard.seconds > 0


def test_no_interrupt_is_swallowed(record: Callable[..., Path], tmp_path: Path) -> None:
    """A hundred, each at another moment of the decoding: PyAV by itself loses some of them."""
    code = """
import signal, sys, threading, time
from dictate.read import read
stopped = 0
for number in range(100):
    timer = threading.Timer(0.0005 * (number % 20), signal.raise_signal, [signal.SIGINT])
    try:
        timer.start()
        while True:
            read(sys.argv[1])
    except KeyboardInterrupt:
        stopped += 1
print(stopped)
"""
    path = record("a.mp3", "mp3", "libmp3lame")
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert done.stdout == "100\n"
    assert done.stderr == ""
