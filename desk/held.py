"""Everything that is held on one patient, as files: records, history, words, sound, papers.

    README.txt
    visit-12/  record.json  history.json  words.txt  fhir.json  sound.wav or the recording itself  papers/

Of a recording that holds other patients too, only this patient's stretch is written. What is held of the visit is
written as it stands, drafts as drafts.
"""

from __future__ import annotations

import dataclasses
import io
import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from desk import saving
from desk.exchange import bundle
from desk.lines import clean
from shared.errors import BadRecording, EarsideError
from shared.protecting import files
from shared.protecting.sealed import SUFFIX
from shared.store import Store, StoredVisit
from shared.store.erasure import Held

Add = Callable[[str, bytes], None]
"""Takes the name of a file and what is in it."""

_SLACK_SECONDS = 0.5
"""Before the first word and after the last. Set by us; no source."""

_README = """Everything that Earside held under the patient reference {reference} on {day}.

{visits}

record.json   the record, with the words behind each value (the form: earside schema full)
history.json  all that was done to it, by whom and when; every signature with the record as it was signed
words.txt     the words that were heard
fhir.json     the record as an HL7 FHIR R4 document
sound.*       the recording, or this patient's part of it; missing if it is not kept
papers/       the papers as they would be made now; what is not signed says DRAFT

What is not under this reference is not here: visits without a reference, recordings not yet made into a record,
papers that were saved elsewhere. These files are not protected: keep them as you keep any patient's record.
"""


def write(store: Store, reference: str, to: Path) -> int:
    """Write all of it into a new folder, or a ZIP file if the name ends so; returns how many visits.

    Raises BadInput if nothing is held, or something is at the place already; EarsideError if it cannot be written.
    """
    held = store.held(reference)
    if to.suffix.lower() == ".zip":
        with saving.whole(to) as beside:
            _zip(store, reference, held, beside)
    else:
        with _folder(to) as add:
            _all(store, reference, held, add)
    return len(held.visits)


def zipped(store: Store, reference: str) -> bytes:
    """The same as the bytes of a ZIP file, without anything on the disk. Raises BadInput."""
    out = io.BytesIO()
    _zip(store, reference, store.held(reference), out)
    return out.getvalue()


def _zip(store: Store, reference: str, held: Held, to: Path | io.BytesIO) -> None:
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as file:
        _all(store, reference, held, file.writestr)


def _all(store: Store, reference: str, held: Held, add: Add) -> None:
    told = []
    for number in held.visits:
        stored = store.visit(number)
        _visit(store, stored, held, add)
        told.append(f"visit-{number}  {stored.when[:10]}, {stored.status}")
    day = f"{datetime.now().astimezone():%Y-%m-%d}"
    text = _README.format(reference=clean(reference), day=day, visits="\n".join(told))
    add("README.txt", text.encode())


def _visit(store: Store, stored: StoredVisit, held: Held, add: Add) -> None:
    from desk.letters.papers import Papers  # noqa: PLC0415  (slow to import)

    at, entries = f"visit-{stored.id}", store.history(stored.id)
    agreement = store.agreement(stored.id)
    record = {
        "visit": stored.id,
        "status": stored.status,
        "when": stored.when,
        "clinician": stored.clinician,
        "agreement_to_recording": dataclasses.asdict(agreement) if agreement else None,
        "record": stored.visit.model_dump(mode="json", exclude_none=True),
    }
    add(f"{at}/record.json", _json(record))
    signed = [
        {**dataclasses.asdict(s), "visit": s.visit.model_dump(mode="json", exclude_none=True)}
        for s in store.signatures(stored.id)
    ]
    add(
        f"{at}/history.json",
        _json({"entries": [dataclasses.asdict(e) for e in entries], "signatures": signed}),
    )
    text = store.transcript(stored.transcript).text
    start, end = stored.visit.extent.chars if stored.visit.extent else (0, len(text))
    add(f"{at}/words.txt", f"{text[start:end].strip()}\n".encode())
    add(f"{at}/fhir.json", _json(bundle.document(stored, entries)))
    _sound(store, stored, held, at, add)
    for made in Papers(store, stored.id, store.folder).all():
        add(f"{at}/papers/{made.name}", made.content)


def _sound(store: Store, stored: StoredVisit, held: Held, at: str, add: Add) -> None:
    from dictate.clip import LONGEST_SECONDS, clip  # noqa: PLC0415  (slow to import)

    path = store.sound(stored.recording_id)
    if path is None:
        return
    shared = any(store.visit(other).recording_id == stored.recording_id for other in held.others)
    extent = stored.visit.extent
    if not shared:
        with files.opened(path) as sound:
            add(f"{at}/sound{Path(path.name.removesuffix(SUFFIX)).suffix}", sound.read())
    elif extent and extent.seconds:
        start, end = extent.seconds[0] - _SLACK_SECONDS, extent.seconds[1] + _SLACK_SECONDS
        part = 0
        while start < end:
            part += 1
            try:
                add(f"{at}/sound-{part}.wav", clip(path, start, min(end, start + LONGEST_SECONDS)))
            except BadRecording as fault:
                add(f"{at}/sound-{part}.txt", f"{fault.line}\n".encode())
            start = max(start, 0.0) + LONGEST_SECONDS


def _json(data: Any) -> bytes:
    return json.dumps(data, ensure_ascii=False, indent=1, sort_keys=False).encode() + b"\n"


@contextmanager
def _folder(place: Path) -> Iterator[Add]:
    """A folder that is there whole or not at all."""
    saving.refuse_there(place)
    beside: Path | None = None
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(dir=place.parent, prefix=".earside-"))
        root = beside

        def add(name: str, content: bytes) -> None:
            file = root / name
            file.parent.mkdir(parents=True, exist_ok=True)
            saving.save(file, content)

        yield add
        os.rename(beside, place)
    except OSError as fault:
        raise EarsideError(
            f"cannot be written ({fault.strerror or type(fault).__name__})",
            where=str(place),
            remedy="Free some space, or choose another folder.",
        ) from fault
    finally:
        if beside and beside.exists():
            shutil.rmtree(beside, ignore_errors=True)
