"""What a path given on the command line holds: written text, a transcript of ours, or sound."""

from __future__ import annotations

import codecs
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from shared.errors import BadInput, BadRecording, BadText
from shared.store.rows import Kind
from shared.transcript import Transcript

TEXT_LIMIT = 20_000_000
"""Bytes of written text: days of talk. More is a mistake, and would take minutes to read."""

SOUND_SUFFIXES = frozenset(
    """.3gp .aac .aif .aiff .amr .avi .flac .m4a .m4v .mka .mkv .mov .mp2 .mp3 .mp4 .mpeg .mpg .oga .ogg .ogv
    .opus .wav .webm .wma .wmv""".split()  # noqa: SIM905
)
"""Files that are taken for sound, whatever is in them."""

OTHER_SUFFIXES = frozenset(
    ".bmp .gif .jpeg .jpg .jsonl .md .png .py .svg .tif .tiff .yaml .yml".split()  # noqa: SIM905
)
"""Files that lie about beside dictations and never are one: pictures, settings, notes, results."""

Progress = Callable[[float, float], None]


class NotADictation(BadText):
    """A file of a sort that is never a dictation, rather than a damaged one."""


@dataclass(frozen=True)
class Reading:
    """A source's transcript, and what the source was."""

    path: Path
    kind: Kind
    transcript: Transcript

    @property
    def is_silent(self) -> bool:
        """Whether no word was found."""
        return not self.transcript.text.strip()


def read(source: str, *, model: str, progress: Progress | None = None) -> Reading:
    """The transcript of whatever `source` holds; sound is recognised with `model`.

    Raises BadInput (no such file, a folder, empty), NotADictation, BadText, BadRecording, WeightsError.
    """
    path = Path(source)
    _check(path, source)
    if path.suffix.lower() in OTHER_SUFFIXES:
        raise NotADictation("is not a dictation", where=source, remedy=_NAME_ONE)
    if path.suffix.lower() not in SOUND_SUFFIXES:
        text = _text(path, source)
        if text is not None:
            ours = _transcript(text, path, source)
            return (
                Reading(path, "transcript", ours) if ours else Reading(path, "text", _written(text, source))
            )
    return Reading(path, "sound", _heard(path, source, model, progress))


def written_out(paths: Sequence[str]) -> list[str]:
    """Of these paths, the texts and saved transcripts whose recording is among them too.

    `a.txt` and `a.opus.json` go with `a.opus`. To read both would make the same visit twice.
    """
    recordings = {Path(path) for path in paths if Path(path).suffix.lower() in SOUND_SUFFIXES}
    bare = {recording.with_suffix("") for recording in recordings}
    goes_with = {".txt": bare, ".json": recordings}
    written = [path for path in paths if Path(path).suffix.lower() in goes_with]
    return [p for p in written if Path(p).with_suffix("") in goes_with[Path(p).suffix.lower()]]


def _check(path: Path, source: str) -> None:
    if not source:
        raise BadInput("a file's name is empty", remedy="Name the file.")
    try:
        if path.is_dir():
            raise BadInput(
                "is a folder", where=source, remedy=f"Name the files in it, e.g. {source.rstrip('/')}/*"
            )
        if not path.exists():
            raise BadInput("there is no such file", where=source, remedy="Check its name.")
        if not path.is_file():
            raise BadInput("is not a file that can be kept", where=source, remedy="Save it as a file first.")
        with path.open("rb") as file:
            if not file.read(1):
                raise BadInput(
                    "the file is empty", where=source, remedy="Record again, or choose another file."
                )
    except (OSError, ValueError) as fault:
        reason = "may not be read" if isinstance(fault, PermissionError) else "cannot be read"
        raise BadInput(reason, where=source, remedy="Check the file and who may read it.") from fault


def _text(path: Path, source: str) -> str | None:
    """The file's text; None if it does not look like text at all."""
    with path.open("rb") as file:
        start = file.read(64_000)
        if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            raise BadText("is UTF-16 text", where=source, remedy="Save it as UTF-8 text.")
        if b"\0" in start:
            return None
        if path.stat().st_size > TEXT_LIMIT:
            # A large file is more likely sound under an odd name; the decoder will tell.
            decoder = codecs.getincrementaldecoder("utf-8")()
            try:
                decoder.decode(start)
            except UnicodeDecodeError:
                return None
            raise BadText(
                f"is larger than {TEXT_LIMIT // 1_000_000} MB of text",
                where=source,
                remedy="Split it into one file a session.",
            )
        content = start + file.read()
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return None
    return None if "\0" in text else text


def _transcript(text: str, path: Path, source: str) -> Transcript | None:
    """The text as a transcript that Earside wrote; None if it is not JSON."""
    if not text.lstrip().startswith("{") and path.suffix.lower() != ".json":
        return None
    try:
        held = json.loads(text)
        return Transcript.model_validate(held)
    except ValidationError as fault:
        # A transcript with a fault must not be passed over: what was dictated would be lost.
        sort = BadText if isinstance(held, dict) and held.keys() & {"text", "words"} else NotADictation
        raise sort("is not a transcript that Earside wrote", where=source, remedy=_MAKE_ONE) from fault
    except (ValueError, RecursionError) as fault:
        raise BadText("is not a transcript that Earside wrote", where=source, remedy=_MAKE_ONE) from fault


_MAKE_ONE = "Make one with: earside transcribe --save FOLDER RECORDING"
_NAME_ONE = "Name a recording, a transcript saved by Earside, or a text saved as .txt."


def _written(text: str, source: str) -> Transcript:
    if not text.strip():
        raise BadText("has no words in it", where=source, remedy="Choose another file.")
    return Transcript.from_text(text, source)


def _heard(path: Path, source: str, model: str, progress: Progress | None) -> Transcript:
    # Slow to import: only when there is something to hear.
    from dictate import hear  # noqa: PLC0415

    try:
        return hear.transcribe(source, model=model, progress=progress)
    except BadRecording as fault:
        if path.suffix.lower() in SOUND_SUFFIXES:
            raise
        raise BadText(
            "is neither UTF-8 text nor a recording that can be read",
            where=source,
            remedy="Save text as UTF-8; recordings may be WAV, FLAC, MP3, M4A, Ogg, WMA or video.",
        ) from fault
