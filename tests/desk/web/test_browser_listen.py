"""A sample dictated into the real desk by a real browser, its microphone a WAV file; and the desk killed meanwhile."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import wave
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from browsing import CHROMIUM, NO_CHROMIUM, Window, launched

from dictate.read import RATE, read
from shared.store import Store

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = [
    pytest.mark.recogniser,
    pytest.mark.skipif(CHROMIUM is None, reason=NO_CHROMIUM),
]

SAMPLE = Path(__file__).parents[3] / "sample_audio" / "right_ear.opus"
SECONDS = 30
"""So much of the sample is dictated: to where the first instrument is named."""

Sound = npt.NDArray[np.int16]


class Desk:
    """`earside desk` as one starts it, over a data folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> str:
        """Start it; the address it prints."""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "desk.cli", "desk", "--no-browser", "--port", str(self.port)],
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | {"EARSIDE_DATA": str(self.folder)},
        )
        assert self.process.stderr
        found = re.search(r"http://\S+", self.process.stderr.readline())
        assert found
        return found[0]

    def kill(self) -> None:
        """As a crash does."""
        if self.process:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()
            self.process = None


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Desk]:
    made = Desk(tmp_path / "data")
    with Store(made.folder) as store:
        store.set_person("Ann Example", "clinician")
    yield made
    made.kill()


@pytest.fixture(scope="module")
def spoken() -> Sound:
    return read(SAMPLE).samples[: SECONDS * RATE]


@pytest.fixture
def window(tmp_path: Path, spoken: Sound) -> Iterator[Window]:
    """A window whose microphone says the sample once, then is silent."""
    path = tmp_path / "microphone.wav"
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 2, RATE, 0, "NONE", ""))
        file.writeframes(spoken.tobytes() + bytes(2 * RATE * 120))
    fake = ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
    with launched(*fake, f"--use-file-for-fake-audio-capture={path}%noloop") as browser:
        yield Window(browser.new_context(viewport={"width": 1366, "height": 900}).new_page(), "")


def dictate(window: Window, desk: Desk) -> None:
    """Open the desk, choose who works there, and begin."""
    window.page.goto(desk.start())
    window.address = f"http://127.0.0.1:{desk.port}"
    window.open("/people")
    with window.page.expect_navigation():
        window.page.click("button:has-text('Ann Example')")
    window.open("/listen")
    window.press("Space")


def heard_to(window: Window, seconds: float) -> None:
    """Wait until the page's clock, which counts the sound taken, says so."""
    window.settled(
        "(([m, s]) => Number(m) * 60 + Number(s || 0))"
        f"((document.querySelector('#clock').textContent || '0:0').split(':')) >= {seconds}",
        within=seconds * 6 + 60,
    )


def kept(desk: Desk, visit: int) -> Sound:
    with Store(desk.folder) as store:
        path = store.sound(store.visit(visit).recording_id)
    assert path
    return read(path).samples


def loudness(sound: Sound) -> npt.NDArray[np.float64]:
    """The root mean square of a twentieth of a second around each hundredth."""
    power = np.concatenate([[0.0], np.cumsum(sound.astype(float) ** 2)])
    starts = np.arange(0, len(sound) - 800, 160)
    return np.sqrt((power[starts + 800] - power[starts]) / 800)


def whole(sound: Sound, spoken: Sound) -> float:
    """How alike the loudness of what was kept and of what was said is, where they fit best: 1 for the same.

    The device plays from when it is opened; up to two seconds of it may lie before the page takes sound.
    """
    said, there = loudness(spoken), loudness(sound)
    best = 0.0
    for moved in range(-200, 200):
        a, b = said[max(-moved, 0) :], there[max(moved, 0) :]
        if len(b) >= len(a):
            best = max(best, float(np.corrcoef(a, b[: len(a)])[0, 1]))
    return best


def test_a_lost_fifth_of_a_second_would_be_seen(spoken: Sound) -> None:
    silence = np.zeros(2 * RATE, np.int16)
    assert whole(np.concatenate([silence[:RATE], spoken, silence]), spoken) > 0.999
    half = len(spoken) // 2
    cut = np.concatenate([spoken[:half], spoken[half + RATE // 5 :], silence])
    assert whole(cut, spoken) < 0.97


def ended(window: Window) -> int:
    window.press("e")
    window.page.wait_for_url("**/visits/*", timeout=120_000)
    return int(window.page.url.rpartition("/")[2])


def test_dictated_checked_by_keyboard_signed_amended_and_read_back(
    window: Window, served: Desk, spoken: Sound
) -> None:
    dictate(window, served)
    window.settled("document.querySelector('#record').textContent.includes('dark brown')", within=180)
    heard_to(window, SECONDS + 3)
    visit = ended(window)
    assert whole(kept(served, visit), spoken) > 0.98
    with Store(served.folder) as store:
        (ear,) = store.visit(visit).visit.plain()["ears"]
    assert (ear["side"], ear["before"]["wax"][0]["colour"]) == ("right", ["dark_brown"])

    window.open(f"/visits/{visit}?at=ears[0].before.wax[0].colour[0]")
    window.press("c")
    window.page.wait_for_selector("input[role=combobox]:focus")
    window.press("b", "l", "a", "Enter")
    window.settled("document.activeElement.textContent.includes('black')")
    window.press("s")
    if window.page.locator("#reason").count():
        window.page.fill("#reason", "all of it was looked at")
    window.page.click("#sign")
    window.page.wait_for_selector(".done")
    window.open(f"/visits/{visit}")
    window.page.click(".amend > summary")
    window.page.fill("#amend-reason", "it was brown after all")
    window.press("Enter")
    window.page.wait_for_selector("#sign")
    window.open(f"/visits/{visit}/history")
    text = window.page.text_content("main")
    assert "Ann Example" in text
    assert "it was brown after all" in text
    assert window.faults == []


def test_the_desk_is_killed_while_it_listens_and_nothing_is_lost(
    window: Window, served: Desk, spoken: Sound
) -> None:
    dictate(window, served)
    heard_to(window, 9)
    served.kill()
    window.settled("document.querySelector('#control').dataset.state === 'cut'")
    heard_to(window, 14)
    served.start()
    window.settled("document.querySelector('#control').dataset.state === 'on'", within=60)
    heard_to(window, SECONDS + 3)
    visit = ended(window)
    assert whole(kept(served, visit), spoken) > 0.98


def test_a_page_that_is_closed_hands_its_sound_over_when_it_is_opened_again(
    window: Window, served: Desk, spoken: Sound
) -> None:
    dictate(window, served)
    heard_to(window, 6)
    served.kill()
    heard_to(window, SECONDS + 3)
    window.page.close(run_before_unload=False)
    served.start()
    window.page = window.page.context.new_page()
    window.page.set_default_timeout(60_000)
    window.open("/listen")
    window.settled(
        "!document.querySelector('#end').hidden && !document.querySelector('#end').disabled", within=60
    )
    visit = ended(window)
    assert whole(kept(served, visit), spoken) > 0.98
