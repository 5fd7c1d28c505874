"""Checking from the command line: put right, sign, amend, look back, learn."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from desk.cli import cli
from extract.reader import Reader
from shared.store import Store
from shared.vocabulary import Vocabulary, load

Earside = Callable[..., Result]
SAID = "Right ear: hard brown wax removed with a curette, eighteen millimetres. Drum intact. No bleeding. Consented."
BY = ("--by", "Ann Example")


_USUAL: list[Reader] = []


def _reader(vocabulary: Vocabulary | None = None) -> Reader:
    """Making the usual reader takes a second: once is enough."""
    if vocabulary not in (None, load()):
        return Reader(vocabulary)
    if not _USUAL:
        _USUAL.append(Reader(vocabulary))
    return _USUAL[0]


@pytest.fixture
def earside(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Earside:
    """The real reader; a data folder of the test's own, with one visit and a clinician."""
    monkeypatch.setenv("EARSIDE_DATA", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("extract.reader.Reader", _reader)

    def call(*arguments: str) -> Result:
        return CliRunner().invoke(cli, arguments, prog_name="earside")

    Path("note.txt").write_text(SAID)
    assert call("extract", "note.txt").exit_code == 0
    assert call("people", "Ann Example", "--role", "clinician").exit_code == 0
    return call


def test_from_draft_to_amended(earside: Earside) -> None:
    paths = earside("show", "1", "--paths").stdout.splitlines()
    assert "ears[0].removed_mm[0] = 18" in paths
    done = earside("correct", "1", "ears[0].removed_mm[0]", "1.6 cm", *BY)
    assert done.stderr == "Visit 1: corrected right ear, length: 18 mm → 16 mm\n"
    assert earside("correct", "1", "ears[0].before.skin", "dry?", "--add", *BY).exit_code == 0
    assert earside("correct", "1", "ears[0].before.skin[0]", "--remove", *BY).exit_code == 0
    assert "took back: took out" in earside("correct", "1", "--undo", *BY).stderr
    assert "did again: took out" in earside("correct", "1", "--redo", *BY).stderr
    assert "accepted the whole record" in earside("correct", "1", "--accept", *BY).stderr
    assert earside("sign", "1", *BY).stderr == "Visit 1: signed by Ann Example, clinician\n"
    shown = earside("show", "1").stdout
    assert "signed by Ann Example, clinician, 20" in shown
    assert "Check first" not in shown or "To decide" not in shown
    assert earside("amend", "1", "--reason", "wrong unit", *BY).exit_code == 0
    assert earside("correct", "1", "ears[0].removed_mm[0]", "18", *BY).exit_code == 0
    assert "as amended" in earside("sign", "1", *BY).stderr
    kinds = [json.loads(line)["kind"] for line in earside("history", "1", "--json").stdout.splitlines()]
    assert kinds == "read correct add remove undo redo accept sign amend correct sign".split()  # noqa: SIM905
    told = earside("history", "1", "--signed").stdout
    assert "opened to be amended Reason: wrong unit" in told
    assert told.index("16 mm") < told.rindex("18 mm")
    assert "hold. The last hash is " in earside("verify").stdout
    waiting = earside("list", "--waiting")
    assert (waiting.stdout, waiting.stderr) == ("", "No such visit.\n")


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (
            ("correct", "1", "ears[0].drum", "x", *BY),
            "the record has no 'drum' here. It can be: side, before",
        ),
        (("correct", "1", "ears[0].before.wax[0].colour[0]", "plaid", *BY), "It takes: white, grey, beige"),
        (("correct", "1", "ears[0].removed_mm[0]", *BY), "VALUE: what to correct is missing"),
        (("correct", "1", "--remove", *BY), "PATH: what to take out is missing"),
        (("correct", "1", "--undo", *BY), "visit 1: there is nothing to undo"),
        (("correct", "7", "--accept", *BY), "visit 7: there is no such visit"),
        (("sign", "9" * 24, *BY), f"visit {'9' * 24}: there is no such visit"),  # SQLite holds 64 bits
        (("sign", "1", "--by", "Nobody"), "nobody called 'Nobody' is known here. Known are: Ann Example"),
        (("amend", "1", "--reason", "x", *BY), "is not signed, so it can simply be corrected"),
        (("people", "Rui", "--left"), "nobody called 'Rui' is known here"),
        (("learn", "1"), "there is no number 1"),
    ],
)
def test_refusals_are_one_line_and_change_nothing(earside: Earside, call: tuple[str, ...], told: str) -> None:
    with Store(Path(os.environ["EARSIDE_DATA"])) as store:
        before = store.verify()
        done = earside(*call)
        assert told in done.stderr
        assert (len(done.stderr.splitlines()), done.exit_code) == (1, 2)
        assert store.verify() == before


def test_what_must_be_decided_holds_up_signing(earside: Earside) -> None:
    Path("b.txt").write_text("Hard wax. Microsuction. Drum intact. No bleeding. Consent given.")
    assert earside("extract", "b.txt").exit_code == 0
    refused = earside("sign", "2", *BY)
    assert refused.exit_code == 2
    assert "to decide before signing" in refused.stderr
    assert earside("sign", "2", "--reason", "left by mistake", *BY).exit_code == 0
    assert "with things undecided: left by mistake" in earside("show", "2").stdout


def test_who_it_is_can_be_set_once(earside: Earside, monkeypatch: pytest.MonkeyPatch) -> None:
    assert earside("sign", "1").exit_code == 2
    monkeypatch.setenv("EARSIDE_BY", "ann example")
    assert earside("sign", "1").exit_code == 0


def test_verify_names_what_does_not_hold(earside: Earside) -> None:
    with Store(Path(os.environ["EARSIDE_DATA"])) as store:
        store._db.execute("UPDATE visits SET record = replace(record, '18', '81')")
        store._db.conn.commit()
    found = earside("verify")
    assert found.exit_code == 1
    assert found.stderr.splitlines()[0] == "visit 1: it is not what its history says"


def test_learning(earside: Earside) -> None:
    for n in (2, 3):
        Path(f"{n}.txt").write_text(f"Left ear: wax is bung mastic, number {n}. Removed with a curette.")
        assert earside("extract", f"{n}.txt").exit_code == 0
    assert earside("learn").stderr == "Nothing was put right the same way twice.\n"
    with Store(Path(os.environ["EARSIDE_DATA"])) as store:
        from desk import review  # noqa: PLC0415

        for n in (2, 3):
            stored = store.visit(n)
            words = store.transcript(stored.transcript)
            at = words.text.index("bung mastic")
            made = review.add(stored.visit, "ears[0].before.wax", "whole", "Ann Example").visit
            change = review.add(made, "ears[0].before.wax[0].consistency", "sticky", "Ann Example",
                                words=(at, at + 11), transcript=words)  # fmt: skip
            store.change(n, change, "Ann Example", revision=stored.revision)
    told = earside("learn").stdout
    assert "1. “bung mastic” as consistency: sticky (put right in 2 visits)" in told
    assert "visit 3, draft: + left ear before wax consistency: sticky" in told
    assert earside("learn", "1").exit_code == 0
    assert "bung mastic" in earside("vocabulary").stdout


def test_a_recording_that_cannot_be_read_is_noted(earside: Earside, tmp_path: Path) -> None:
    Path("broken.mp3").write_bytes(b"\xff\xfbnothing")
    assert earside("extract", "broken.mp3").exit_code == 2
    with Store(Path(os.environ["EARSIDE_DATA"])) as store:
        (row,) = store.recordings("failed")
        assert (row.name, row.tries) == ("broken.mp3", 1)


def test_with_accounts_a_name_is_proved_by_its_password(earside: Earside) -> None:
    def typed(line: str, *arguments: str) -> Result:
        return CliRunner().invoke(cli, arguments, input=f"{line}\n", prog_name="earside")

    assert "Nobody has a password: names are taken at their word." in earside("people").stderr
    given = typed("warm olive spoon", "people", "Ben Sample", "--role", "assistant", "--password")
    assert "the first account must be a clinician's" in given.stderr
    given = typed("warm olive spoon", "people", "Ann Example", "--password")
    assert given.stderr.splitlines() == [
        "Ann Example has a password.",
        "From now on everybody signs in at the desk: give the others passwords too.",
    ]
    assert earside("people").stdout.splitlines() == [
        "Ann Example, clinician, with a password",
        "Ben Sample, assistant",
    ]
    for line, name in (("", "Ann Example"), ("warm olive fork", "Ann Example"), ("x", "Ben Sample")):
        for command in (("sign", "1"), ("amend", "1", "--reason", "x"), ("correct", "1", "--accept")):
            refused = typed(line, *command, "--by", name)
            assert refused.exit_code == 2, refused.output
    with Store(Path(os.environ["EARSIDE_DATA"])) as store:
        assert store.visit(1).status == "draft"
        store._execute("UPDATE accounts SET wrong = 0")
        store._db.commit()
    signed = typed("warm olive spoon", "sign", "1", *BY)
    assert "Visit 1: signed by Ann Example, clinician" in signed.stderr
    assert "names are taken at their word again" in earside("people", "Ann Example", "--no-password").stderr
    assert earside("verify").exit_code == 0
