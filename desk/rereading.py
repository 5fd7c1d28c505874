"""Reading a visit's own words again, and finding its notices afresh after every change."""

from __future__ import annotations

import re
from collections import OrderedDict
from typing import Any

from spacy.tokens import Doc

from desk import heard_amiss
from desk.merging import merge
from desk.review import as_data
from extract.build import Builder
from extract.notices import notices
from extract.reader import Reader
from shared.errors import BadInput
from shared.record import Extent, Notice, Visit
from shared.transcript import Transcript, Word

Chars = tuple[int, int]

_KEPT_DOCS = 64
_LONGEST_WORDS = 2000
_ASK_HEARING = re.compile(r"uncertain_.*|length_teen_or_ty|size_teen_or_ty|side_corrected")
_ASK_VALUE = frozenset({"length_over_canal", "length_long"})
_ASK_WHICH = frozenset(
    {
        "consent_contradiction",
        "clearance_contradiction",
        "occlusion_contradiction",
        "history_contradiction",
        "length_disagreement",
        "complication_contradiction",
    }
)


class Rereader:
    """Reads stretches of a transcript as one visit each, whatever is said in them of a next patient."""

    def __init__(self, reader: Reader) -> None:
        self._nlp = reader.nlp
        self._docs: OrderedDict[Any, tuple[Doc, Visit]] = OrderedDict()

    def read(self, transcript: Transcript, chars: Chars) -> Visit:
        """The visit that these words make, its places counted in the whole transcript."""
        _, visit = self._read(transcript.part(*chars))
        visit = moved(visit, chars[0])
        visit.extent = Extent(chars=chars, seconds=transcript.seconds(*chars), confidence=1.0)
        visit.notices = []
        return visit

    def again(self, mine: Visit, transcript: Transcript, chars: Chars) -> Visit:
        """A visit read again from these words, with all that was entered, confirmed or taken out by hand."""
        return self.noticed(merge(mine, self.read(transcript, chars)), transcript, mine)

    def noticed(self, visit: Visit, transcript: Transcript, before: Visit) -> Visit:
        """The visit with its notices found afresh. One that was decided in `before` stays decided while the
        words, the message and the value it is about are the same."""
        start, end = stretch(visit, transcript)
        part = transcript.part(start, end)
        doc, _ = self._read(part)
        local = moved(visit, -start)
        found = [*notices(local, doc, 0, part), *heard_amiss.notices(part)]
        found.sort(key=lambda n: -n.weight)
        visit = visit.model_copy(update={"notices": []})
        visit.notices = [_moved_notice(n, start) for n in found if not _settled(n, visit)]
        _keep_decisions(visit, before)
        return visit

    def put_right(
        self, visit: Visit, transcript: Transcript, chars: Chars, text: str
    ) -> tuple[Visit, Transcript]:
        """The visit read again after its words at `chars` were put right to `text`; and its own words, in
        which its places then count. Raises BadInput for words that are not the visit's."""
        start, end = stretch(visit, transcript)
        if not start <= chars[0] <= chars[1] <= end:
            raise BadInput("these words are not this visit's", where=f"characters {chars[0]} to {chars[1]}")
        mine, part = moved(visit, -start), transcript.part(start, end)
        first, last = chars[0] - start, chars[1] - start
        fixed, delta = replaced(part, (first, last), text), len(text) - (last - first)

        def shift(old: Chars) -> Chars | None:
            if old[1] <= first:
                return old
            return (old[0] + delta, old[1] + delta) if old[0] >= last else None

        everything = (0, len(fixed.text))
        merged = merge(mine, self.read(fixed, everything), shift)
        # What was decided is matched with the notices where their words are now.
        return self.noticed(merged, fixed, merged), fixed

    def split(self, visit: Visit, transcript: Transcript, at: int) -> tuple[Visit, Visit]:
        """Two visits of one, the second beginning with the words at character `at`. What was entered by hand
        goes with its words; without words, with the ear it was entered for, else it stays in the first."""
        start, end = stretch(visit, transcript)
        if not (transcript.text[start:at].strip() and transcript.text[at:end].strip() and start < at < end):
            raise BadInput("a visit needs words on both sides", where=f"character {at}")
        fresh = [self.read(transcript, part) for part in ((start, at), (at, end))]
        mine = _halves(visit, at)
        merged = [merge(old, new) for old, new in zip(mine, fresh, strict=True)]
        first, second = (self.noticed(v, transcript, visit) for v in merged)
        return first, second

    def join(
        self, first: tuple[Visit, Transcript], second: tuple[Visit, Transcript]
    ) -> tuple[Visit, Transcript | None]:
        """One visit of two that follow each other; and its own words, if these were not one transcript's.

        Where both have a value by hand for one field, the second's is the later word.
        """
        (a, ta), (b, tb) = first, second
        (a0, a1), (b0, b1) = stretch(a, ta), stretch(b, tb)
        if ta == tb and a1 <= b0 and not ta.text[a1:b0].strip():
            words, chars, own = ta, (a0, b1), None
        else:
            own = joined(ta.part(a0, a1), tb.part(b0, b1))
            words, chars = own, (0, len(own.text))
            a, b = moved(a, -a0), moved(b, len(own.text) - (b1 - b0) - b0)
        both = merge(a, merge(b, self.read(words, chars)))
        both.notices = []
        decided = both.model_copy(update={"notices": [*a.notices, *b.notices]})
        return self.noticed(both, words, decided), own

    def _read(self, part: Transcript) -> tuple[Doc, Visit]:
        key = part.text, part.words
        held = self._docs.pop(key, None)
        if held is None:
            doc = self._nlp.make_doc(part.text)
            for name, component in self._nlp.pipeline:
                doc = component(doc)
                if name == "visits":  # one visit, since a person says so
                    doc._.visit_starts = doc._.visit_starts[:1]
                    for mention in doc._.mentions:
                        mention.visit = 0
            found = Builder(doc, part).visits()
            held = doc, found[0] if found else Visit()
        self._docs[key] = held
        while len(self._docs) > _KEPT_DOCS:
            self._docs.popitem(last=False)
        return held


def stretch(visit: Visit, transcript: Transcript) -> Chars:
    """The characters of a visit in its transcript."""
    return visit.extent.chars if visit.extent else (0, len(transcript.text))


def moved(visit: Visit, by: int) -> Visit:
    """The visit with all its places counted `by` characters further on."""
    data = as_data(visit)

    def walk(node: Any) -> None:
        if isinstance(node, list):
            for item in node:
                walk(item)
        elif isinstance(node, dict):
            if "chars" in node:
                node["chars"] = [c + by for c in node["chars"]]
            for item in node.values():
                if isinstance(item, dict | list):
                    walk(item)

    walk(data)
    return Visit.model_validate(data)


def replaced(part: Transcript, chars: Chars, text: str) -> Transcript:
    """A transcript with other words at `chars`; they take the time of those they replace. Raises BadInput."""
    text = text.strip("\0")
    if len(text) > _LONGEST_WORDS or any(not c.isprintable() and c not in "\n\t" for c in text):
        raise BadInput(f"takes up to {_LONGEST_WORDS} characters of text", where="words")
    delta = len(text) - (chars[1] - chars[0])
    before = [w for w in part.words if w.chars[1] <= chars[0]]
    after = [w for w in part.words if w.chars[0] >= chars[1] and w not in before]
    gone = [w for w in part.words if w not in before and w not in after]
    seconds = (min(w.seconds[0] for w in gone if w.seconds), max(w.seconds[1] for w in gone if w.seconds)) if any(
        w.seconds for w in gone
    ) else None  # fmt: skip
    new = [
        Word(chars=(chars[0] + m.start(), chars[0] + m.end()), seconds=seconds, probability=1.0)
        for m in re.finditer(r"\S+", text)
        if part.words
    ]
    later = [w.model_copy(update={"chars": (w.chars[0] + delta, w.chars[1] + delta)}) for w in after]
    whole = part.text[: chars[0]] + text + part.text[chars[1] :]
    if not whole.strip():
        raise BadInput("no words would be left", where="words", remedy="Leave at least one.")
    return part.model_copy(update={"text": whole, "words": (*before, *new, *later)})


def joined(a: Transcript, b: Transcript) -> Transcript:
    """Two stretches of one recording as one transcript."""
    by = len(a.text) + 1
    words = tuple(w.model_copy(update={"chars": (w.chars[0] + by, w.chars[1] + by)}) for w in b.words)
    return a.model_copy(update={"text": f"{a.text} {b.text}", "words": (*a.words, *words)})


def _halves(visit: Visit, at: int) -> tuple[Visit, Visit]:
    """What of a visit lies before and after a character, so that each half can be merged with its reading."""
    halves = (as_data(visit), as_data(visit))
    places = [(path, v.chars[0] >= at) for path, v in visit.values() if v.chars]
    later_ears = {
        i
        for i in range(len(visit.ears))
        if (mine := [late for path, late in places if path.startswith(f"ears[{i}].")])
        and sum(mine) * 2 > len(mine)
    }
    for number, data in enumerate(halves):
        _drop(data, "", bool(number), at, later_ears)
        for name in ("taken_out", "notices"):
            held = [
                n
                for n in data.get(name, ())
                if _late(n, bool(n.get("ear") in later_ears), at) == bool(number)
            ]
            if name in data:
                data[name] = held
    return Visit.model_validate(halves[0]), Visit.model_validate(halves[1])


def _late(node: dict[str, Any], otherwise: bool, at: int) -> bool:
    return bool(node["chars"][0] >= at) if "chars" in node else otherwise


def _drop(node: Any, path: str, late: bool, at: int, later_ears: set[int]) -> None:
    """Make values of the other half neither entered nor confirmed, so that only its own reading has a say."""
    if isinstance(node, list):
        for i, item in enumerate(node):
            _drop(item, f"{path}[{i}]", late, at, later_ears)
    elif isinstance(node, dict):
        if "value" in node and "certainty" in node:
            in_later = path.startswith("ears[") and int(path[5 : path.index("]")]) in later_ears
            if _late(node, in_later, at) != late:
                node.pop("confirmed_by", None)
                if node["origin"] == "entered":
                    node |= {"origin": "heard", "heard": "", "chars": [-2, -1]}
            return
        for key, item in node.items():
            if key not in ("extent", "notices", "taken_out"):
                _drop(item, f"{path}.{key}" if path else key, late, at, later_ears)


def _settled(notice: Notice, visit: Visit) -> bool:
    """Whether a person has answered what the notice asks, by entering, confirming or taking out the value."""
    value = dict(visit.values()).get(notice.path)
    field = re.sub(r"\[\d+\]", "", notice.path)
    if value is None:  # a notice may name the field rather than one of its values
        value = next((v for p, v in visit.values() if p.startswith(notice.path) and notice.path), None)
    if _ASK_HEARING.fullmatch(notice.kind):
        return value is not None and value.by_hand
    if notice.kind in _ASK_VALUE:
        return value is not None and value.confirmed_by is not None
    if notice.kind in _ASK_WHICH:
        taken = any(t.field == field.removeprefix("ears.") for t in visit.taken_out or ())
        return not _both_stand(notice, visit) and (
            (value is not None and value.by_hand) or (value is None and taken)
        )
    return False


def _both_stand(notice: Notice, visit: Visit) -> bool:
    """Whether complications that exclude each other are both in the record."""
    if notice.kind != "complication_contradiction" or not notice.path.startswith("ears["):
        return False
    ear = visit.ears[int(notice.path[5 : notice.path.index("]")])]
    happened = {v.value for v in ear.complications}
    denied = {v.value for v in ear.complications_denied}
    return bool(("none" in happened and len(happened) > 1) or happened & denied)


def _moved_notice(notice: Notice, by: int) -> Notice:
    if notice.chars is None:
        return notice
    return notice.model_copy(update={"chars": (notice.chars[0] + by, notice.chars[1] + by)})


def _keep_decisions(visit: Visit, before: Visit) -> None:
    def cause(notice: Notice, values: dict[str, Any]) -> Any:
        value = values.get(notice.path)
        about = (value.value, value.certainty) if value is not None else None
        return notice.kind, notice.message, notice.chars, about

    there = dict(before.values())
    decided = {cause(n, there): n.decision for n in before.notices if n.decision}
    here = dict(visit.values())
    for notice in visit.notices:
        notice.decision = decided.get(cause(notice, here))
