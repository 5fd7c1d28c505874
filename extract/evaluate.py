"""How well a reader does on dictations whose records are known: by field, and the errors that could hurt.

A record is compared as a bag of single values, each (ear, field, value); only exact agreement counts.
Precision, recall and F1 as in information retrieval (van Rijsbergen, 1979; from memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from extract.gold import load_gold
from shared.record import Visit
from shared.transcript import Transcript

WRONG_SIDE, REASSURED = "wrong side", "drum wrongly reassuring"
MISSED, UNSAID = "warning sign missed", "length never said"
DANGERS = (WRONG_SIDE, REASSURED, MISSED, UNSAID)

WARNING_SIGNS = {
    "drum": {"perforated", "inflamed", "bulging", "retracted"},
    "canal": {"discharge", "fungal", "bleeding"},
    "complications": {"bleeding", "faint", "perforation"},
    "symptoms": {"sudden_hearing_loss", "discharge"},
}
"""Values whose loss counts as a missed warning sign, by field."""


class Reads(Protocol):
    """What turns a transcript into visits."""

    def read(self, transcript: Transcript) -> list[Visit]: ...


@dataclass(frozen=True, order=True)
class Item:
    """One value of a record. ear: right, left, unstated1..., "" for the whole visit; value: as compared."""

    ear: str
    field: str
    value: str

    @property
    def bare(self) -> str:
        """The value without the layer, side or time before it."""
        return self.value.rsplit(":", 1)[-1]


@dataclass(frozen=True)
class Miss:
    """A value too many (extra) or too few. visit: its number in the dictation, from 1."""

    dictation: str
    visit: int
    item: Item
    extra: bool
    times: int = 1


@dataclass
class Count:
    """Values that were right, too many and missed."""

    right: int = 0
    extra: int = 0
    missed: int = 0

    @property
    def gold(self) -> int:
        """How many there should be."""
        return self.right + self.missed

    @property
    def precision(self) -> float:
        """The share of what was recorded that is right; 1 if nothing was."""
        return self.right / (self.right + self.extra) if self.right + self.extra else 1.0

    @property
    def recall(self) -> float:
        """The share of what should be recorded that was; 1 if nothing should."""
        return self.right / self.gold if self.gold else 1.0

    @property
    def f1(self) -> float:
        """The harmonic mean of both."""
        both = self.precision + self.recall
        return 2 * self.precision * self.recall / both if both else 0.0


@dataclass
class Evaluation:
    """The result. fields: by field, the most frequent first; exact: dictations without any miss; dangers: how
    often each of DANGERS happened."""

    fields: dict[str, Count] = field(default_factory=dict)
    dangers: dict[str, int] = field(default_factory=lambda: dict.fromkeys(DANGERS, 0))
    misses: list[Miss] = field(default_factory=list)
    dictations: int = 0
    exact: int = 0
    wrong_visit_count: int = 0

    @property
    def total(self) -> Count:
        """All fields together."""
        every = self.fields.values()
        return Count(sum(c.right for c in every), sum(c.extra for c in every), sum(c.missed for c in every))

    def summary(self) -> dict[str, float]:
        """The result in a few numbers."""
        total = self.total
        return {
            "precision": round(total.precision, 4),
            "recall": round(total.recall, 4),
            "f1": round(total.f1, 4),
            "exact": self.exact,
            "dictations": self.dictations,
            "wrong_visit_count": self.wrong_visit_count,
            "could_hurt": sum(self.dangers.values()),
        }


def evaluate_files(paths: Iterable[Path | str], reader: Reads) -> Evaluation:
    """Read the dictations of gold files and compare. Raises BadInput as `load_gold` does."""
    return evaluate(load_gold(paths), reader)


def evaluate(gold: Sequence[Mapping[str, Any]], reader: Reads) -> Evaluation:
    """Read dictations, as `load_gold` gives them, and compare."""
    got = {}
    for one in gold:
        visits = reader.read(Transcript.from_text(one["text"], one["id"]))
        got[one["id"]] = [visit.plain() for visit in visits]
    return score(gold, got)


def score(gold: Sequence[Mapping[str, Any]], got: Mapping[str, Sequence[Mapping[str, Any]]]) -> Evaluation:
    """Compare records with what they should be. gold: {id, text, visits}; got: visits by id; both plain."""
    result = Evaluation(dictations=len(gold))
    counts: dict[str, Count] = {}
    for one in gold:
        right, read = one["visits"], got.get(one["id"], ())
        before = len(result.misses)
        for n in range(max(len(right), len(read))):
            should = Counter(items(right[n])) if n < len(right) else Counter()
            is_ = Counter(items(read[n])) if n < len(read) else Counter()
            for item, k in (should & is_).items():
                counts.setdefault(item.field, Count()).right += k
            for item, k in sorted((is_ - should).items()):
                counts.setdefault(item.field, Count()).extra += k
                result.misses.append(Miss(one["id"], n + 1, item, True, k))
            for item, k in sorted((should - is_).items()):
                counts.setdefault(item.field, Count()).missed += k
                result.misses.append(Miss(one["id"], n + 1, item, False, k))
        result.wrong_visit_count += len(right) != len(read)
        result.exact += len(right) == len(read) and len(result.misses) == before
    for miss in result.misses:
        if danger := danger_of(miss):
            result.dangers[danger] += miss.times
    result.fields = dict(sorted(counts.items(), key=lambda c: (-c[1].gold, c[0])))
    return result


def danger_of(miss: Miss) -> str:
    """Which of the four errors that could hurt this is, if any."""
    item = miss.item
    if not miss.extra:
        return MISSED if item.bare.rstrip("?") in WARNING_SIGNS.get(item.field, ()) else ""
    if item.field == "side" and not item.value.startswith("unstated"):
        return WRONG_SIDE
    if item.field == "drum" and item.bare in ("healthy", "intact"):
        return REASSURED
    return UNSAID if item.field in ("removed_mm", "removed_total_mm") else ""


def items(visit: Mapping[str, Any]) -> Iterator[Item]:
    """The single values of a plain visit."""
    yield from _of_visit(visit)
    unnamed = 0
    for ear in visit.get("ears", ()):
        side = ear["side"]
        if side == "unstated":
            unnamed += 1
            side = f"unstated{unnamed}"
        for name, value in _of_ear(ear):
            yield Item(side, name, value)
        yield Item(side, "side", side)


def _of_visit(visit: Mapping[str, Any]) -> Iterator[Item]:
    background, plan = visit.get("background", {}), visit.get("plan", {})
    softener, referral = background.get("softener", {}), plan.get("referral", {})
    single = {
        "patient_reference": visit.get("patient_reference"),
        "consent": background.get("consent"),
        "softener": softener.get("agent"),
        "softener_days": softener.get("days"),
        "removed_total_mm": visit.get("removed_total_mm"),
        "hearing": visit.get("outcome", {}).get("hearing"),
        "referral": referral.get("to"),
        "urgency": referral.get("urgency"),
    }
    for name, value in single.items():
        if value not in (None, ""):
            yield Item("", name, str(value))
    for name in ("symptoms", "history"):
        for said in background.get(name, ()):
            side = f"{said['side']}:" if said.get("side") else ""
            yield Item("", name, f"{side}{said['item']}")
        for denied in background.get(f"{name}_denied", ()):
            yield Item("", f"{name}_denied", denied)
    for advice in plan.get("advice", ()):
        yield Item("", "advice", advice)
    if recall := plan.get("recall"):
        yield Item("", "recall", f"{recall['number']} {recall['unit']}")


def _of_ear(ear: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    before, work, after = ear.get("before", {}), ear.get("procedure", {}), ear.get("after", {})
    single = {
        "occlusion": before.get("occlusion"),
        "occlusion_percent": before.get("occlusion_percent"),
        "foreign_body": before.get("foreign_body"),
        "tolerance": work.get("tolerance"),
        "clearance": after.get("clearance"),
    }
    yield from ((name, str(value)) for name, value in single.items() if value is not None)
    for layer in before.get("wax", ()):
        for name in ("consistency", "colour"):
            yield from ((name, f"{layer['where']}:{value}") for value in layer.get(name, ()))
    for when, part in (("before", before), ("after", after)):
        for name in ("skin", "canal", "drum"):
            yield from ((name, f"{when}:{value}") for value in part.get(name, ()))
    for tool in work.get("instruments", ()):
        yield "instruments", tool["name"]
        if tool.get("size"):
            yield "size", f"{tool['name']}:{tool['size']}"
    lists = {"depth": before, "methods": work, "agents": work} | dict.fromkeys(
        ("removed_mm", "complications", "complications_denied"), ear
    )
    for name, part in lists.items():
        yield from ((name, str(value)) for value in part.get(name, ()))
