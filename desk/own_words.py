"""A clinic's own vocabulary: where it is looked for, whether it can be used, and what it adds."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

from shared.errors import BadVocabulary
from shared.store import data_folder
from shared.vocabulary import Vocabulary, forms, load, parse

FILE_NAME = "vocabulary.yaml"


@dataclass(frozen=True)
class OwnWords:
    """A file that can be used. added: phrases that Earside does not have, by (kind, value); known: how many
    it has already, with the same meaning."""

    added: dict[tuple[str, str], list[str]]
    known: int


def usual_file(data: Path | None = None) -> Path:
    """Where a clinic's own file is looked for: in the data folder."""
    return (data or data_folder()) / FILE_NAME


def vocabulary(chosen: Path | None, *, data: Path | None = None) -> Vocabulary:
    """The vocabulary to read with: the shipped one and the clinic's own file, if it chose or keeps one.

    Raises BadVocabulary.
    """
    usual = usual_file(data)
    file = chosen or (usual if usual.exists() else None)
    if file is None:
        return load()
    check(file)
    return load(file)


def check(file: Path) -> OwnWords:
    """What the file adds. Raises BadVocabulary, naming file and entry, if it cannot be used."""
    try:
        own = parse(file.read_text(encoding="utf-8"), str(file))
    except (OSError, UnicodeDecodeError) as fault:
        what = f"cannot be read ({getattr(fault, 'strerror', None) or 'not UTF-8 text'})"
        raise BadVocabulary(what, where=str(file), remedy="Give a UTF-8 text file.") from fault
    return added(own, str(file))


def added(own: Vocabulary, where: str) -> OwnWords:
    """What a clinic's words add. Raises BadVocabulary for a phrase that means something else already."""
    meaning = _meanings({kind for kind, _ in own.entries})
    new: dict[tuple[str, str], list[str]] = defaultdict(list)
    known = 0
    for kind, value, phrase in own.phrases():
        meant = {meaning.get((kind, form)) for form in forms(phrase)}
        if others := meant - {None, value}:
            raise BadVocabulary(
                f"“{phrase}” means {min(map(str, others))} already",
                where=f"{where}, {kind}, {value}",
                remedy="A phrase can mean one value of a kind: take it out, or say it with more words.",
            )
        if None in meant:
            new[kind, value].append(phrase)
        else:
            known += 1
    return OwnWords(dict(new), known)


def _meanings(kinds: set[str]) -> dict[tuple[str, tuple[str, ...]], str]:
    """What every shipped phrase of these kinds means."""
    shipped = ((kind, value, phrase) for kind, value, phrase in load().phrases() if kind in kinds)
    return {(kind, form): value for kind, value, phrase in shipped for form in forms(phrase)}
