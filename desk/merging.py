"""A record that a person has worked on, and a fresh reading of the same words: one record of both.

What a person entered or confirmed stays. What a person took out does not come back. All else is as the
fresh reading has it. In full, for each field of each ear (ears are matched by the words behind their values):

1. A value entered or confirmed by hand stays. If the reading has the same value, that is the same one.
   If the words behind it are gone, it stands as entered, without words.
2. A value read earlier, not touched by hand, stays if the reading has it too, with the words it has now;
   else it goes.
3. A value that only the reading has comes in, unless it was taken out by hand: the same value of the same
   field of the same ear (for lengths, where several may be equal: at the same words, too).
4. Where a field takes one value, one entered or confirmed by hand is the one.
5. An ear goes if the reading has none like it and nothing in it was entered or confirmed; if something was,
   the ear stays with that alone, and its side is unstated if the words for it are gone.
6. Where sides given by hand would make two ears of one side, the later one's is unstated, and must be given.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from desk.address import KEYS
from desk.review import as_data, made
from shared.record import NOT_SAID, Recall, Visit

Data = dict[str, Any]
Shift = Callable[[tuple[int, int]], tuple[int, int] | None]
"""Where characters of the old words are in the new; None if they are not there any more."""

_KEYS = sorted({*KEYS.values(), "number"})


def merge(mine: Visit, fresh: Visit, shift: Shift = lambda chars: chars) -> Visit:
    """The record a person has worked on, brought up to a fresh reading. `fresh` may hold values by hand
    itself (of another visit that is merged into this one): they stay as well, and are the later word.

    Places count as in `fresh`; extent is that of `fresh`; notices are left as they were in `mine`.
    """
    old, new = as_data(mine), as_data(fresh)
    _move(old, shift)
    return made(_Merger(old, new).merged())


class _Merger:
    def __init__(self, old: Data, new: Data) -> None:
        self.old, self.new = old, new
        self.notes: list[Data] = list(old.get("taken_out", ()))
        self.used: set[int] = set()

    def merged(self) -> Data:
        out = self._part(
            {k: v for k, v in self.old.items() if k not in (*NOT_SAID, "ears")},
            {k: v for k, v in self.new.items() if k not in (*NOT_SAID, "ears")},
            "",
            None,
            None,
        )
        out["ears"], theirs = self._ears(self.old.get("ears", []), self.new.get("ears", []))
        if "extent" in self.new:
            out["extent"] = self.new["extent"]
        out["notices"] = self.old.get("notices", [])
        notes = [n for n in self.notes if n.get("ear", 0) >= 0] + [
            n | ({"ear": theirs[n["ear"]]} if "ear" in n else {})
            for n in self.new.get("taken_out", ())
            if n.get("ear") is None or n["ear"] in theirs
        ]
        if notes:
            out["taken_out"] = notes
        return out

    def _ears(self, old: list[Data], new: list[Data]) -> tuple[list[Data], dict[int, int]]:
        """The ears, and where each of the new ones has gone."""
        pairs = _paired_ears(old, new)
        out: list[Data] = []
        renumbered: dict[int, int] = {}
        theirs: dict[int, int] = {}
        for i, ear in enumerate(old):
            match = pairs.get(i)
            if match is None:
                kept = _by_hand_only(ear, "side")
                if kept is None:
                    continue
                if "chars" not in kept["side"] and not _by_hand(ear["side"]):
                    kept["side"] = dict(_NO_SIDE)
                merged = kept
            else:
                theirs[match] = len(out)
                merged = self._part(ear, new[match], "", i, None)
            renumbered[i] = len(out)
            out.append(merged)
        for j, ear in enumerate(new):
            if j not in theirs and not self._ear_taken_out(ear, [e["side"]["value"] for e in out]):
                theirs[j] = len(out)
                out.append(ear)
        for note in self.notes:
            if "ear" in note:
                note["ear"] = renumbered.get(note["ear"], -1)
        sides = [ear["side"]["value"] for ear in out]
        for n, ear in enumerate(out):
            if sides[n] in sides[:n]:
                ear["side"] = dict(_NO_SIDE)
        return out, theirs

    def _ear_taken_out(self, ear: Data, sides: list[str]) -> bool:
        for n, note in enumerate(self.notes):
            same = note["field"] == "ears" and note["value"] == ear["side"]["value"]
            if same and n not in self.used and note["value"] not in sides and not _any_by_hand(ear):
                self.used.add(n)
                return True
        return False

    def _part(self, old: Data, new: Data, field: str, ear: int | None, of: str | None) -> Data:
        """Two states of a part, field by field."""
        out: Data = {}
        for name in [*old, *(k for k in new if k not in old)]:
            path = f"{field}.{name}" if field else name
            a, b = old.get(name), new.get(name)
            sample = a if a is not None else b
            merged: Any
            if isinstance(sample, list):
                merged = self._list(a or [], b or [], path, ear, of)
            elif _is_value(sample):
                merged = self._single(a, b, path, ear, of)
            elif path in _WHOLE and b is None:
                merged = {k: _standing(v) for k, v in (a or {}).items()} if _any_by_hand(sample) else None
            else:
                merged = self._part(a or {}, b or {}, path, ear, of)
                merged = merged if _WHOLE.get(path, set()) <= set(merged) else None
            if merged is not None:
                out[name] = merged
        return out

    def _single(
        self, a: Data | None, b: Data | None, field: str, ear: int | None, of: str | None
    ) -> Data | None:
        if b is not None and _by_hand(b):
            return b
        if a is not None and _by_hand(a):
            return _refreshed(a, b)
        return b if b is not None and not self._taken_out(b, field, ear, of) else None

    def _list(
        self, old: list[Data], new: list[Data], field: str, ear: int | None, of: str | None
    ) -> list[Data]:
        key = next((k for k in _KEYS if (old or new) and k in (old or new)[0]), None)
        pairs = _paired(old, new, key)
        taken = {id(b) for _, b in pairs if b is not None}
        out = []
        for a, b in pairs:
            if key is None:
                merged = _refreshed(a, b) if _by_hand(a) else b
            elif b is None:
                merged = _by_hand_only(a, key)
            else:
                merged = self._keyed(a, b, field, ear, key)
            if merged is not None:
                out.append(merged)
        for b in new:
            if id(b) in taken:
                continue
            head = b if key is None else b[key]
            where = field if key is None else f"{field}.{key}"
            if _any_by_hand(b) or not self._taken_out(head, where, ear, of):
                out.append(b if key is None else self._part({}, b, field, ear, str(head["value"])))
        return out

    def _keyed(self, a: Data, b: Data, field: str, ear: int | None, key: str) -> Data:
        of = str(a[key]["value"])
        rest = self._part(
            {k: v for k, v in a.items() if k != key}, {k: v for k, v in b.items() if k != key}, field, ear, of
        )
        head = b[key] if _by_hand(b[key]) or not _by_hand(a[key]) else _refreshed(a[key], b[key])
        return {key: head, **rest}

    def _taken_out(self, value: Data, field: str, ear: int | None, of: str | None) -> bool:
        """Whether a person took this value out; each note holds back one value."""
        for n, note in enumerate(self.notes):
            same = note["field"] == field and note["value"] == value["value"] and note.get("ear") == ear
            if not same or n in self.used or (note.get("of") not in (None, of) and of is not None):
                continue
            if isinstance(value["value"], int) and not _overlap(note.get("chars"), value.get("chars")):
                continue
            self.used.add(n)
            return True
        return False


_NO_SIDE = {"value": "unstated", "certainty": "stated", "origin": "entered"}


def _paired(old: list[Data], new: list[Data], key: str | None) -> list[tuple[Data, Data | None]]:
    """Each old item with the new one that is the same: same value at the same words; then same value (but for
    numbers); then, for parts known by a value, at the same words."""
    free = list(new)
    found: dict[int, Data] = {}

    def head(item: Data) -> Data:
        held: Data = item[key] if key else item
        return held

    def near(a: Data, b: Data) -> bool:
        return _overlap(head(a).get("chars"), head(b).get("chars"))

    def same(a: Data, b: Data) -> bool:
        return bool(head(a)["value"] == head(b)["value"])

    rules: list[Callable[[Data, Data], bool]] = [
        lambda a, b: same(a, b) and near(a, b),
        lambda a, b: same(a, b) and (not isinstance(head(a)["value"], int) or "chars" not in head(a)),
    ]
    if key:
        rules.append(near)
    for rule in rules:
        for i, a in enumerate(old):
            match = next((b for b in free if rule(a, b)), None) if i not in found else None
            if match is not None:
                found[i] = match
                free = [b for b in free if b is not match]
    return [(a, found.get(i)) for i, a in enumerate(old)]


def _paired_ears(old: list[Data], new: list[Data]) -> dict[int, int]:
    """Which old ear is which new one: by the words behind their values; then by side; then the only two left."""
    scores = []
    for i, a in enumerate(old):
        mine = {tuple(v["chars"]) for v in _values(a) if "chars" in v}
        for j, b in enumerate(new):
            theirs = [tuple(v["chars"]) for v in _values(b) if "chars" in v]
            common = sum(any(_overlap(c, m) for m in mine) for c in theirs)
            scores.append((common, a["side"]["value"] == b["side"]["value"], -abs(i - j), i, j))
    pairs: dict[int, int] = {}
    for common, same, _, i, j in sorted(scores, reverse=True):
        alone = len(old) == len(new) == 1
        if (common or same or alone) and i not in pairs and j not in pairs.values():
            pairs[i] = j
    return pairs


def _refreshed(a: Data, b: Data | None) -> Data:
    """A value by hand, with the words that the reading has for it if it had words and is the same value."""
    if b is None or b["value"] != a["value"] or a["origin"] == "entered":
        return a
    return {**b, "certainty": a["certainty"], "confirmed_by": a.get("confirmed_by")}


def _by_hand_only(part: Data, key: str) -> Data | None:
    """What was entered or confirmed in a part that no reading has any more; None if nothing was."""
    if not _any_by_hand(part):
        return None
    head = _standing(part[key])
    return {key: head, **_hand({k: v for k, v in part.items() if k != key})}


def _hand(node: Any) -> Any:
    if isinstance(node, list):
        return [x if _is_value(x) else _hand(x) for x in node if _any_by_hand(x)]
    out = {}
    for name, x in node.items():
        if not _any_by_hand(x):
            continue
        if _is_value(x):
            out[name] = x
        elif isinstance(x, dict):
            key = next((k for k in _KEYS if k in x and k != "number"), None)
            out[name] = _by_hand_only(x, key) if key else _hand(x)
        else:
            key = next((k for k in _KEYS if k in x[0]), None) if not _is_value(x[0]) else None
            out[name] = [_by_hand_only(p, key) for p in x if _any_by_hand(p)] if key else _hand(x)
    return out


_WHOLE = {"plan.recall": set(Recall.model_fields), "plan.referral": {"to"}}
"""Parts that cannot be without these values."""


def _standing(value: Data) -> Data:
    """A value that stays because of what stands beside it: entered, if its words are gone."""
    return value if "chars" in value or _by_hand(value) else {**value, "origin": "entered"}


def _is_value(node: Any) -> bool:
    return isinstance(node, dict) and "value" in node and "certainty" in node


def _values(node: Any) -> list[Data]:
    if _is_value(node):
        return [node]
    inner = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    return [v for x in inner for v in _values(x)]


def _by_hand(value: Data) -> bool:
    return bool((value["origin"] == "entered" and value["value"] != "unstated") or value.get("confirmed_by"))


def _any_by_hand(node: Any) -> bool:
    return any(map(_by_hand, _values(node)))


def _overlap(a: Any, b: Any) -> bool:
    return bool(a and b and a[0] < b[1] and b[0] < a[1])


def _move(data: Data, shift: Shift) -> None:
    """Count the places of an old record in the new words. What has no words any more is by hand, or goes."""
    for value in _values({k: v for k, v in data.items() if k not in NOT_SAID}):
        if "chars" not in value:
            continue
        chars = shift(tuple(value["chars"]))
        if chars is not None:
            value["chars"] = list(chars)
            continue
        for name in ("chars", "seconds", "heard"):
            value.pop(name, None)
        if _by_hand(value):
            value["origin"] = "entered"
    for note in (*data.get("taken_out", ()), *data.get("notices", ())):
        if "chars" in note:
            chars = shift(tuple(note["chars"]))
            if chars is None:
                note.pop("chars")
            else:
                note["chars"] = list(chars)
