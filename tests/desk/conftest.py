"""A scripted reader and recogniser, so that these tests judge the desk and nothing behind it."""

from __future__ import annotations

import re
import sys
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from desk.cli import cli
from shared.errors import BadRecording
from shared.record import Before, Ear, Extent, Notice, Value, Visit, Wax
from shared.transcript import Transcript, Word
from shared.vocabulary import Vocabulary

HEARD = "right ear now, maybe hard, sixteen millimetres"


class ScriptedReader:
    """Recognises four phrases; makes one visit of any text."""

    def __init__(self, vocabulary: Vocabulary | None = None) -> None:
        self.vocabulary = vocabulary

    def read(self, transcript: Transcript) -> list[Visit]:
        text = transcript.text
        if "crash the reader" in text:
            raise ZeroDivisionError("Mrs Example has wax")
        if not text.strip() or "football" in text:
            return []

        def said(value: object, words: str, **more: Any) -> Value[Any]:
            chars = (text.index(words), text.index(words) + len(words))
            return Value(value=value, heard=words, chars=chars, seconds=transcript.seconds(*chars), **more)

        named = "right ear" in text
        ear = Ear(side=said("right", "right ear") if named else said("unstated", text.split()[0]))
        if "sixteen millimetres" in text:
            ear.removed_mm = [said(16, "sixteen millimetres")]
        if "maybe hard" in text:
            hard = said("hard", "maybe hard", certainty="possible")
            ear.before = Before(wax=[Wax(where=said("whole", "hard"), consistency=[hard])])
        unsaid = Notice(
            kind="side_unstated",
            weight=9,
            must_decide=True,
            message="No side was said.",
            guidance="common practice, no source",
        )
        extent = Extent(chars=(0, len(text)), confidence=1)
        return [Visit(ears=[ear], extent=extent, notices=[] if named else [unsaid])]


def scripted_transcribe(path: str, *, model: str = "base", progress: object = None) -> Transcript:
    """Hears what the file's name says: silence, a cut-off recording, or HEARD."""
    name = Path(path).name
    if "silent" in name:
        return Transcript(text="", source=path, duration=3.0, speech=0.0, model=model)
    if "good" not in name:
        raise BadRecording("not a recording that can be read", where=path, remedy="Record again.")
    words = tuple(
        Word(chars=m.span(), seconds=(60.0 + i, 61.0 + i), probability=0.9)
        for i, m in enumerate(re.finditer(r"\S+", HEARD))
    )
    damage = {"note": "the last 2 seconds are missing", "unheard_seconds": 4.2}
    settings = damage if "damaged" in name else {}
    return Transcript(text=HEARD, source=path, words=words, duration=70.0, model=model, settings=settings)


@pytest.fixture
def scripted(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The scripted reader and recogniser in place of the real ones, and a data folder of the test's own."""
    reader, hear = types.ModuleType("extract.reader"), types.ModuleType("dictate.hear")
    reader.Reader = ScriptedReader  # type: ignore[attr-defined]
    hear.transcribe = scripted_transcribe  # type: ignore[attr-defined]
    for module in (reader, hear):
        monkeypatch.setitem(sys.modules, module.__name__, module)
        package, name = module.__name__.split(".")
        monkeypatch.setattr(sys.modules.get(package) or __import__(package), name, module, raising=False)
    monkeypatch.setenv("EARSIDE_DATA", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)


Earside = Callable[..., Result]


@pytest.fixture
def earside(scripted: None) -> Earside:
    """Call a command in this process; its output and standard error stay apart."""

    def call(*arguments: str) -> Result:
        return CliRunner().invoke(cli, arguments, prog_name="earside")

    return call
