"""`earside extract` and `earside transcribe`: what they take, what they print, and how they fail."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from shared.transcript import Transcript

Earside = Callable[..., Result]

HEARD = "right ear now, maybe hard, sixteen millimetres"  # by the scripted recogniser
NOTE = "right ear, sixteen millimetres"


@pytest.fixture
def files(tmp_path: Path) -> Path:
    (tmp_path / "good.wav").write_bytes(b"RIFF\0\0")
    (tmp_path / "silent.wav").write_bytes(b"RIFF\0\0\0")
    (tmp_path / "note.txt").write_text(NOTE)
    (tmp_path / "folder").mkdir()
    return tmp_path


def lines(output: str) -> list[dict[str, object]]:
    return [json.loads(line) for line in output.splitlines()]


def test_plain_prints_one_line_a_source_in_order(earside: Earside, files: Path) -> None:
    done = earside("extract", "--plain", "./note.txt", "good.wav", "silent.wav")
    ear = {"side": "right", "removed_mm": [16]}
    before = {"wax": [{"where": "whole", "consistency": ["hard?"]}]}
    assert lines(done.stdout) == [
        {"source": "./note.txt", "visits": [{"ears": [ear]}]},
        {"source": "good.wav", "visits": [{"ears": [ear | {"before": before}]}]},
        {"source": "silent.wav", "visits": []},
    ]
    assert done.stderr == "silent.wav: no speech found\n"
    assert done.exit_code == 0


def test_plain_and_full_keep_nothing(earside: Earside, files: Path) -> None:
    for form in ("--plain", "--full"):
        assert earside("extract", form, "note.txt").exit_code == 0
    assert not (files / "data").exists()


def test_full_has_the_words_behind_every_value(earside: Earside, files: Path) -> None:
    (line,) = lines(earside("extract", "--full", "good.wav").stdout)
    length = line["visits"][0]["ears"][0]["removed_mm"][0]  # type: ignore[index]
    start = HEARD.index("sixteen")
    assert length["heard"] == "sixteen millimetres"
    assert length["chars"] == [start, len(HEARD)]
    assert length["seconds"] == [65.0, 67.0]


def test_a_bad_source_gets_a_line_and_the_others_are_done(earside: Earside, files: Path) -> None:
    done = earside("extract", "--plain", "missing.wav", "note.txt", "folder", ".", "", "good.wav")
    assert [line["source"] for line in lines(done.stdout)] == ["note.txt", "good.wav"]
    assert done.stderr.splitlines() == [
        "missing.wav: there is no such file. Check its name.",
        "folder: is a folder. Name the files in it, e.g. folder/*",
        ".: is a folder. Name the files in it, e.g. ./*",
        "a file's name is empty. Name the file.",
    ]
    assert done.exit_code == 2


def test_what_is_no_dictation_is_passed_over_among_others(earside: Earside, files: Path) -> None:
    for name, content in (
        ("gold.yaml", "[]"),
        ("other.json", '{"a": 1}'),
        ("list.json", "[1]"),
        ("r.md", "ear"),
    ):
        (files / name).write_text(content)
    done = earside(
        "extract", "--plain", "gold.yaml", "good.wav", "list.json", "note.txt", "other.json", "r.md"
    )
    assert [line["source"] for line in lines(done.stdout)] == ["good.wav", "note.txt"]
    assert done.stderr == "Passed over, as no dictations: gold.yaml, list.json, other.json, r.md\n"
    assert done.exit_code == 0


def test_a_recording_and_its_words_make_one_visit(earside: Earside, files: Path) -> None:
    assert earside("transcribe", "--save", ".", "good.wav").exit_code == 0
    (files / "good.txt").write_text(NOTE)
    done = earside("extract", "--plain", "./good.txt", "good.wav", "good.wav.json", "note.txt")
    assert [line["source"] for line in lines(done.stdout)] == ["good.wav", "note.txt"]
    assert done.stderr == "Passed over, as their recordings are read: ./good.txt, good.wav.json\n"
    assert done.exit_code == 0
    for alone in ("good.txt", "good.wav.json"):
        assert len(lines(earside("extract", "--plain", alone, "note.txt").stdout)) == 2


def test_with_nothing_but_other_files_there_is_nothing_to_do(earside: Earside, files: Path) -> None:
    for name in ("gold.yaml", "r.md"):
        (files / name).write_text("[]")
    done = earside("extract", "--plain", "gold.yaml", "r.md")
    assert done.stdout == ""
    assert [line.split(":")[0] for line in done.stderr.splitlines()] == ["gold.yaml", "r.md"]
    assert done.exit_code == 2


def test_a_damaged_transcript_is_never_passed_over(earside: Earside, files: Path) -> None:
    earside("transcribe", "--save", ".", "good.wav")
    whole = (files / "good.wav.json").read_text()
    (files / "cut.json").write_text(whole[:-9])
    (files / "changed.json").write_text(whole.replace('"speech"', '"spoken"'))
    done = earside("extract", "--plain", "note.txt", "cut.json", "changed.json")
    assert [line.split(":")[0] for line in done.stderr.splitlines()] == ["cut.json", "changed.json"]
    assert done.exit_code == 2


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("empty.wav", b"", "the file is empty"),
        ("empty.txt", b"", "the file is empty"),
        ("blank.txt", b" \n\t\r\n", "has no words in it"),
        ("broken.mp3", b"plain words, but called sound", "not a recording that can be read"),
        ("latin.txt", "s\xe4ure".encode("latin-1"), "neither UTF-8 text nor a recording"),
        ("nul.txt", b"right\0ear", "neither UTF-8 text nor a recording"),
        ("late_nul.txt", b"right ear " * 10_000 + b"\0", "neither UTF-8 text nor a recording"),
        ("utf16.txt", "right ear".encode("utf-16"), "is UTF-16 text"),
        ("huge.txt", b"right ear " * 2_000_001, "larger than 20 MB of text"),
        ("other.json", b'{"visits": []}', "not a transcript that Earside wrote"),
        ("gold.yaml", b"- text: right ear", "is not a dictation"),
        ("README.md", b"right ear", "is not a dictation"),
        ("drum.PNG", b"\x89PNG\r\n", "is not a dictation"),
        ("list.json", b"[1, 2]", "not a transcript that Earside wrote"),
        ("half.json", b'{"text": "right', "not a transcript that Earside wrote"),
        ("deep.json", b'{"a":' * 100_000, "not a transcript that Earside wrote"),
    ],
)
def test_what_cannot_be_used(earside: Earside, tmp_path: Path, name: str, content: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(content)
    done = earside("extract", "--plain", name)
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith(f"{name}: ")
    assert says in done.stderr
    assert done.exit_code == 2


@pytest.mark.parametrize(
    "content", [b"\xef\xbb\xbf" + NOTE.encode(), NOTE.encode() + b"\r\n", NOTE.encode() + " 15 µm".encode()]
)
def test_text_of_any_usual_make(earside: Earside, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "note").write_bytes(content)
    (line,) = lines(earside("extract", "--plain", "note").stdout)
    assert line["visits"] == [{"ears": [{"side": "right", "removed_mm": [16]}]}]


def test_a_recording_under_an_odd_name_is_heard(earside: Earside, tmp_path: Path) -> None:
    (tmp_path / "good.dat").write_bytes(b"OggS\0\x02")
    (line,) = lines(earside("extract", "--plain", "good.dat").stdout)
    assert line["visits"]


def test_a_fault_of_our_own_is_one_line_without_dictated_words(
    earside: Earside, files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (files / "crash.txt").write_text("crash the reader")
    monkeypatch.delenv("EARSIDE_DEBUG", raising=False)
    done = earside("extract", "--plain", "crash.txt", "note.txt")
    assert done.stderr.splitlines() == [
        "crash.txt: something went wrong that Earside did not expect (ZeroDivisionError). "
        "Run again with EARSIDE_DEBUG=1 for details."
    ]
    assert len(lines(done.stdout)) == 1
    assert done.exit_code == 1


def test_extract_keeps_and_shows(earside: Earside, files: Path) -> None:
    done = earside("extract", "good.wav", "silent.wav")
    assert done.exit_code == 0
    assert "Visit 1: good.wav" in done.stdout
    assert "“sixteen millimetres”" in done.stdout
    assert "earside show 1" in done.stderr
    with sqlite3.connect(files / "data" / "earside.db") as db:
        assert db.execute("SELECT name, kind, status FROM recordings ORDER BY id").fetchall() == [
            ("good.wav", "sound", "read"),
            ("silent.wav", "sound", "no_speech"),
        ]


def test_the_data_folder_can_be_named(earside: Earside, files: Path) -> None:
    assert earside("extract", "note.txt", "--data", "here").exit_code == 0
    assert (files / "here" / "earside.db").exists()
    assert not (files / "data").exists()
    assert "note.txt" in earside("list", "--data", "here").stdout


def test_a_store_that_cannot_be_used_stops_before_the_work(earside: Earside, files: Path) -> None:
    (files / "data").write_text("in the way")
    done = earside("extract", "good.wav")
    assert (
        done.stderr == f"{files / 'data'}: is a file, not a folder. Choose another data folder with --data.\n"
    )
    assert done.exit_code == 1
    assert earside("extract", "--plain", "good.wav").exit_code == 0


def test_missing_parts_of_a_recording_are_told(earside: Earside, tmp_path: Path) -> None:
    (tmp_path / "good_damaged.wav").write_bytes(b"RIFF\0\0")
    done = earside("extract", "--plain", "good_damaged.wav")
    missing = "The recording is damaged: the last 2 seconds are missing. Add what was said there."
    assert done.stderr.splitlines() == [
        f"good_damaged.wav: {missing}",
        "good_damaged.wav: In 4 seconds of speech no word was recognised. Listen to the recording.",
    ]
    assert done.exit_code == 0
    (line,) = lines(earside("extract", "--full", "good_damaged.wav").stdout)
    told = [notice["message"] for notice in line["visits"][0]["notices"]]  # type: ignore[index]
    assert missing in told
    shown = earside("extract", "good_damaged.wav").stdout
    assert f"1.  {missing}" in shown
    assert "2.  In 4 seconds of speech no word was recognised." in shown


def test_transcribe_prints_the_words(earside: Earside, files: Path) -> None:
    done = earside("transcribe", "good.wav", "silent.wav")
    assert (done.stdout, done.exit_code) == (f"{HEARD}\n", 0)
    assert done.stderr == "silent.wav: no speech found\n"


def test_transcripts_saved_by_transcribe_are_taken_by_extract(earside: Earside, files: Path) -> None:
    assert earside("transcribe", "--save", "out", "good.wav").exit_code == 0
    saved = (files / "out" / "good.wav.json").read_text()
    assert [p.name for p in (files / "out").iterdir()] == ["good.wav.json"]
    assert saved == earside("transcribe", "--json", "good.wav").stdout
    assert Transcript.model_validate_json(saved).text == HEARD
    of_sound, of_transcript = lines(earside("extract", "--full", "good.wav", "out/good.wav.json").stdout)
    assert of_sound["visits"] == of_transcript["visits"]


def test_a_saved_transcript_is_never_overwritten(earside: Earside, files: Path) -> None:
    (files / "good.wav.json").write_text("mine")
    done = earside("transcribe", "--save", ".", "good.wav")
    assert "good.wav.json: is there already" in done.stderr
    assert done.exit_code == 2
    assert (files / "good.wav.json").read_text() == "mine"


def test_a_folder_that_cannot_take_transcripts(earside: Earside, files: Path) -> None:
    done = earside("transcribe", "--save", "note.txt/x", "good.wav")
    assert "cannot be written" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert done.exit_code == 1


def test_talk_of_other_things_makes_no_visit_and_says_so(earside: Earside, tmp_path: Path) -> None:
    (tmp_path / "chat.txt").write_text("nothing but football")
    for form in ("--plain", "--full"):
        done = earside("extract", form, "chat.txt")
        assert (lines(done.stdout), done.exit_code) == ([{"source": "chat.txt", "visits": []}], 0)
        assert done.stderr == "chat.txt: nothing of ear care was recognised in its words\n"
    assert earside("extract", "chat.txt").stdout == ""
    assert earside("search", "football").exit_code == 0


def test_an_output_that_is_full(files: Path) -> None:
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-m", "desk.cli", "transcribe", "note.txt"]
        done = subprocess.run(command, cwd=files, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert (
        done.stderr
        == "note.txt: No space left on device. Check the disk and who may use it, then try again.\n"
    )
    assert done.returncode == 1
