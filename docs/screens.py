"""Makes pictures of every page of the desk, in light, dark, on a tablet and on a phone.

    .venv/bin/python docs/screens.py [FOLDER]

Needs Debian's chromium and playwright. The visits are those of the sample recordings, read from their written
words; the times of the words are spread evenly. Without FOLDER only the pictures of the README are made anew.
"""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import uvicorn
from playwright.sync_api import sync_playwright

from desk.web.app import application
from dictate.read import read
from extract.reader import Reader
from shared.store import Recording, Store
from shared.transcript import Transcript, Word

HERE = Path(__file__).parent
SAMPLES = ("three_patients.ogg", "corrections.mp3", "history_and_referral.m4a", "sides_not_named.opus",
           "both_ears.opus")  # fmt: skip
ANN = "Ann Example"
MANNERS: dict[str, dict[str, Any]] = {
    "light": {"viewport": {"width": 1366, "height": 900}, "color_scheme": "light"},
    "dark": {"viewport": {"width": 1366, "height": 900}, "color_scheme": "dark"},
    "tablet": {"viewport": {"width": 820, "height": 1180}, "color_scheme": "light"},
    "phone": {"viewport": {"width": 390, "height": 844}, "color_scheme": "light"},
}
IN_README = {
    ("list", "light"): "desk-list",
    ("checking", "light"): "desk-checking",
    ("correcting", "dark"): "desk-dark",
}


def main() -> None:
    """Fill a passing store, serve it, and take the pictures."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    with tempfile.TemporaryDirectory() as passing:
        visits = fill(Path(passing))
        address = serve(Path(passing))
        options = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        with sync_playwright() as started:
            browser = started.chromium.launch(executable_path=shutil.which("chromium"), args=options)
            for manner, look in MANNERS.items():
                context = browser.new_context(**look)
                page = context.new_page()
                page.goto(f"{address}/?key=key")
                page.goto(f"{address}/people")
                page.click(f"button:has-text('{ANN}')")
                for name, (path, keys) in pages(visits).items():
                    places = [HERE / f"{IN_README[name, manner]}.png"] if (name, manner) in IN_README else []
                    places += [folder / f"{name}-{manner}.png"] if folder else []
                    if places:
                        take(page, address + path, keys, places)
                context.close()
            browser.close()


def pages(visits: dict[str, int]) -> dict[str, tuple[str, tuple[str, ...]]]:
    """Each page: its address, and the keys pressed in it."""
    both, signed, unnamed = (
        visits["both_ears.opus"],
        visits["three_patients.ogg"],
        visits["sides_not_named.opus"],
    )
    return {
        "list": ("/", ()),
        "found": ("/?finding=after.drum%3Dintact", ()),
        "checking": (f"/visits/{unnamed}", ()),
        "record": (f"/visits/{both}", ("r",)),
        "correcting": (f"/visits/{both}?at=ears[0].before.wax[0].colour[0]", ("c",)),
        "words": (f"/visits/{both}", ("t", "ArrowRight", "ArrowRight", "Shift+ArrowRight")),
        "keys": (f"/visits/{both}", ("?",)),
        "signed": (f"/visits/{signed}", ()),
        "history": (f"/visits/{signed}/history", ()),
        "people": ("/people", ()),
        "learning": ("/learning", ()),
        "recordings": ("/recordings", ()),
    }


def take(page: Any, address: str, keys: tuple[str, ...], places: list[Path]) -> None:
    """One page, as far as the window shows it."""
    page.goto(address)
    for key in keys:
        page.keyboard.press(key)
    page.wait_for_timeout(400)
    for place in places:
        place.parent.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=place)


def fill(folder: Path) -> dict[str, int]:
    """The sample visits, one of them signed; the first visit of each recording."""
    reader, first = Reader(), {}
    with Store(folder) as store:
        store.set_person(ANN, "clinician")
        store.set_person("Ben Sample", "assistant")
        for name in SAMPLES:
            path = HERE.parent / "sample_audio" / name
            text, seconds = path.with_suffix(".txt").read_text(encoding="utf-8"), read(path).seconds
            transcript = timed(text, seconds, name)
            kept = store.keep(Recording.of(path, "sound"), transcript, reader.read(transcript))
            first[name] = kept.visits[0]
        signed = store.visit(first["three_patients.ogg"])
        store.sign(signed.id, ANN, revision=signed.revision, reason="checked with the patient")
        store.fail(
            Recording("", "tuesday.m4a", 0, "sound", Path("tuesday.m4a")), "cut off, there is no sound in it"
        )
    return first


def timed(text: str, seconds: float, name: str) -> Transcript:
    """Written words as a transcript, their times spread evenly over the recording."""
    found = list(re.finditer(r"\S+", text))
    step = seconds / max(len(found), 1)
    words = tuple(
        Word(chars=m.span(), seconds=(n * step, (n + 1) * step), probability=0.9) for n, m in enumerate(found)
    )
    return Transcript(text=text, words=words, source=name, duration=seconds, model="base")


def serve(folder: Path) -> str:
    """The desk on a free port; ends with this program."""
    config = uvicorn.Config(lambda: None, port=0, log_level="error")
    listener = config.bind_socket()
    host = f"127.0.0.1:{listener.getsockname()[1]}"
    config.app = application(folder, key="key", hosts=(host,))
    server = uvicorn.Server(config)
    threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True).start()
    while not server.started:
        time.sleep(0.05)
    return f"http://{host}"


if __name__ == "__main__":
    main()
