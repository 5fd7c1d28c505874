"""Patients' rights from the command line: agreement, the practice's rules, all that is held, erasing."""

from __future__ import annotations

import io
import json
import os
import wave
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from desk.cli import cli
from shared.record import Ear, Extent, Value, Visit
from shared.store import Recording, Store
from shared.transcript import Transcript, Word

Earside = Callable[..., Result]
ANN = ("--by", "Ann Example")
FIRST, SECOND = "Patient B52. Right ear clear.", "Patient 4711. Left ear dry."


@pytest.fixture
def earside(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Earside:
    """A store with a recording of two patients, a tone a patient; ten characters are a second."""
    monkeypatch.setenv("EARSIDE_DATA", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    text = f"{FIRST} {SECOND}"
    tones = [np.full(len(FIRST) * 1600 + 800, 1000), np.full(len(SECOND) * 1600 + 800, 9000)]
    with wave.open("both.wav", "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        file.writeframes(np.concatenate(tones).astype("<i2").tobytes())

    def visit(part: str, reference: str, ear: str) -> Visit:
        start = text.index(part)
        at = text.index(reference)
        extent = Extent(
            chars=(start, start + len(part)), seconds=(start / 10, (start + len(part)) / 10), confidence=1
        )
        named = Value(value=reference, heard=reference, chars=(at, at + len(reference)))
        side = Value(value=ear, heard="ear", chars=(text.index("ear", start), text.index("ear", start) + 3))
        return Visit(patient_reference=named, ears=[Ear(side=side)], extent=extent)

    with Store(tmp_path / "data") as store:
        for name, role in (("Ann Example", "clinician"), ("Ben Sample", "assistant")):
            store.set_person(name, role)  # type: ignore[arg-type]
        words = tuple(Word(chars=(n, n + 1), seconds=(n / 10, n / 10 + 0.1)) for n in range(len(text)))
        store.keep(
            Recording.of(Path("both.wav"), "sound"),
            Transcript(text=text, words=words, duration=5.7),
            [visit(FIRST, "B52", "right"), visit(SECOND, "4711", "left")],
            keep_sound=True,
        )

    def call(*arguments: str) -> Result:
        return CliRunner().invoke(cli, arguments, prog_name="earside")

    return call


def store() -> Store:
    return Store(Path(os.environ["EARSIDE_DATA"]))


def test_the_rules_are_shown_set_and_carried_out(earside: Earside) -> None:
    assert earside("policy").stdout.splitlines() == [
        "Recordings are kept after signing; never before every visit in them is signed.",
        "The desk locks after 10 minutes without anybody at it, once somebody has a password.",
        "There is no standing notice.",
    ]
    done = earside("policy", "--recordings", "30", "--lock-after", "5", "--notice", "At the door, v2", *ANN)
    assert done.stdout.splitlines()[0].startswith("Recordings are deleted 30 days after signing;")
    assert earside("policy", "--apply").stderr == "0 recordings deleted.\n"
    assert earside("policy", "--recordings", "at-signing", *ANN).exit_code == 0
    for visit in ("1", "2"):
        assert earside("sign", visit, *ANN, "--reason", "all seen").exit_code == 0
    with store() as opened:
        assert opened.sound(1) is None
    assert earside("verify").exit_code == 0


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (("policy", "--recordings", "never", *ANN), "It can be: keep, at-signing, or days"),
        (("policy", "--recordings", "0", *ANN), "It can be: keep, at-signing, or days"),
        (("policy", "--lock-after", "0", *ANN), "it can be 1 to 240 minutes"),
        (("policy", "--recordings", "keep"), "it needs the name of who does it"),
        (("policy", "--recordings", "30", "--by", "Ben Sample"), "A clinician changes it"),
        (("agreement", "1", "notice", *ANN), "the practice has named no standing notice"),
        (("agreement", "9", "agreed", *ANN), "there is no such visit"),
        (("held", "nobody", "--to", "x.zip"), "nothing is held under this reference"),
        (("erase", "B52", "--everything", "--reason", "x", *ANN), "nobody is here to confirm it"),
        (("erase", "B52", "--recordings", "--reason", "x", "--yes", *ANN), "nobody has signed (visit 1, 2)"),
        (("erase", "B52", "--everything", "--reason", " ", "--yes", *ANN), "it needs a reason"),
        (
            ("erase", "B52", "--everything", "--reason", "x", "--yes", "--by", "Ben Sample"),
            "only a clinician may erase",
        ),
    ],
)
def test_refusals_are_plain_and_change_nothing(earside: Earside, call: tuple[str, ...], told: str) -> None:
    with store() as opened:
        before = opened.verify()
        done = earside(*call)
        assert (told in done.stderr, done.exit_code) == (True, 2), done.output
        assert opened.verify() == before


def test_agreement_is_noted_and_shown(earside: Earside) -> None:
    assert "not asked" in earside("agreement", "1").stdout
    done = earside("agreement", "1", "agreed", "--by", "Ben Sample")
    assert done.stdout.startswith("Visit 1: the patient agreed to being recorded, Ben Sample, 20")
    assert "the patient agreed to being recorded" in earside("history", "1").stdout
    assert "agree" not in earside("show", "1").stdout


@pytest.mark.parametrize("to", ["all.zip", "all"])
def test_all_that_is_held_of_one_patient_and_nothing_of_another(earside: Earside, to: str) -> None:
    earside("agreement", "1", "agreed", *ANN)
    earside("sign", "1", *ANN, "--reason", "all seen")
    done = earside("held", "b 52", "--to", to)
    assert (done.exit_code, "1 visit" in done.stderr) == (0, True), done.output
    if to.endswith(".zip"):
        with zipfile.ZipFile(to) as file:
            files = {name: file.read(name) for name in file.namelist()}
    else:
        files = {str(p.relative_to(to)): p.read_bytes() for p in Path(to).rglob("*") if p.is_file()}
    assert {name.partition("/")[0] for name in files} == {"README.txt", "visit-1"}
    papers = {name for name in files if "/papers/" in name}
    assert len(papers) >= 5
    assert set(files) - papers == {"README.txt"} | {
        f"visit-1/{name}" for name in ("record.json", "history.json", "words.txt", "fhir.json", "sound-1.wav")
    }
    record = json.loads(files["visit-1/record.json"])
    assert record["agreement_to_recording"]["what"] == "agreed"
    assert record["record"]["patient_reference"]["value"] == "B52"
    history = json.loads(files["visit-1/history.json"])
    assert [e["kind"] for e in history["entries"]] == ["read", "agreement", "sign"]
    assert history["signatures"][0]["who"] == "Ann Example"
    assert files["visit-1/words.txt"].decode() == f"{FIRST}\n"
    with wave.open(io.BytesIO(files["visit-1/sound-1.wav"])) as file:
        sound = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
    assert len(sound) >= len(FIRST) * 1600
    assert (
        np.mean(sound > 5000) < 0.2
    )  # the other patient's tone: at most the half second after the last word
    assert not any(b"4711" in content for content in files.values())
    assert "is there already" in earside("held", "B52", "--to", to).stderr


def test_erasing_is_confirmed_done_and_named(earside: Earside) -> None:
    for visit in ("1", "2"):
        earside("sign", visit, *ANN, "--reason", "all seen")
    done = earside("erase", "B52", "--everything", "--reason", "asked in writing", "--yes", *ANN)
    assert done.exit_code == 0, done.output
    assert "This erases everything of 1 visit (1) for good." in done.stderr
    assert "Visit 2, of others in the same recordings, will lose the sound." in done.stderr
    assert "Not erased: " in done.stderr
    shown = earside("show", "1")
    assert (shown.exit_code, "everything of it was erased on" in shown.stderr) == (2, True)
    verified = earside("verify")
    assert verified.exit_code == 0
    assert "by Ann Example: asked in writing" in verified.stdout
    assert "4711" in earside("list").stdout
    assert "B52" not in earside("list").stdout
