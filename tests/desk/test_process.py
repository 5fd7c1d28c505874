"""The installed command as its own process: exit codes, pipes, interrupts, speed of help."""

from __future__ import annotations

import contextlib
import os
import pty
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import wave
from pathlib import Path

import numpy as np
import pytest

from dictate.read import RATE, read

EARSIDE = [sys.executable, "-m", "desk.cli"]

SLOW = """
import sys, time, types
hear = types.ModuleType("dictate.hear")
def transcribe(path, *, model, progress):
    print("hearing", flush=True)
    if progress: progress(10.0, 100.0)
    time.sleep(30)
hear.transcribe = transcribe
import dictate
sys.modules["dictate.hear"] = dictate.hear = hear
from desk.cli import main
main()
"""


@pytest.fixture
def alone(tmp_path: Path) -> dict[str, str]:
    """An environment with a home and data folder of its own."""
    return {**os.environ, "HOME": str(tmp_path), "EARSIDE_DATA": str(tmp_path / "data")}


def run(*arguments: str, env: dict[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*EARSIDE, *arguments], env=env, capture_output=True, text=True, check=False, timeout=120
    )


def test_exit_codes(alone: dict[str, str], tmp_path: Path) -> None:
    assert run("list", env=alone).returncode == 0
    assert run("transcribe", str(tmp_path / "missing.wav"), env=alone).returncode == 2
    assert run("no-such-command", env=alone).returncode == 2
    assert run("show", "7", env=alone).returncode == 2
    (tmp_path / "data" / "earside.db").write_text("not a database " * 100)
    assert run("list", env=alone).returncode == 1


def test_help_is_quick_because_nothing_heavy_is_imported(alone: dict[str, str]) -> None:
    heavy = {"spacy", "numpy", "pydantic", "rich", "sqlite_utils"}
    code = f"import sys, desk.cli; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], env=alone, capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_an_interrupt_ends_quietly(alone: dict[str, str], tmp_path: Path) -> None:
    (tmp_path / "long.wav").write_bytes(b"RIFF\0\0")
    command = [sys.executable, "-c", SLOW, "transcribe", str(tmp_path / "long.wav")]
    with subprocess.Popen(command, env=alone, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"hearing\n"
        process.send_signal(signal.SIGINT)
        told = process.communicate(timeout=20)
    assert told == (b"", b"")
    assert process.returncode == 130


@pytest.mark.recogniser
def test_an_interrupt_does_not_wait_for_what_is_being_recognised(
    alone: dict[str, str], tmp_path: Path
) -> None:
    """The limit allows for a busy machine; on a quiet one it takes well under a second. The talk is long enough
    that no machine is through with it before."""
    sample = Path(__file__).parents[2] / "sample_audio" / "teaching_session.opus"
    with wave.open(str(tmp_path / "long.wav"), "wb") as sound:
        sound.setparams((1, 2, RATE, 0, "NONE", ""))
        sound.writeframes(np.tile(read(sample).samples, 8).tobytes())
    command = [*EARSIDE, "extract", str(tmp_path / "long.wav")]
    with subprocess.Popen(command, env=alone, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        time.sleep(15)
        assert process.poll() is None
        process.send_signal(signal.SIGINT)
        began = time.monotonic()
        told = process.communicate(timeout=20)
    assert time.monotonic() - began < 3
    assert told == (b"", b"")
    assert process.returncode == 130
    with sqlite3.connect(Path(alone["EARSIDE_DATA"]) / "earside.db") as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert db.execute("SELECT count(*) FROM recordings").fetchone() == (0,)


def test_a_closed_pipe_ends_quietly(alone: dict[str, str]) -> None:
    with subprocess.Popen(
        [*EARSIDE, "schema"], env=alone, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode in (0, 1)


def read_all(terminal: int, into: bytearray) -> None:
    """What is shown on the terminal; a full one would stop its writer."""
    with contextlib.suppress(OSError):  # Linux reports the closed far end as an error
        while part := os.read(terminal, 4096):
            into += part


@pytest.mark.parametrize("colour", [True, False])
def test_progress_only_on_a_terminal_and_colour_only_if_wanted(
    alone: dict[str, str], tmp_path: Path, colour: bool
) -> None:
    (tmp_path / "long.wav").write_bytes(b"RIFF\0\0")
    env = {**alone, "TERM": "xterm-256color"} | ({} if colour else {"NO_COLOR": "1"})
    ours, theirs = pty.openpty()
    command = [sys.executable, "-c", SLOW, "transcribe", str(tmp_path / "long.wav")]
    with subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=theirs) as process:
        os.close(theirs)
        reader = threading.Thread(target=read_all, args=(ours, shown := bytearray()))
        reader.start()
        assert process.stdout is not None
        assert process.stdout.readline() == b"hearing\n"
        time.sleep(0.5)
        process.send_signal(signal.SIGINT)
        assert process.stdout.read() == b""
    reader.join()
    os.close(ours)
    assert b"long.wav" in shown
    assert b"left" in shown
    assert (b"\x1b[38;5" in shown) == colour


def test_no_library_leaves_a_trace_of_its_own(alone: dict[str, str], tmp_path: Path) -> None:
    """onnxruntime 1.32, once imported, writes an identifier and events to send (see its Privacy.md)."""
    home = tmp_path / "home"
    home.mkdir()
    env = {**alone, "HOME": str(home)}
    env.pop("ORT_DISABLE_TELEMETRY", None)
    env.pop("XDG_CACHE_HOME", None)
    code = "import desk.cli, dictate.hear, faster_whisper, onnxruntime"
    subprocess.run([sys.executable, "-c", code], env=env, check=True)
    assert [path for path in home.rglob("*") if path.is_file()] == []
