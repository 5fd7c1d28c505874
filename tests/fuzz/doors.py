"""Every door by which something comes in, and what may come of it: an answer, or a refusal with a clear message."""

from __future__ import annotations

import functools
import io
import json
import struct
import wave
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import hostile
import yaml
from click.testing import CliRunner
from hypothesis import strategies as st
from listening_script import scripted_parts
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from desk import own_words, sources
from desk.cli import cli
from desk.exchange import bundle, unbundle
from desk.importing import sidecar
from desk.importing.ledger import FOLDER, Ledger
from desk.letters import docx, practice
from desk.rereading import Rereader
from desk.so_far import remembered
from desk.web.app import application
from dictate import journals
from dictate.read import read
from extract.gold import load_gold
from extract.reader import Reader
from shared.errors import EarsideError
from shared.store import Entry, Recording, Store, StoredVisit
from shared.transcript import Transcript

ROOT = Path(__file__).parents[2]
HOST, KEY = "127.0.0.1:8701", "the-key"
TEXT = (
    "Patient 41. Consent given. Right ear. The canal is completely blocked with hard dark brown wax. Microsuction. "
    "One piece, sixteen millimetres. The canal is clear now. The drum is intact. No bleeding. See again in six months. "
    "Left ear. Soft yellow wax, eighty percent. Maybe a perforation. "
)


@dataclass(frozen=True)
class Door:
    """A way in. given: what comes; take: let it in, in a folder of its own. Raises whatever is amiss."""

    name: str
    given: st.SearchStrategy[Any]
    take: Callable[[Any, Path], None]


def _refused(work: Callable[[], object]) -> None:
    """Do it; a refusal must have a message fit for one line of a terminal or page."""
    try:
        work()
    except EarsideError as fault:
        if not fault.what or len(fault.line) > 12_000:
            raise AssertionError("no message fit for one line") from fault


@functools.cache
def _reader() -> Reader:
    return Reader()


# --- files


def _file(name: str, work: Callable[[Path], object]) -> Callable[[Any, Path], None]:
    def take(given: str | bytes, folder: Path) -> None:
        place = folder / name
        place.write_bytes(given if isinstance(given, bytes) else given.encode("utf-8", "surrogatepass"))
        _refused(lambda: work(place))

    return take


def _recordings() -> list[bytes]:
    sound = io.BytesIO()
    with wave.open(sound, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        file.writeframes(bytes(range(256)) * 60)
    samples = (ROOT / "sample_audio").iterdir()
    kinds = {".mp3", ".ogg", ".opus", ".m4a", ".mp4", ".flac"}
    return [sound.getvalue(), *(p.read_bytes()[:60_000] for p in sorted(samples) if p.suffix in kinds)]


def _read_text(place: Path) -> None:
    _reader().read(sources.read(str(place), model="base").transcript)


def _transcript() -> Any:
    words = TEXT.split()
    at = [TEXT.index(w) for w in words]
    said = [
        {"chars": [a, a + len(w)], "seconds": [n / 2, n / 2 + 0.4], "probability": 0.9}
        for n, (a, w) in enumerate(zip(at, words, strict=True))
    ]
    return {"text": TEXT, "words": said[:12], "source": "a.wav",
    "duration": 60.0, "speech": 50.0, "language": "en",
            "model": "base", "settings": {"note": "x"}}  # fmt: skip


def _yaml(whole: Any) -> st.SearchStrategy[str]:
    written: str = yaml.safe_dump(whole, allow_unicode=True)
    broken = hostile.damaged([written.encode()]).map(lambda b: b.decode("utf-8", "replace"))
    bomb = "a: &a [x,x,x,x,x,x,x,x,x]\n" + "".join(
        f"{chr(98 + n)}: &{chr(98 + n)} [{','.join([f'*{chr(97 + n)}'] * 9)}]\n" for n in range(9)
    )
    return st.one_of(
        hostile.changed(whole),
        broken,
        st.sampled_from((bomb, "[" * 5000, "!!python/object/new:os.system [id]")),
    )


_GOLD = [
    {
        "id": "a",
        "text": TEXT,
        "visits": [{"ears": [{"side": "right", "removed_mm": [16], "after": {"drum": ["intact"]}}]}],
    }
]
_OWN = {
    "consistency": {"firm": ["like old putty", "a|b conker (firm)"]},
    "instrument": {"fine_suction_tube": ["little .. one"]},
}
_PRACTICE = {
    "name": "A practice",
    "address": ["1 Road", "Town"],
    "phone": "0",
    "paper": "A4",
    "advice": "Keep it dry.",
}
_LIST = (
    "file,start,patient,clinician,date\nmonday.m4a,0:00,4711,Ann Example,2021-03-15 09:00\n"
    'monday.m4a,12:40,4712,,\n"a;b.wav",,"x ""y""",,2021-03-16\n'
)
_cells = st.lists(st.lists(hostile.text, max_size=6), max_size=4).map(
    lambda rows: "file,start,patient,clinician,date\n" + "\n".join(",".join(row) for row in rows)
)

_VALUES = {
    "title": "Letter to the GP", "date": "1 May 2026", "greeting": "Dear colleague,", "patient": "41",
    "visit_time": "1 May 2026, 10:00", "reason": "The right ear was cleared.", "signed_by": "Ann Example",
    "parts": [{"heading": "Plan", "text": "Seen again in six months."}], "state": "Signed.",
    "origin": "From dictation.",
    "practice": {"name": "A practice", "address": ["1 Road"], "phone": "0"},
}  # fmt: skip
_ASKED = (
    "{{ reason }}", "{{ reason * 10**9 }}", "{{ 9**9**9 }}", "{{ 'x' * 9**9 }}", "{{ ''.__class__.__mro__ }}",
    "{{ reason.format }}", "{{ '{0.__class__}'.format(reason) }}",
    "{% for a in reason %}{% for b in reason %}x{% endfor %}{% endfor %}",
    "{{ '%999999999d' % 1 }}", "{{ ('x' * 10000) | list | length }}", "{{ reason|center(999999999) }}",
    "{% include 'x' %}",
    "{%p for part in parts %}", "{%p endfor %}", "{{ part.text }}", "{%p if", "{{", "}}", "{#", "{{ self }}",
    "{{ practice }}",
    "{% macro a() %}{{ a() }}{% endmacro %}{{ a() }}",
    "{{ reason|replace('', reason * 99)|replace('', reason * 99) }}",
)  # fmt: skip


def _template(content: bytes, lines: list[str]) -> bytes:
    """A template whose last paragraph says what is given."""
    whole = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(whole, "w") as new:
        for entry in old.infolist():
            held = old.read(entry)
            if entry.filename == "word/document.xml":
                said = "".join(f"<w:p><w:r><w:t>{line}</w:t></w:r></w:p>" for line in lines)
                held = held.replace(b"<w:sectPr", said.encode("utf-8", "replace") + b"<w:sectPr", 1)
            new.writestr(entry, held)
    return whole.getvalue()


def _render(place: Path) -> None:
    docx.render(place, _VALUES, word="DRAFT", foot="made by Earside")


def _bundle() -> Any:
    visit = _reader().read(Transcript.from_text(TEXT))[0]
    at = "2026-05-01T10:00:00.000Z"
    stored = StoredVisit(12, "a.wav", 1, 1, at, "draft", 1, 1, visit, at, "metadata", "Ann Example")
    return bundle.document(stored, [Entry(1, 12, "read", "earside", at, "read from the recording")])


# --- what Earside itself left on the disk, and what a disk made of it


def _ledger(given: str, folder: Path) -> None:
    (folder / FOLDER).mkdir(exist_ok=True)
    (folder / FOLDER / "seen.jsonl").write_text(given)
    with Ledger(folder) as ledger:
        assert ledger.seen("nowhere") is None


def _left(given: tuple[bytes, bytes, bytes], folder: Path) -> None:
    for ending, content in zip(("wav", "jsonl", "heard"), given, strict=True):
        (folder / f"a.{ending}").write_bytes(content)
    journals.unfinished(folder)
    remembered(folder / "a.heard", 60.0)


_STARTED = {"what": "started", "clock": "2026-05-01T10:00:00.000Z", "who": "Ann Example"}
_NOTES = [_STARTED, {"what": "paused", "at": 3.0, "clock": "2026-05-01T10:00:03Z"}, {"what": "lost",
    "seconds": 2},
          {"what": "closed", "clock": "2026-05-01T10:01:00Z"}]  # fmt: skip
_UTTERED = {
    "start": 0.0,
    "end": 2.0,
    "text": "Right ear.",
    "words": [{"chars": [0, 5], "seconds": [0, 1], "probability": 1}],
}


# --- the desk


class Stand:
    """A desk with a draft and a signed visit, at which a clinician works."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with Store(folder) as store:
            for name, role in (("Ann Example", "clinician"), ("Ben Sample", "assistant")):
                store.set_person(name, role)  # type: ignore[arg-type]
            for n in range(3):
                transcript = Transcript.from_text(f"{TEXT} Again {n}.")
                made = _reader().read(transcript)
                store.keep(Recording(f"{n}" * 64, f"{n}.wav", 1, "sound"), transcript, made)
            store.sign(2, "Ann Example", revision=1, reason="as it is")
        app = application(folder, key=KEY, hosts=(HOST,), parts=scripted_parts(_reader))
        app.state.bench._rereader = Rereader(_reader())
        self.client = TestClient(app, base_url=f"http://{HOST}", follow_redirects=False)
        self.client.headers["origin"] = f"http://{HOST}"
        self.client.get("/", params={"key": KEY})
        assert self.client.post("/people/now", data={"name": "Ann Example"}).status_code == 303

    def holds(self) -> None:
        """The history holds."""
        with Store(self.folder) as store:
            assert store.verify().faults == ()


_stands: list[Stand] = []


def stand(folder: Path) -> Stand:
    """The stand of this process; in the folder of whoever asks first."""
    if not _stands:
        _stands.append(Stand(folder / "stand"))
    return _stands[0]


_PAGES = (
    "/", "/recordings", "/listen", "/recall", "/recall.csv", "/recall.ics", "/register", "/register.csv",
    "/register/{}.svg", "/learning", "/people", "/patient", "/visits/{}", "/visits/{}/words",
    "/visits/{}/sound",
    "/visits/{}/history", "/visits/{}/history/{}", "/visits/{}/papers/{}", "/static/{}", "/{}",
)  # fmt: skip
_FORMS = (
    *(f"/visits/{{}}/{act}" for act in ("sign", "amend", "accept", "correct", "remove", "add", "swap",
    "decide", "words",
      "again", "split", "merge", "seen-by", "undo", "redo", "{}")),
    "/listen/finish", "/recall/{}", "/learning", "/people",
)  # fmt: skip
_FIELDS = ("path", "value", "doubt", "words", "notice", "what", "amount", "number", "decision", "reason",
    "text", "at", "clinician",
           "when", "revision", "id", "name", "role", "until", "from", "to", "patient", "q", "words", "since",
           "finding", "show",
           "after", "reference", "left", "status", "limit")  # fmt: skip
_SAID = ("ears[0].side", "ears[0].removed_mm[0]", "ears[0].before.wax[0].colour[0]", "ears[0].after.drum[0]",
    "left", "16", "1",
         "dull", "ears[0].removed_mm=", "12-18", "0-4", "2026-05-01", "done", "postponed", "41", "keep",
         "clinician", "0")  # fmt: skip
_word = st.one_of(hostile.text, st.sampled_from(_SAID))
_asked = st.tuples(
    st.sampled_from([("GET", p) for p in _PAGES] + [("POST", p) for p in _FORMS] * 2),
    st.lists(st.one_of(st.sampled_from(("1", "2", "3", "4")), _word), min_size=2, max_size=2),
    st.dictionaries(st.sampled_from(_FIELDS), _word, max_size=6),
    st.integers(0, 30),
)


def _ask(given: Any, folder: Path) -> None:
    """One request; the revision is at times the one that stands."""
    (method, address), parts, fields, revision = given
    desk = stand(folder)
    from urllib.parse import quote  # noqa: PLC0415

    path = address.format(*(quote(part, safe="") for part in parts))
    if method == "POST":
        if revision > 5 and parts[0] in ("1", "3"):
            with Store(desk.folder) as store:
                fields = fields | {"revision": str(store.visit(int(parts[0])).revision)}
        answer = desk.client.post(path, data=fields)
    else:
        answer = desk.client.get(path, params=fields)
    assert answer.status_code < 500, (answer.status_code, answer.text[-400:])
    assert "Traceback" not in answer.text
    assert "<script>alert" not in answer.text
    assert "onerror=alert(1)>" not in answer.text.replace("&gt;", "")
    if method == "POST":
        desk.holds()


_message = st.one_of(
    hostile.text,
    st.binary(max_size=64),
    st.builds(
        lambda do, more: json.dumps({"do": do, **more}),
        st.sampled_from(("begin", "go on", "pause", "resume", "next", "safe", "x")),
        st.dictionaries(st.sampled_from(("bytes", "id", "do")), hostile._LEAVES, max_size=2),
    ),
    st.builds(
        lambda at, sound: struct.pack("<Q", at) + sound, st.integers(0, 2**64 - 1), st.binary(max_size=400)
    ),
)


def _talk(given: list[str | bytes], folder: Path) -> None:
    """One connection of a page that dictates; every message gets an answer or none, and the line stays open."""
    desk = stand(folder)
    try:
        with desk.client.websocket_connect(f"ws://{HOST}/listen/sound") as line:
            for message in given:
                if isinstance(message, bytes):
                    line.send_bytes(message)
                else:
                    line.send_text(message)
            line.send_text("what is this")
            told = line.receive_json()
            while told.get(
                "what"
            ) != "the page said what the desk does not understand" and "understand" not in told.get(
                "what", ""
            ):
                told = line.receive_json()
    except WebSocketDisconnect as end:
        raise AssertionError("the line was closed") from end
    finally:
        desk.client.app.state.dictations.leave()  # type: ignore[attr-defined]


_commands = st.tuples(
    st.sampled_from((
        ("show", "{}"), ("show", "{}", "--paths"), ("list", "--patient", "{}"), ("list", "--finding", "{}"),
        ("list", "--limit", "{}"),
        ("search", "{}"), ("search", "{}", "--json"), ("correct", "1", "{}", "{}", "--by", "Ann Example"),
        ("history", "{}"),
        ("correct", "1", "{}", "{}", "--add", "--by", "{}"), ("correct", "1", "{}", "--remove", "--by",
        "Ann Example"),
        ("sign", "{}", "--by", "{}"), ("amend", "2", "--reason", "{}", "--by", "{}"), ("people", "{}",
        "--role", "assistant"),
        ("recall", "1", "--postpone", "{}", "--by", "{}"), ("patient", "{}"), ("bundle", "{}"),
        ("vocabulary", "{}"), ("register", "--from", "{}"),
        ("evaluate", "{}"), ("explain", "{}"), ("extract", "--plain", "{}"), ("transcribe", "{}"), ("import",
        "--plan", "{}"),
        ("export", "visits", "--patient", "{}"),
    )),
    st.lists(_word, min_size=3, max_size=3),
)  # fmt: skip


def _call(given: Any, folder: Path) -> None:
    """One command at the terminal: a known exit code, a line, no traceback, nothing that drives the terminal."""
    command, words = given
    # An argument ends at a NUL (execve(2)): none can hold one.
    left = [word.replace("\0", "") for word in words]
    desk = stand(folder)
    arguments = [left.pop(0) if part == "{}" else part for part in command]
    told = CliRunner().invoke(
        cli, arguments, prog_name="earside", env={"EARSIDE_DATA": str(desk.folder), "COLUMNS": "100"}
    )
    assert told.exit_code in (0, 1, 2), (arguments, told.exit_code, told.exception)
    assert told.exception is None or isinstance(told.exception, SystemExit), (arguments, told.exception)
    assert "did not expect" not in told.output, (arguments, told.output)
    shown = told.output
    assert "\x1b]" not in shown, arguments
    assert "\x9b" not in shown, arguments
    assert "\x1b[2J" not in shown, arguments


DOORS = {
    door.name: door
    for door in (
        Door("recording", hostile.damaged(_recordings()), _file("a.bin", read)),
        Door("text", st.one_of(hostile.text, hostile.damaged([TEXT.encode()])), _file("a.txt", _read_text)),
        Door("transcript", hostile.changed(_transcript()), _file("a.json", _read_text)),
        Door("gold", _yaml(_GOLD), _file("a.yaml", lambda place: load_gold([place]))),
        Door("vocabulary", _yaml(_OWN), _file("own.yaml", own_words.check)),
        Door(
            "practice",
            _yaml(_PRACTICE),
            _file("practice.yaml", lambda place: practice.practice(place.parent)),
        ),
        Door(
            "list",
            st.one_of(_cells, hostile.damaged([_LIST.encode()])),
            _file("recordings.csv", lambda place: sidecar.read(place, ["Ann Example"])),
        ),
        Door(
            "template",
            st.one_of(
                st.builds(
                    _template,
                    st.just(docx.default_template()),
                    st.lists(st.sampled_from(_ASKED), min_size=1, max_size=3),
                ),
                hostile.damaged([docx.default_template()]),
            ),
            _file("letter.docx", _render),
        ),
        Door("bundle", st.deferred(lambda: hostile.changed(_bundle())), _file("b.json", unbundle.read)),
        Door(
            "ledger",
            hostile.changed({"path": "a", "bytes": 1, "mtime_ns": 2, "sha256": "x", "speed": 2}),
            _ledger,
        ),
        Door(
            "journal",
            st.tuples(
                hostile.damaged(_recordings()[:1]),
                st.lists(st.sampled_from(_NOTES).flatmap(hostile.changed), max_size=3)
                .map("\n".join)
                .map(str.encode),
                st.lists(hostile.changed(_UTTERED), max_size=3).map("\n".join).map(str.encode),
            ),
            _left,
        ),
        Door("http", _asked, _ask),
        Door("websocket", st.lists(_message, max_size=6), _talk),
        Door("command", _commands, _call),
    )
}
