"""`earside protect` and the commands after it: one passphrase, clear refusals, nothing plain left by any of them."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from conftest import Earside
from filled import PASSPHRASE, fill, left_over, told

from desk.cli import cli
from dictate.journal import Journal
from shared.protecting import unlocking

OTHER = "seven slow badgers sing"


@pytest.fixture
def data(scripted: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    unlocking.forget()
    monkeypatch.setattr("desk.asking._somebody", lambda: False)
    fill(tmp_path / "data", tmp_path / "source")
    yield tmp_path / "data"
    unlocking.forget()


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    path = tmp_path / "secret"
    path.write_text(PASSPHRASE + "\n")
    path.chmod(0o600)
    return path


def typed(given: str, *arguments: str) -> Result:
    """Call a command with what somebody types."""
    return CliRunner().invoke(cli, arguments, input=given, prog_name="earside")


def recovery_key(result: Result) -> str:
    (found,) = re.findall(r"^ +((?:[A-Z2-7]{4}-){7}[A-Z2-7]{4})$", result.stdout, re.MULTILINE)
    return str(found)


def test_it_asks_twice_and_tells_the_recovery_key_and_what_it_cannot_do(data: Path) -> None:
    differing = typed(f"{PASSPHRASE}\n{OTHER}\n", "protect")
    assert differing.exit_code == 1
    assert not (data / "earside.key").exists()
    short = typed("too short\ntoo short\n", "protect")
    assert (short.exit_code, "at least 12 characters" in short.stderr) == (2, True)
    done = typed(f"{PASSPHRASE}\n{PASSPHRASE}\n", "protect")
    assert done.exit_code == 0, done.stderr
    assert recovery_key(done)
    for said in ("on an SSD", "Full-disk encryption", "keep it locked away", "nor we"):
        assert said in done.stdout + done.stderr
    assert PASSPHRASE not in done.stdout + done.stderr
    assert told(data) == []
    again = typed("", "protect")
    assert (again.exit_code, "protected already" in again.stderr) == (0, True)


def test_a_dictation_under_way_holds_it_up(data: Path, secret: Path, earside: Earside) -> None:
    journal = Journal.begin(data / "listening", room=0)
    journal.write(b"\0\1" * 1600)
    journal.flush()
    held_up = earside("protect", "--passphrase-file", str(secret))
    journal.close()
    assert (held_up.exit_code, "is listening at present" in held_up.stderr) == (2, True)


def test_every_command_works_and_leaves_nothing_plain(
    data: Path, secret: Path, earside: Earside, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    secret.chmod(0o644)
    assert "can be read by others" in earside("protect", "--passphrase-file", str(secret)).stderr
    unlocking.forget()
    refused = earside("list")
    assert (refused.exit_code, "nobody is here to give its passphrase" in refused.stderr) == (1, True)
    monkeypatch.setenv("EARSIDE_PASSPHRASE_FILE", str(secret))
    sound = tmp_path / "good treacle.wav"
    sound.write_bytes(b"RIFF" + bytes(2000))
    for arguments in (
        ("list",), ("show", "1"), ("search", "treacle"), ("verify",), ("history", "1"), ("recall",),
        ("extract", str(sound)), ("sign", "2", "--by", "Ann Example"), 
        ("export", "visits", "--to", str(tmp_path / "v.csv")),
        ("patient", "zanzibar"), ("register",), ("listen", "--unfinished"), ("people",),
        ("sign", "4", "--by", "Ann Example", "--reason", "seen"),
    ):  # fmt: skip
        unlocking.forget()  # as each is a program of its own
        done = earside(*arguments)
        assert done.exit_code == 0, (arguments, done.stderr)
        assert told(data) == [], arguments
    assert (tmp_path / "v.csv").read_text(encoding="utf-8-sig").count("\n") == 5


def test_a_wrong_passphrase_is_said_and_another_can_be_tried(
    data: Path, secret: Path, earside: Earside, monkeypatch: pytest.MonkeyPatch
) -> None:
    earside("protect", "--passphrase-file", str(secret))
    monkeypatch.setattr("desk.asking._somebody", lambda: True)
    unlocking.forget()
    assert typed(f"wrong passphrase\n{PASSPHRASE}\n", "list").exit_code == 0
    unlocking.forget()
    wrong = typed("wrong one\nwrong two\nwrong three\n", "list")
    assert wrong.exit_code == 2
    assert "that is not the passphrase of this store" in wrong.stderr
    secret.write_text("not this one\n")
    monkeypatch.setenv("EARSIDE_PASSPHRASE_FILE", str(secret))
    unlocking.forget()
    assert "that is not the passphrase" in typed("", "list").stderr


def test_change_recover_and_a_new_recovery_key(data: Path, secret: Path, earside: Earside) -> None:
    refused = earside("protect", "--change")
    assert (refused.exit_code, "is not protected" in refused.stderr) == (2, True)
    first = recovery_key(earside("protect", "--passphrase-file", str(secret)))
    assert typed(f"{OTHER}\n{OTHER}\n", "protect", "--change").exit_code == 0
    unlocking.forget()
    assert "not the passphrase" in opened_with(PASSPHRASE, secret).stderr
    assert opened_with(OTHER, secret).exit_code == 0
    wrong = typed("ABCD\n", "protect", "--recover")
    assert (wrong.exit_code, "not the recovery key" in wrong.stderr) == (2, True)
    recovered = typed(f"{first.lower()}\n{PASSPHRASE}\n{PASSPHRASE}\n", "protect", "--recover")
    assert recovered.exit_code == 0, recovered.stderr
    second = recovery_key(recovered)
    assert second != first
    assert opened_with(PASSPHRASE, secret).exit_code == 0
    assert typed(f"{first}\n", "protect", "--recover").exit_code == 2
    renewed = earside("protect", "--new-recovery-key")
    third = recovery_key(renewed)
    assert typed(f"{second}\n", "protect", "--recover").exit_code == 2
    assert typed(f"{third}\n{OTHER}\n{OTHER}\n", "protect", "--recover").exit_code == 0
    assert opened_with(OTHER, secret).exit_code == 0


def opened_with(passphrase: str, secret: Path) -> Result:
    secret.write_text(passphrase + "\n")
    unlocking.forget()
    return CliRunner(env={"EARSIDE_PASSPHRASE_FILE": str(secret)}).invoke(cli, ["list"], prog_name="earside")


def test_as_a_program_without_a_terminal(data: Path, secret: Path) -> None:
    """The real program, without anybody at the keyboard."""
    run = [sys.executable, "-m", "desk.cli"]
    env = {**os.environ, "EARSIDE_DATA": str(data)}
    env.pop("EARSIDE_PASSPHRASE_FILE", None)
    unlocking.forget()
    how = {"capture_output": True, "text": True, "start_new_session": True, "stdin": subprocess.DEVNULL}
    made = subprocess.run([*run, "protect", "--passphrase-file", str(secret)], env=env, check=False, **how)  # type: ignore[call-overload]
    assert made.returncode == 0, made.stderr
    refused = subprocess.run([*run, "list"], env=env, check=False, **how)  # type: ignore[call-overload]
    assert (refused.returncode, refused.stderr.count("\n")) == (1, 1)
    assert "EARSIDE_PASSPHRASE_FILE" in refused.stderr
    opened = subprocess.run(
        [*run, "list", "--json"], env={**env, "EARSIDE_PASSPHRASE_FILE": str(secret)}, check=False, **how  # type: ignore[call-overload]
    )  # fmt: skip
    assert len([json.loads(line) for line in opened.stdout.splitlines()]) == 3
    assert told(data) == []


def test_a_left_over_dictation_is_finished(data: Path, secret: Path, earside: Earside) -> None:
    earside("protect", "--passphrase-file", str(secret))
    name = left_over(data)
    assert told(data) == []
    assert earside("listen", "--unfinished").stdout.count("\n") >= 2
    assert name
