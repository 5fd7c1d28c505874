"""From a finished or left-over sound journal to visits in the store, by the line every recording takes."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, cast

from desk import heard_amiss
from dictate import journals
from dictate.journal import Journal
from dictate.journals import Found
from shared.errors import BadInput
from shared.record import Visit
from shared.store import Recording, Store
from shared.store.agreements import Answer
from shared.transcript import Transcript

if TYPE_CHECKING:
    from dictate.recognise import Recogniser
    from extract.reader import Reader

FOLDER = "listening"
"""Where in the data folder the sound of dictations lies."""

Progress = Callable[[float, float], None]


@dataclass(frozen=True)
class KeptSound:
    """What became of a dictation: the ids of its visits, and where its sound lies, None if there was none."""

    visits: tuple[int, ...]
    sound: Path | None


def unfinished(data: Path) -> list[Found]:
    """Recordings of which no record was made, because the program or the computer stopped."""
    return journals.unfinished(data / FOLDER)


def finish(
    data: Path,
    name: str,
    *,
    model: str,
    hearer: Recogniser | None,
    reader: Callable[[], Reader],
    progress: Progress | None = None,
) -> KeptSound:
    """Hear a recording that no program is writing, keep it and its visits in the store.

    The sound moves into the store's care. If nothing was dictated, there is nothing to keep and it is
    removed. After a failure or a crash it may be done again: visits are kept once. Raises BadInput (no such
    recording, or finished already), StoreError (another program is writing it, or the store), WeightsError.
    """
    folder = data / FOLDER
    Journal.reopen(folder, name).close()
    there = journals.find(folder, name)
    assert there
    if not there.seconds:
        journals.remove(folder, name)
        return KeptSound((), None)
    transcript, visits = hear_whole(there, model, hearer, reader, progress)
    recording = replace(Recording.of(there.path, "sound"), started=there.started, started_from="dictation")
    with Store(data) as store:
        kept = store.keep(recording, transcript, visits, keep_sound=True)
        _agreements(store, kept.visits, there)
        sound = store.sound(kept.recording)
    if sound and sound.parent != folder:
        journals.remove(folder, name)
    return KeptSound(kept.visits, sound)


def _agreements(store: Store, visits: Sequence[int], there: Found) -> None:
    """Put down with each visit what was answered while it was dictated; the last answer stands. A standing notice
    holds for every patient after it as well, until one of them is asked."""
    starts = [store.visit(number).visit.extent for number in visits]
    answered: dict[int, tuple[str, str]] = {}
    for at, answer, who in there.agreements:
        begun = [n for n, e in zip(visits, starts, strict=True) if e and e.seconds and e.seconds[0] < at]
        for number in begun[-1:] or visits[:1]:
            answered[number] = (answer, who)
            if answer == "notice":
                for later in visits[visits.index(number) + 1 :]:
                    answered[later] = (answer, who)
    for number, (answer, who) in answered.items():
        with contextlib.suppress(BadInput):  # a standing notice that was taken down since
            store.note_agreement(number, cast(Answer, answer), who)


def hear_whole(
    there: Found,
    model: str,
    hearer: Recogniser | None,
    reader: Callable[[], Reader],
    progress: Progress | None,
) -> tuple[Transcript, list[Visit]]:
    """The words of a whole recording, with what is missing of it, and the visits in them."""
    from dictate import hear  # noqa: PLC0415  (slow to import)

    heard = hear.transcribe(there.path, model=model, recogniser=hearer, progress=progress)
    settings = dict(heard.settings)
    if there.pauses:
        settings["pauses"] = "; ".join(f"at {at:.1f} s, {a} to {b}" for at, a, b in there.pauses)
    if there.lost:
        settings["note"] = f"{there.lost:.0f} seconds are missing, as the disk was full"
    transcript = heard.model_copy(update={"settings": settings})
    visits = reader().read(transcript)
    for visit in visits:
        visit.notices += heard_amiss.notices(transcript)
    return transcript, visits
