"""`earside listen`, with a scripted recogniser: plain lines, the view, keys, and what is left unfinished."""

from __future__ import annotations

import os
import select
import subprocess
import sys
import time
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from listening_script import WORDS, find, said, scripted_parts
from rich.console import Console

from desk import listen
from desk.cli import cli
from desk.listening import Listening, Parts
from desk.live_view import Seen
from desk.so_far import RecordSoFar
from dictate import journals, microphone, speech
from dictate.events import Behind, Faulted, Level, Mended, Paused, Utterance, WordsSoFar
from extract.reader import Reader
from shared.errors import EarsideError
from shared.store import Store
from shared.transcript import Transcript

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def reader() -> Reader:
    return Reader()


@pytest.fixture
def parts(reader: Reader, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Parts:
    parts = scripted_parts(lambda: reader)
    monkeypatch.setattr(Parts, "usual", lambda **given: parts)
    monkeypatch.setattr(speech, "find", find)
    monkeypatch.setenv("EARSIDE_DATA", str(tmp_path))
    return parts


def earside(*arguments: str, sound: bytes = b"") -> Result:
    return CliRunner().invoke(cli, ["listen", *arguments], input=sound, prog_name="earside")


def test_sound_on_standard_input_becomes_visits(parts: Parts, tmp_path: Path) -> None:
    result = earside("--stdin", sound=said(*WORDS))
    assert result.exit_code == 0, result.output
    assert "Visit 1: " in result.stdout
    assert "Visit 2: " in result.stdout
    assert "Jobson Horne probe" in result.stdout
    assert journals.journals(tmp_path / "listening") == []


def test_what_was_left_unfinished_is_told_listed_and_finished(parts: Parts, tmp_path: Path) -> None:
    left = Listening.start(tmp_path, who="a clinician", parts=parts)
    left.feed(said(1, 2))
    left.leave()
    assert "1 recording is not finished. To finish: earside listen --finish" in earside("--stdin").stderr
    listed = earside("--unfinished")
    assert listed.stdout == f"{left.id}  00:08  a clinician\n"
    finished = earside("--finish")
    assert finished.exit_code == 0, finished.output
    assert "Visit 1: " in finished.stdout
    for task in ("--finish", "--unfinished"):
        assert earside(task).stderr == "No recording is unfinished.\n"


def test_nothing_dictated_is_said_and_leaves_nothing(parts: Parts, tmp_path: Path) -> None:
    result = earside("--stdin", sound=b"")
    assert result.exit_code == 0
    assert "there is no visit to show" in result.stderr
    assert list((tmp_path / "listening").iterdir()) == []


def test_a_full_disk_at_the_end_is_said_and_tried_again(
    parts: Parts, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dictate.journal import Journal  # noqa: PLC0415

    flush, tries = Journal.flush, iter((3.0, 3.0))
    monkeypatch.setattr(Journal, "flush", lambda self, **how: next(tries, None) or flush(self, **how))
    monkeypatch.setattr(listen, "TRY_AGAIN_SECONDS", 0.0)
    result = earside("--stdin", sound=said(1))
    assert result.exit_code == 0, result.output
    assert result.stderr.count("the disk has not taken the last 3.0 seconds of sound yet") == 2
    with Store(tmp_path) as store:
        assert len(store.visits().rows) == 1


def test_a_recogniser_that_fails_at_the_end_leaves_the_recording(
    parts: Parts, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*given: Any, **how: Any) -> None:
        raise EarsideError("the weights are gone", remedy="Install Earside again.")

    monkeypatch.setattr("desk.keeping.hear_whole", fails)
    result = earside("--stdin", sound=said(1))
    assert result.exit_code == 1
    assert "The recording is kept. To make its record: earside listen --finish" in result.stderr
    assert "the weights are gone" in result.stderr
    assert [f.seconds for f in journals.unfinished(tmp_path / "listening")] == [4.0]


@pytest.mark.parametrize(
    ("speech_level", "noise_level", "verdict"),
    [
        (6000, 30, "Good."),
        (40_000, 30, "Too loud, the sound is cut off"),
        (150, 5, "Too quiet"),
        (3000, 1500, "Speech hardly stands out"),
    ],
)
def test_the_level_is_judged(parts: Parts, speech_level: int, noise_level: int, verdict: str) -> None:
    rng = np.random.default_rng(1)
    loud = np.repeat([speech_level, noise_level] * 5, 8_000) * rng.uniform(-1, 1, 80_000)
    pcm = np.clip(loud, -32768, 32767).astype("<i2").tobytes()
    result = earside("--check-level", "--stdin", sound=pcm)
    assert result.exit_code == 0, result.output
    assert verdict in result.stdout


def test_no_sound_at_all_is_said(parts: Parts) -> None:
    result = earside("--check-level", "--stdin")
    assert (result.exit_code, "no sound came" in result.stderr) == (2, True)


class PortAudioError(Exception):
    """As sounddevice's own."""


def port_audio(*devices: dict[str, Any], rates: tuple[int, ...] = (16_000,)) -> types.ModuleType:
    """A sounddevice with these devices, each of which gives half a second of sound at one of the rates."""
    module: Any = types.ModuleType("sounddevice")

    class RawInputStream:
        def __init__(self, *, samplerate: int, blocksize: int, callback: Any, **given: Any) -> None:
            if samplerate not in rates:
                raise PortAudioError("Invalid sample rate")
            self.give = lambda: [
                callback(np.full(blocksize, 2000, np.int16).data, blocksize, None, None) for _ in range(5)
            ]

        def start(self) -> None:
            self.give()

        def abort(self, **how: bool) -> None: ...

        def close(self, **how: bool) -> None: ...

    def query_devices(number: int | None = None, kind: str | None = None) -> Any:
        return {"default_samplerate": 48_000.0} if kind else list(devices)

    module.PortAudioError, module.RawInputStream = PortAudioError, RawInputStream
    module.query_devices, module.default = query_devices, types.SimpleNamespace(device=(1, 0))
    return module  # type: ignore[no-any-return]


DESK, SPEAKER = {"name": "Desk", "max_input_channels": 2}, {"name": "Loudspeaker", "max_input_channels": 0}


def test_microphones_are_listed_and_chosen_by_number(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", port_audio(SPEAKER, DESK))
    assert earside("--list-microphones").stdout == "  1  Desk  (used unless you choose another)\n"
    refused = earside("--check-level", "--microphone", "0")
    assert "microphone 0: there is no such microphone" in refused.stderr
    monkeypatch.setitem(sys.modules, "sounddevice", port_audio(SPEAKER))
    assert "there is no microphone" in earside("--check-level").stderr


@pytest.mark.parametrize("rate", [16_000, 48_000])
def test_a_microphone_gives_sound_at_our_rate_until_it_is_gone(
    monkeypatch: pytest.MonkeyPatch, rate: int
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", port_audio(SPEAKER, DESK, rates=(rate,)))
    monkeypatch.setattr(microphone, "SILENT_SECONDS", 0.01)
    with microphone.Recorder(1) as recorder:
        samples = np.frombuffer(b"".join(recorder), np.int16)
    assert recorder.gone
    assert len(samples) == pytest.approx(8_000, abs=100)
    assert np.median(samples) == pytest.approx(2000, abs=2)


@pytest.mark.parametrize(
    ("fault", "said_of_it"),
    [
        (ImportError("no"), "needs the package sounddevice"),
        (OSError("PortAudio library not found"), "apt install libportaudio2"),
    ],
)
def test_what_is_missing_for_microphones_is_said(
    parts: Parts, monkeypatch: pytest.MonkeyPatch, fault: Exception, said_of_it: str
) -> None:
    class Finder:
        def find_spec(self, name: str, *more: object) -> None:
            if name == "sounddevice":
                raise fault

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Finder(), *sys.meta_path])
    for call in ((), ("--list-microphones",), ("--check-level",)):
        result = earside(*call)
        assert result.exit_code == 1
        assert said_of_it in result.stderr
        assert "Traceback" not in result.output


def shown(*events: Any, width: int = 100) -> str:
    seen = Seen()
    for event in events:
        seen.take(event)
    console = Console(width=width, file=open(os.devnull, "w"), record=True)  # noqa: SIM115
    console.print(seen.page())
    return console.export_text()


def test_the_view_shows_both_ears_the_words_and_what_is_missing(reader: Reader) -> None:
    text = "Right ear, hard brown wax. Removed with a Jobson Horne probe. Left ear, soft wax. The drum is intact."
    record = RecordSoFar(tuple(reader.read(Transcript(text=text))), Transcript(text=text))
    view = shown(
        Level(65.0, -30.0, -12.0, True),
        Utterance(0, 9, "The drum is intact.", ()),
        WordsSoFar(9, 10, "and no bl"),
        record,
    )
    assert "Listening   01:05" in view
    assert "too loud" in view
    assert "The drum is intact. and no bl …" in view
    heading = next(line for line in view.splitlines() if "Right ear" in line and "Left ear" in line)
    assert heading.index("Right ear") < heading.index("Left ear")
    assert "Not said yet" in view
    assert "consent" in view.lower()
    assert view.isprintable() or "\x1b" not in view


def test_the_view_says_that_it_is_paused_late_or_in_trouble() -> None:
    assert "Paused: nothing is kept or heard." in shown(Level(1, -9, -3, False), Paused(1.0))
    assert "The words come 12 s late; no sound is lost." in shown(Behind(12))
    trouble = Faulted("The disk takes no sound", "Free some space.", lost=4.2)
    assert "Free some space. 4 seconds are lost." in shown(trouble)
    assert "Free some space" not in shown(trouble, Mended())


def test_a_guess_gives_way_to_what_was_heard() -> None:
    view = shown(WordsSoFar(0, 1, "wacks"), Utterance(0, 2, "wax", ()))
    assert "wax" in view
    assert "wacks" not in view


DRIVER = """
import sys
sys.path.insert(0, "tests/desk")
from listening_script import find, scripted_parts
from desk.listening import Parts
from dictate import speech
from extract.reader import Reader
reader = Reader()
parts = scripted_parts(lambda: reader)
Parts.usual = lambda **given: parts
speech.find = find
from desk.cli import main
sys.argv = ["earside", "listen", "--stdin"]
main()
"""


class Terminal:
    """`earside listen --stdin` on a terminal of its own."""

    def __init__(self, data: Path) -> None:
        import pty  # noqa: PLC0415  (not on every system)

        self.master, slave = pty.openpty()
        self.sound, end = os.pipe()[::-1]
        command = [sys.executable, "-c", DRIVER]
        env = {**os.environ, "EARSIDE_DATA": str(data), "TERM": "xterm", "COLUMNS": "100", "LINES": "40"}
        self.process = subprocess.Popen(
            command,
            stdin=end,
            stdout=slave,
            stderr=slave,
            env=env,
            cwd=ROOT,
            preexec_fn=lambda: _take_terminal(slave),  # noqa: PLW1509
        )
        os.close(slave)
        os.close(end)
        self.output = ""

    def until(self, words: str, seconds: float = 60) -> None:
        """Read on until these words come to the screen."""
        self.output = ""
        end = time.monotonic() + seconds
        while words not in self.output:
            ready, _, _ = select.select([self.master], [], [], 0.2)
            if ready:
                try:
                    self.output += os.read(self.master, 65_536).decode(errors="replace")
                except OSError:
                    break
            assert time.monotonic() < end, self.output[-2000:]
        assert words in self.output, self.output[-2000:]

    def read_all(self) -> None:
        """Wait until it has read all its sound."""
        import fcntl  # noqa: PLC0415
        import termios  # noqa: PLC0415

        while int.from_bytes(fcntl.ioctl(self.sound, termios.FIONREAD, bytes(4)), sys.byteorder):
            time.sleep(0.01)

    def press(self, key: str) -> None:
        os.write(self.master, key.encode())


def _take_terminal(slave: int) -> None:
    """In the child: the terminal becomes its own, so that /dev/tty is it."""
    import fcntl  # noqa: PLC0415
    import termios  # noqa: PLC0415

    os.setsid()
    fcntl.ioctl(slave, termios.TIOCSCTTY, 0)


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    terminal = Terminal(tmp_path)
    yield terminal
    terminal.process.kill()
    terminal.process.wait()
    os.close(terminal.master)


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX terminal")
@pytest.mark.parametrize("end", ["q", "\x03"])
def test_keys_pause_and_finish(terminal: Terminal, tmp_path: Path, end: str) -> None:
    """In a real terminal: the view, the space bar, then q or Ctrl-C."""
    terminal.until("Listening")
    os.write(terminal.sound, said(1))
    terminal.until("brown")
    terminal.press(" ")
    terminal.until("Paused: nothing is kept or heard.")
    os.write(terminal.sound, said(3))
    terminal.read_all()
    terminal.press(" ")
    terminal.until("Listening")
    os.write(terminal.sound, said(2))
    terminal.until("Jobson Horne")
    terminal.press(end)
    terminal.until("Next: check it against the words")
    assert terminal.process.wait(10) == 0
    with Store(tmp_path) as store:
        (row,) = store.visits().rows
        assert row.ears == ("right",)
    assert "Traceback" not in terminal.output


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX terminal")
def test_agreement_is_asked_for_once_a_patient_and_kept_with_the_visit(
    terminal: Terminal, tmp_path: Path
) -> None:
    """The first agrees; the second does not: it pauses at once, and nothing more is kept."""
    terminal.until("Being recorded: not asked yet.")
    terminal.press("a")
    terminal.until("Being recorded: the patient agreed.")
    os.write(terminal.sound, said(1, 2, 3))
    terminal.until("Patient 2 of this recording")
    terminal.until("Being recorded: not asked yet.")
    terminal.press("d")
    terminal.until("Paused: nothing is kept or heard.")
    terminal.until("the patient does not want it.")
    os.write(terminal.sound, said(4))
    terminal.read_all()
    terminal.press("q")
    terminal.until("Next: check it against the words")
    assert terminal.process.wait(10) == 0
    with Store(tmp_path) as store:
        answers = [store.agreement(number) for number in (1, 2)]
        assert [a and (a.what, a.who) for a in answers] == [("agreed", "earside"), ("declined", "earside")]
        assert "Microsuction" not in store.transcript(store.visit(2).transcript).text
        assert store.verify().faults == ()


def test_a_standing_notice_holds_for_every_patient_and_an_answer_given_beforehand(
    parts: Parts, tmp_path: Path
) -> None:
    with Store(tmp_path) as store:
        store.set_standing_notice("At the door, version 2")
    assert earside("--stdin", sound=said(*WORDS)).exit_code == 0
    assert earside("--stdin", "--agreed", sound=said(1, 3, 4)).exit_code == 0
    with Store(tmp_path) as store:
        found = [store.agreement(number) for number in (1, 2, 3, 4)]
        assert [a and (a.what, a.notice) for a in found] == [
            ("notice", "At the door, version 2"),
            ("notice", "At the door, version 2"),
            ("agreed", None),
            ("notice", "At the door, version 2"),
        ]


def test_a_damaged_store_keeps_nobody_from_being_heard(
    parts: Parts, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def nobody_waits(seconds: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(listen.time, "sleep", nobody_waits)
    (tmp_path / "earside.db").write_bytes(b"no database" * 999)
    result = earside("--stdin", sound=said(1))
    assert result.exit_code == 130
    assert "is not an Earside database" in result.stderr
    assert [f.seconds for f in journals.unfinished(tmp_path / "listening")] == [4.0]
