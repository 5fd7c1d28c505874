"""What can be done about a notice at once, as buttons: each is one of the acts on a visit, with its fields."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from desk import wording
from desk.lines import clean
from desk.web.rows import Item, Laid
from shared.record import Notice, Visit

_TWO_NUMBERS = re.compile(r"(\d+) or (\d+)\?")


@dataclass(frozen=True)
class Button:
    """words: what it says. act: what is done; fields: what it is done with. tone: a side's colour, or ""."""

    words: str
    act: str
    fields: dict[str, str] = field(default_factory=dict)
    tone: str = ""


@dataclass(frozen=True)
class Shown:
    """A notice as the page shows it. number: its place in the visit. item: the value it is about, if any."""

    number: int
    notice: Notice
    message: str
    buttons: tuple[Button, ...]
    item: Item | None

    @property
    def needs_reason(self) -> bool:
        """Whether it is only set aside with a reason."""
        return self.notice.must_decide


def shown(visit: Visit, laid: Laid) -> list[Shown]:
    """Every notice, the weightiest first; those that wait for a decision before those that were decided."""
    found = []
    for number, notice in enumerate(visit.notices):
        message = clean(notice.message).removesuffix(wording.DEFER).rstrip()  # the page says it once
        item = laid.item(notice.path)
        found.append(Shown(number, notice, message, tuple(_buttons(visit, notice, laid, item)), item))
    return sorted(found, key=lambda s: (s.notice.decision is not None, -s.notice.weight, s.number))


def _buttons(visit: Visit, notice: Notice, laid: Laid, item: Item | None) -> Iterator[Button]:
    if notice.kind == "side_unstated" and item:
        yield from _sides(visit, item)
        if not {"right", "left"} - {ear.side.value for ear in visit.ears}:
            yield Button("Take this ear out", "remove", {"path": item.path})
    elif notice.kind == "side_corrected" and len(visit.ears) == 2:
        yield Button("Swap the ears", "swap")
    elif notice.kind.endswith("_teen_or_ty") and item and (two := _TWO_NUMBERS.match(notice.message)):
        yield from (_number(item, n) for n in two.groups())
    elif notice.kind.endswith("_contradiction"):
        for other in _rivals(notice, laid, item):
            yield Button(f"Take out “{other.words}”", "remove", {"path": other.path})
    elif item and item.path.endswith("].side"):
        yield Button(f"“{item.words}” is right", "accept", {"path": item.path})
        yield from _sides(visit, item)
        if len(visit.ears) == 2:
            yield Button("Swap the ears", "swap")
    elif item and (notice.kind.startswith("uncertain_") or notice.must_decide):
        told = f"{item.label} {item.words}" if item.words.isdigit() else item.words
        yield Button(f"“{told}” is right", "accept", {"path": item.path})
        yield Button("Take it out", "remove", {"path": item.path})
    if not notice.must_decide:
        yield Button("Seen", "decide", {"number": str(visit.notices.index(notice)), "decision": "seen"})


def _sides(visit: Visit, item: Item) -> Iterator[Button]:
    taken = {ear.side.value for ear in visit.ears}
    for side in ("right", "left"):
        if side not in taken:
            yield Button(wording.EARS[side], "correct", {"path": item.path, "value": side}, side)


def _number(item: Item, number: str) -> Button:
    """One of two numbers that sound alike; choosing the one that stands confirms it."""
    digits = str(item.value.value)
    heard = re.sub(r"\d+", "", digits)
    unit = f" {wording.UNITS[item.field]}" if item.field in wording.UNITS else heard
    chosen = {"path": item.path, "value": number + (heard if not unit.startswith(" ") else "")}
    return Button(f"{number}{unit}", "correct", chosen)


def _rivals(notice: Notice, laid: Laid, item: Item | None) -> list[Item]:
    """The values that cannot both hold: those of the field and its denial that the notice quotes."""
    field = item.field if item else re.sub(r"\[\d+\]", "", notice.path).removeprefix("ears.")
    ear = notice.path.partition("]")[0] if notice.path.startswith("ears[") else ""
    group = {field, field.removesuffix("_denied"), f"{field}_denied"}
    same = [i for i in laid.items() if i.field in group and i.path.startswith(ear)]
    quoted = [i for i in same if i.value.heard and " ".join(i.value.heard.split()) in notice.message]
    return quoted if quoted else same if len(same) <= 3 else []
