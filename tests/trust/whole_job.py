"""The whole main job, as one would do it: python whole_job.py FOLDER. Fails if any of it does.

A short recording is transcribed and its words made into a record, another is imported, with the real recogniser;
the desk is started, a page of it is fetched, and a visit is signed there.
"""

from __future__ import annotations

import contextlib
import fcntl
import http.cookiejar
import os
import re
import shutil
import socket
import struct
import subprocess
import sys
import urllib.parse
import urllib.request
import wave
from pathlib import Path

ROOT = Path(__file__).parents[2]
EARSIDE = [sys.executable, "-m", "desk.cli"]
SECONDS = 7


def main(folder: Path) -> None:
    """Do all of it."""
    with contextlib.suppress(OSError):  # in a namespace of its own the loopback is down at first
        _loopback_up()
    sound, old = folder / "short.wav", folder / "old"
    _cut(ROOT / "sample_audio" / "right_ear.opus", sound)
    old.mkdir()
    shutil.copy(ROOT / "sample_audio" / "right_ear.txt", folder / "notes.txt")
    _cut(ROOT / "sample_audio" / "right_ear.opus", old / "old.flac.wav", after=SECONDS)
    _earside(folder, "transcribe", "--save", str(folder / "words"), str(sound))
    _earside(folder, "extract", str(folder / "words" / "short.wav.json"), str(folder / "notes.txt"))
    _earside(folder, "import", str(old))
    _earside(folder, "people", "Ann Example", "--role", "clinician")
    _at_the_desk(folder)
    assert "signed" in _earside(folder, "history", "1")


def _earside(folder: Path, *arguments: str) -> str:
    done = subprocess.run(
        [*EARSIDE, *arguments], env=_own(folder), stdout=subprocess.PIPE, text=True, check=True
    )
    return done.stdout


def _own(folder: Path) -> dict[str, str]:
    return {
        **os.environ,
        "EARSIDE_DATA": str(folder / "data"),
        "PYTHONPATH": str(ROOT),
        "OMP_NUM_THREADS": "2",
    }


def _cut(source: Path, place: Path, *, after: float = 0) -> None:
    from dictate.read import RATE, read  # noqa: PLC0415

    samples = read(source).samples[round(after * RATE) :][: SECONDS * RATE]
    with wave.open(str(place), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(samples.tobytes())


def _at_the_desk(folder: Path) -> None:
    """Start the desk, open its list, sign the first visit there, stop it."""
    command = [*EARSIDE, "desk", "--port", "0", "--no-browser"]
    with subprocess.Popen(command, env=_own(folder), stderr=subprocess.PIPE, text=True) as desk:
        try:
            assert desk.stderr
            address = re.search(r"http://\S+", desk.stderr.readline())
            assert address
            parts = urllib.parse.urlsplit(address.group())
            site = f"{parts.scheme}://{parts.netloc}"
            browser = urllib.request.build_opener(
                urllib.request.ProxyHandler({}),
                urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()),
            )
            browser.addheaders = [("Origin", site)]
            assert "Visits" in browser.open(address.group()).read().decode()

            def post(path: str, **fields: str) -> str:
                sent = urllib.parse.urlencode(fields).encode()
                page: str = browser.open(site + path, sent).read().decode()
                return page

            post("/people/now", name="Ann Example")
            page = browser.open(f"{site}/visits/1").read().decode()
            revision = re.search(r'name="revision" value="(\d+)"', page)
            assert revision
            page = post("/visits/1/sign", revision=revision[1], reason="the beginning of a recording")
        finally:
            desk.terminate()


def _loopback_up() -> None:
    """What `ip link set lo up` does (netdevice(7): SIOCSIFFLAGS, IFF_UP and IFF_RUNNING)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        fcntl.ioctl(asking, 0x8914, struct.pack("16sh14x", b"lo", 0x1 | 0x40))


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main(Path(sys.argv[1]))
    print("all done")
