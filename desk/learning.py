"""Learning from corrections: words that were put right the same way twice are offered for the clinic's own
vocabulary file, with what they would have changed in past visits. Nothing is learned unasked."""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from filelock import FileLock

from desk import own_words
from desk.rereading import Rereader, stretch
from shared.errors import BadVocabulary, StoreError
from shared.record import Visit
from shared.store import Store
from shared.store.faults import faults
from shared.store.schema import flush
from shared.vocabulary import parse

KIND_OF = {
    "before.wax.consistency": "consistency",
    "before.wax.colour": "colour",
    "before.wax.where": "layer",
    "before.depth": "depth",
    "before.occlusion": "occlusion",
    "before.skin": "skin",
    "before.canal": "canal",
    "before.drum": "drum",
    "before.foreign_body": "foreign_body",
    "procedure.methods": "method",
    "procedure.instruments": "instrument",
    "procedure.agents": "agent",
    "procedure.tolerance": "tolerance",
    "after.clearance": "clearance",
    "after.drum": "drum",
    "after.canal": "canal",
    "after.skin": "skin",
    "complications": "complication",
    "background.consent": "consent",
    "background.symptoms": "symptom",
    "background.history": "history",
    "background.softener.agent": "agent",
    "outcome.hearing": "hearing_outcome",
    "plan.advice": "advice",
    "plan.referral": "referral",
    "plan.referral.urgency": "urgency",
}
"""The kind of phrase that gives a field its values. What was denied is said with other words around it, and
numbers are no phrases: from those nothing is learned."""

_PHRASE = re.compile(r"[a-z0-9]+(?:['’-][a-z0-9]+)*(?: [a-z0-9]+(?:['’-][a-z0-9]+)*){0,5}")
_PREVIEWED = 100


@dataclass(frozen=True)
class Suggestion:
    """Words that were put right the same way `times` times, and what they would then mean."""

    phrase: str
    kind: str
    value: str
    times: int


@dataclass(frozen=True)
class Effect:
    """What a phrase would have changed in a visit, as it was read: paths with values, e.g. "after.drum: dull"."""

    visit: int
    status: str
    more: tuple[str, ...]
    fewer: tuple[str, ...]


def suggestions(store: Store) -> list[Suggestion]:
    """What could be learned, the most frequent first: each can be added to the clinic's file as it is now.

    Raises BadVocabulary if that file cannot be used.
    """
    file = own_words.usual_file(store.folder)
    text = _text(file)
    out: dict[tuple[str, str], Suggestion] = {}
    for repeated in store.corrected_alike():
        phrase = " ".join(repeated.heard.strip(' .,;:!?"“”').split())
        kind = KIND_OF.get(re.sub(r"\.(item|name|to)$", "", repeated.field))
        if (
            kind is None
            or not _PHRASE.fullmatch(phrase)
            or (kind, str(repeated.after)) == ("complication", "none")
        ):
            continue
        found = Suggestion(phrase, kind, str(repeated.after), repeated.times)
        try:
            adds = _adds(file, text, found)
        except BadVocabulary:
            continue  # these words mean something else already
        earlier = out.get((kind, phrase))
        if adds and earlier is None:
            out[kind, phrase] = found
        elif adds and earlier is not None and earlier.value != found.value:
            out.pop((kind, phrase))  # said of one thing in one field, of another in the next
        elif adds and earlier is not None:
            out[kind, phrase] = Suggestion(phrase, kind, found.value, earlier.times + found.times)
    return sorted(out.values(), key=lambda s: (-s.times, s.phrase))


def preview(store: Store, suggestion: Suggestion, before: Rereader, after: Rereader) -> Iterator[Effect]:
    """What the phrase would have changed in past visits, the latest first, at most 100 of those in whose words
    it stands. before, after: read without and with the phrase (see `with_phrase`). Nothing is changed."""
    for row in store.visits(words=f'"{suggestion.phrase}"', limit=_PREVIEWED).rows:
        stored = store.visit(row.id)
        words = store.transcript(stored.transcript)
        chars = stretch(stored.visit, words)
        old, new = _told(before.read(words, chars)), _told(after.read(words, chars))
        if old != new:
            yield Effect(row.id, row.status, tuple(sorted(new - old)), tuple(sorted(old - new)))


def with_phrase(store: Store, suggestion: Suggestion) -> Any:
    """The vocabulary as it would be with the phrase. Raises BadVocabulary."""
    file = own_words.usual_file(store.folder)
    text = _text(file)
    return own_words.vocabulary(None, data=store.folder).merged(parse(_added(text, suggestion), str(file)))


def learn(store: Store, suggestion: Suggestion) -> Path:
    """Add the phrase to the clinic's vocabulary file and return where that is.

    Comments and order in it stay. The new file is checked before it takes the old one's place, in one step.
    Raises BadVocabulary if the phrase cannot be added, StoreError if the file cannot be written; then the
    file is as it was.
    """
    file = own_words.usual_file(store.folder)
    with faults(file), FileLock(file.with_suffix(".lock")):
        file = file.resolve()
        text = _text(file)
        new = _added(text, suggestion)
        if _sorted(parse(new, str(file)).entries) != _sorted(_expected(text, suggestion, file)):
            raise BadVocabulary(
                f"“{suggestion.phrase}” could not be added without changing something else",
                where=str(file),
                remedy=f"Add it by hand, as {suggestion.kind}, {suggestion.value}.",
            )
        part = file.with_name(f".{file.name}.{secrets.token_hex(4)}.part")
        try:
            with open(
                os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w", encoding="utf-8", newline=""
            ) as out:
                out.write(new)
                out.flush()
                os.fsync(out.fileno())
            own_words.check(part)
            part.replace(file)
            flush(file.parent)
        finally:
            part.unlink(missing_ok=True)
    return file


def _text(file: Path) -> str:
    if not file.exists():
        return ""
    own_words.check(file)
    try:
        return file.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise StoreError("cannot be read", where=str(file), remedy="Check who may read it.") from fault


def _expected(text: str, suggestion: Suggestion, file: Path) -> dict[tuple[str, str], list[str]]:
    entries = dict(parse(text, str(file)).entries) if text.strip() else {}
    key = suggestion.kind, suggestion.value
    return {**entries, key: [*entries.get(key, []), suggestion.phrase]}


def _sorted(entries: dict[tuple[str, str], list[str]]) -> dict[tuple[str, str], list[str]]:
    return {key: sorted(phrases) for key, phrases in entries.items()}


def _adds(file: Path, text: str, suggestion: Suggestion) -> bool:
    """Whether the phrase is new. Raises BadVocabulary if it means something else already."""
    added = own_words.added(parse(_added(text, suggestion), str(file)), str(file)).added
    return suggestion.phrase in added.get((suggestion.kind, suggestion.value), []) and (
        suggestion.phrase
        not in (parse(text, str(file)).entries if text.strip() else {}).get(
            (suggestion.kind, suggestion.value), []
        )
    )


def _added(text: str, suggestion: Suggestion) -> str:
    """The file's text with the phrase put in where its kind and value are, or at the end."""
    phrase = f'"{suggestion.phrase}"'
    root = yaml.compose(text, Loader=yaml.SafeLoader) if text.strip() else None
    kind = _child(root, suggestion.kind)
    if kind is None:
        gap = "" if not text or text.endswith("\n") else "\n"
        return f"{text}{gap}{suggestion.kind}:\n  {suggestion.value}: [{phrase}]\n"
    value = _child(kind, suggestion.value)
    if value is None:
        first = kind.value[0][0].start_mark
        if kind.flow_style:
            return f"{text[: first.index]}{suggestion.value}: [{phrase}], {text[first.index :]}"
        line = first.index - first.column
        return f"{text[:line]}{' ' * first.column}{suggestion.value}: [{phrase}]\n{text[line:]}"
    if value.flow_style:
        last = value.value[-1].end_mark.index
        return f"{text[:last]}, {phrase}{text[last:]}"
    first = value.value[0].start_mark
    dash = text.rfind("-", 0, first.index)
    line = text.rfind("\n", 0, dash) + 1
    return f"{text[:line]}{text[line:dash]}- {phrase}\n{text[line:]}"


def _child(node: Any, name: str) -> Any:
    pairs = node.value if isinstance(node, yaml.MappingNode) else ()
    return next((value for key, value in pairs if key.value == name), None)


def _told(visit: Visit) -> set[str]:
    ears = [ear.side.value for ear in visit.ears]
    out = set()
    for path, value in visit.values():
        ear = re.match(r"ears\[(\d+)\]\.", path)
        side = f"{ears[int(ear[1])]} ear " if ear else ""
        field = re.sub(r"\[\d+\]", "", path).removeprefix("ears.").replace("_", " ").replace(".", " ")
        out.add(f"{side}{field}: {value.value}{'?' if value.certainty == 'possible' else ''}")
    return out
