"""What each command does: read the sources, keep or print, and say what happened."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from desk import heard_amiss, listing, own_words, saving, shell, sources
from desk.lines import clean
from desk.progress import bar
from desk.sheet import visit_sheet
from desk.shell import say
from shared.errors import BadRecording, EarsideError, StoreError
from shared.record import PlainVisit, Visit
from shared.store import Recording, Store, data_folder
from shared.vocabulary import Vocabulary

if TYPE_CHECKING:
    from extract.reader import Reader

DEMO = "right_ear.opus"
_NOTHING_KEPT = "No visit is kept yet. Start with: earside extract RECORDING"


def transcribe(paths: Sequence[str], *, model: str, save: Path | None, as_json: bool) -> None:
    """Print what was said, or save it as transcript files in the folder `save`."""

    def one(path: str) -> None:
        place = save / f"{Path(path).name}.json" if save else None
        if place:
            saving.refuse_there(place, "Move it, or save to another folder.")
        reading = _read(path, model)
        if place:
            saving.save(place, f"{reading.transcript.model_dump_json()}\n".encode())
            say(f"{path}: saved as {place}")
        elif as_json:
            click.echo(reading.transcript.model_dump_json())
        elif not reading.is_silent:
            click.echo(reading.transcript.text)

    _each(paths, one)


def extract_only(paths: Sequence[str], *, model: str, own: Path | None, data: Path | None, form: str) -> None:
    """Print the visits of each source as one line of JSON; keep nothing."""
    reader = _reader(own_words.vocabulary(own, data=data))

    def one(path: str) -> None:
        visits = _visits(reader, _read(path, model))
        click.echo(json.dumps({"source": path, "visits": [_as_data(visit, form) for visit in visits]}))

    _each(paths, one)


def extract(
    paths: Sequence[str], *, model: str, own: Path | None, data: Path | None, replace: bool, copy: bool
) -> None:
    """Keep the visits of each source, and show them; copy: keep the recordings too."""
    reader = _reader(own_words.vocabulary(own, data=data))
    with Store(data or data_folder()) as store:

        def one(path: str) -> None:
            try:
                reading = _read(path, model)
            except BadRecording as fault:
                _note_failure(store, path, fault)
                raise
            for visit_id in _keep(store, reading, _visits(reader, reading), replace=replace, copy=copy):
                _show(store, visit_id)
                say(f"\nNext: check it against the words. See it again with: earside show {visit_id}\n")

        _each(paths, one)


def show(visit_id: int | None, *, data: Path | None, form: str | None) -> None:
    """Show one visit, or the first of the latest recording."""
    with Store(data or data_folder()) as store:
        if visit_id is None:
            latest = store.latest()
            if latest is None:
                say(_NOTHING_KEPT)
                return
            visit_id = latest
        if form == "paths":
            for place, value in store.visit(visit_id).visit.values():
                click.echo(f"{place} = {clean(str(value.value))}{'?' * (value.certainty == 'possible')}")
        elif form:
            click.echo(json.dumps(_as_data(store.visit(visit_id).visit, form)))
        else:
            _show(store, visit_id)
            say("\nNext: check it against the words. All visits: earside list")


def list_visits(
    *,
    waiting: bool,
    patient: str | None,
    since: datetime | None,
    finding: str | None,
    limit: int,
    data: Path | None,
    as_json: bool,
) -> None:
    """List the visits that stand and are asked for. since: the beginning of a day here."""
    field, _, value = (finding or "").partition("=")
    with Store(data or data_folder()) as store:
        page = store.visits(
            "waiting" if waiting else "standing",
            patient=patient,
            since=since.astimezone() if since else None,
            field=field or None,
            value=(int(value) if value.isdigit() else value) or None,
            limit=limit,
        )
        asked = waiting or patient or since or finding
    found = page.rows
    if not found:
        say("No such visit." if asked else _NOTHING_KEPT)
    if page.next:
        say(f"The latest {limit}. For more: --limit {limit * 10}")
    listing.show(listing.visits(found), found, as_json=as_json)


def search(words: str, *, data: Path | None, as_json: bool) -> None:
    """List the recordings in which the words were said."""
    with Store(data or data_folder()) as store:
        found = store.search(words)
    if not found:
        say("Nothing found.")
    listing.show(listing.hits(found), found, as_json=as_json)


def demo(*, model: str, data: Path | None) -> None:
    """Run a sample recording through the whole line, in a passing folder unless one is given."""
    path = _sample(DEMO)
    say(f"Listening to {path.name}: an invented patient, a voice made by a computer.\n")
    with tempfile.TemporaryDirectory() as passing, Store(data or Path(passing)) as store:
        reading = _read(str(path), model)
        for visit_id in _keep(store, reading, _visits(_reader(), reading)):
            _show(store, visit_id)
    say("\nThis was a demonstration; " + (f"it is kept in {data}." if data else "nothing of it was kept."))
    say("Next: record a visit of your own, then run: earside extract YOUR_RECORDING")


def schema(form: str) -> None:
    """Print the JSON Schema of a visit."""
    model = Visit if form == "full" else PlainVisit
    click.echo(json.dumps(model.model_json_schema(), indent=2))


def _reader(vocabulary: Vocabulary | None = None) -> Reader:
    # Slow to import, and not needed to look things up.
    from extract.reader import Reader  # noqa: PLC0415

    return Reader(vocabulary)


def _each(paths: Sequence[str], work: Callable[[str], None]) -> None:
    """Do `work` on every source; one that fails gets its line, and the others are still done.

    Among several, what is no dictation or goes with a recording that is also named is passed over.
    """
    codes, strangers = set(), list[sources.NotADictation]()
    written_out = sources.written_out(paths)
    for path in paths:
        if path in written_out:
            continue
        try:
            work(path)
        except sources.NotADictation as fault:
            strangers.append(fault)
        except (StoreError, BrokenPipeError):
            raise  # the others would meet it too
        except Exception as fault:
            codes.add(shell.report(fault, path))
    if written_out:
        say(f"Passed over, as their recordings are read: {', '.join(written_out)}")
    if len(strangers) < len(paths):
        if strangers:
            say(f"Passed over, as no dictations: {', '.join(fault.where for fault in strangers)}")
    else:
        codes |= {shell.report(fault) for fault in strangers}
    if codes:
        click.get_current_context().exit(min(codes))


def _read(path: str, model: str) -> sources.Reading:
    with bar(os.path.basename(path)) as progress:
        reading = sources.read(path, model=model, progress=progress)
    if reading.is_silent:
        say(f"{path}: no speech found")
    for notice in heard_amiss.notices(reading.transcript):
        say(f"{path}: {notice.message}")
    return reading


def _visits(reader: Reader, reading: sources.Reading) -> list[Visit]:
    visits = reader.read(reading.transcript)
    if not visits and not reading.is_silent:
        say(f"{reading.path}: nothing of ear care was recognised in its words")
    for visit in visits:
        visit.notices += heard_amiss.notices(reading.transcript)
    return visits


def _note_failure(store: Store, path: str, fault: BadRecording) -> None:
    """Note that a recording could not be read, so that it is not forgotten."""
    try:
        recording = Recording.of(Path(path), "sound")
    except OSError:
        recording = Recording("", os.path.basename(path), 0, "sound", Path(path).absolute())
    store.fail(recording, fault.what)


def _keep(
    store: Store,
    reading: sources.Reading,
    visits: list[Visit],
    *,
    replace: bool = False,
    copy: bool = False,
) -> tuple[int, ...]:
    """Keep the visits; return the ids of those that now stand."""
    recording = Recording.of(reading.path, reading.kind)
    kept = store.keep(recording, reading.transcript, visits, replace=replace, keep_sound=copy)
    if kept.outcome == "left":
        say(f"{reading.path}: someone has worked on its visits, so they stay. To read it afresh: --replace")
    if kept.outcome == "partly":
        say(f"{reading.path}: visits on which someone has worked stay, the others were read afresh")
    return kept.visits


def _show(store: Store, visit_id: int) -> None:
    stored = store.visit(visit_id)
    signed = [listing.signed(signature) for signature in store.signatures(visit_id)]
    sheet = visit_sheet(stored.visit, title=listing.title(stored), status=stored.status, signed=signed)
    listing.console(width=100).print(sheet)


def _as_data(visit: Visit, form: str) -> dict[str, Any]:
    return visit.plain() if form == "plain" else visit.model_dump(mode="json", exclude_none=True)


def _sample(name: str) -> Path:
    folder = Path(__file__).resolve().parent.parent / "sample_audio"
    if not (folder / name).is_file():
        raise EarsideError(
            "the sample recordings are not there; they come with the source, not with the installed program",
            where=str(folder),
            remedy="Use a recording of your own: earside extract RECORDING",
        )
    return folder / name
