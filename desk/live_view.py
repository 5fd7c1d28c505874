"""What is seen while Earside listens: how loud it is, the words so far, and the record filling in."""

from __future__ import annotations

from collections.abc import Iterable

from rich.columns import Columns
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from desk import wording
from desk.lines import clean, sections
from desk.sheet import clock
from desk.so_far import RecordSoFar
from dictate.events import (
    Behind,
    Event,
    Faulted,
    Level,
    Mended,
    Paused,
    Resumed,
    Utterance,
    WordsSoFar,
)
from shared.record import Notice, Visit

UNSAID = (
    "side_unstated",
    "consent_unsaid",
    "drum_not_described",
    "complications_unsaid",
    "second_ear_unsaid",
)
"""Notices of what a record should hold and nobody said yet."""

_WORDS = 400
"""Characters of the latest words that are shown."""

_FLOOR, _CELLS = -60.0, 24
"""The meter's lower end in dBFS, and its width."""


class Seen:
    """All that has been told so far, as far as it is shown."""

    def __init__(self) -> None:
        self.level: Level | None = None
        self.said = self.guess = self.trouble = ""
        self.behind = 0
        self.seconds = 0.0
        self.paused = False
        self.visits: tuple[Visit, ...] = ()

    def take(self, event: Event) -> None:
        """Note one event."""
        match event:
            case Level():
                self.level, self.seconds = event, event.at
            case WordsSoFar():
                self.guess = event.text
            case Utterance():
                self.said, self.guess = f"{self.said} {event.text}"[-_WORDS:], ""
            case RecordSoFar():
                self.visits = event.visits
            case Behind():
                self.behind = event.seconds
            case Paused() | Resumed():
                self.paused = isinstance(event, Paused)
            case Faulted():
                self.trouble = f"{event.what}. {event.remedy}"
                self.trouble += f" {event.lost:.0f} seconds are lost." if event.lost else ""
            case Mended():
                self.trouble = ""

    def page(self, asked: str = "") -> RenderableType:
        """The whole view. asked: what stands of the patient's agreement to being recorded."""
        state = Text("Paused: nothing is kept or heard." if self.paused else "Listening", "bold")
        state.append(f"   {clock(self.seconds)}   ", "not bold")
        if self.level and not self.paused:
            state.append_text(meter(self.level))
        parts: list[RenderableType] = [
            state,
            Text("Space: pause or go on.  q: finish and keep.", "dim"),
            *([Text(asked, "dim")] if asked else []),
            Text(),
        ]
        if self.trouble:
            parts += [Text(clean(self.trouble), "bold"), Text()]
        if self.behind:
            parts += [Text(f"The words come {self.behind} s late; no sound is lost."), Text()]
        words = Text(clean(self.said)[-_WORDS:], "dim")
        words.append(f" {clean(self.guess)} …" if self.guess else "", "not dim italic")
        parts += [words, Text()]
        if self.visits:
            if len(self.visits) > 1:
                parts.append(Text(f"Patient {len(self.visits)} of this recording", "bold"))
            parts.append(record(self.visits[-1]))
        return Group(*parts)


def meter(level: Level) -> Text:
    """The level as a bar and in figures."""
    filled = round((max(level.rms, _FLOOR) - _FLOOR) / -_FLOOR * _CELLS)
    bar = Text("█" * filled + "·" * (_CELLS - filled), "not bold")
    bar.append(f"  {level.rms:.0f} dB")
    if level.clipped:
        bar.append("  too loud, it is cut off", "bold")
    return bar


def record(visit: Visit) -> RenderableType:
    """One visit: its ears side by side, what belongs to both, and what nobody said yet."""
    ears: list[Table] = []
    rest = Table.grid(padding=(0, 2))
    table = rest
    for section in sections(visit):
        if section.depth == 0 and section.heading.startswith(tuple(wording.EARS.values())):
            table = Table.grid(padding=(0, 2))
            ears.append(table)
        elif section.depth == 0:
            table = rest
        table.add_row(Text("  " * section.depth + section.heading, "" if section.depth else "bold"), "")
        for line in section.lines:
            table.add_row(Text("  " * section.depth + "  " + line.label, "dim"), Text(line.text))
    parts: list[RenderableType] = [Columns(ears, padding=(0, 4))] if ears else []
    if rest.row_count:
        parts += [Text(), rest]
    if missing := list(unsaid(visit.notices)):
        listed = Text("\n".join(missing))
        parts += [Text(), Text("Not said yet", "bold"), Padding(listed, (0, 0, 0, 2))]
    return Group(*parts)


def unsaid(notices: Iterable[Notice]) -> list[str]:
    """What nobody said yet, the weightiest first."""
    found = sorted((n for n in notices if n.kind in UNSAID), key=lambda n: -n.weight)
    return [clean(notice.message).removesuffix(wording.DEFER).strip() for notice in found]
