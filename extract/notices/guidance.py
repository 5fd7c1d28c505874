"""guidance.yaml under a strict schema: what each notice weighs, says and rests on."""

from __future__ import annotations

import re
import string
from functools import cache, lru_cache
from importlib import resources
from typing import Annotated, Any, Literal, get_args

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from extract.phrases import Phrases
from shared import record
from shared.errors import BadVocabulary
from shared.record import Value, Visit
from shared.vocabulary import CLOSED, forms, load_yaml

FILE = "guidance.yaml"

PLACES = frozenset({"ear", "said", "other", "number", "limit"})
"""What a message can be filled with."""

Certain = Literal[
    "side_unstated",
    "side_corrected",
    "drum_contradiction",
    "complication_contradiction",
    "consent_contradiction",
    "clearance_contradiction",
    "occlusion_contradiction",
    "history_contradiction",
    "length_disagreement",
    "length_teen_or_ty",
    "length_open",
    "recall_open",
    "size_teen_or_ty",
    "length_over_canal",
    "length_long",
    "length_zero",
    "width_over_canal",
    "total_below_pieces",
    "uncertain_side",
    "uncertain_drum",
    "uncertain_number",
    "uncertain_denial",
    "uncertain_complication",
    "uncertain_finding",
    "uncertain_words",
    "hard_to_hear",
    "unclear_passage",
    "sudden_hearing_loss_recent",
    "sudden_hearing_loss_older",
    "sudden_hearing_loss_undated",
    "not_recorded",
    "drum_not_described",
    "consent_unsaid",
    "complications_unsaid",
    "second_ear_unsaid",
]
"""Kinds of notice that have a rule of their own in code; others come from `findings` and `suspicion`."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Source(_Strict):
    """A publication; without a year if none is known."""

    title: str
    year: int | None = None


class Rule(_Strict):
    """One kind of notice. rests_on: short names of sources, each with the part that is meant."""

    weight: int = Field(ge=1, le=100)
    must_decide: bool = False
    message: str
    rests_on: list[str] = Field(min_length=1)

    @model_validator(mode="after")
    def _has_known_places(self) -> Rule:
        used = {name for _, name, _, _ in string.Formatter().parse(self.message) if name is not None}
        if not used <= PLACES:
            raise ValueError(f"a message can use {sorted(PLACES)}, not {sorted(used - PLACES)}")
        return self


class Limits(_Strict):
    """Lengths in millimetres, times in days, probabilities and shares 0-1, distances in words."""

    piece_ask_mm: int
    piece_note_mm: int
    width_ask_mm: int
    same_within_mm: float
    probability: float = Field(ge=0, le=1)
    passage_words: int
    passage_probability: float = Field(ge=0, le=1)
    passage_share: float = Field(ge=0, le=1)
    far_words: int
    recent_days: int
    width_words: list[str]
    sudden_words: list[str]
    recent_words: list[str]


class Finding(_Strict):
    """Recorded values that ask for a look: one of `any`, together with one of `together` if there are any."""

    kind: str
    any_of: Annotated[dict[str, list[str]], Field(alias="any", min_length=1)]
    together: Annotated[dict[str, list[str]], Field(alias="with")] = Field(default_factory=dict)


class Guidance(_Strict):
    """The whole file; a name that stands for nothing is refused."""

    sources: dict[str, Source]
    defer: str
    no_referral: str
    limits: Limits
    safety: dict[Literal["side", "drum", "number", "denial", "complication"], list[str]]
    watched: dict[str, list[str]]
    excludes: dict[record.Drum, list[record.Drum]]
    notices: dict[str, Rule]
    findings: list[Finding]
    disputed: list[record.History]
    signs: dict[str, list[str]]
    suspicion: dict[str, list[str]]

    @model_validator(mode="after")
    def _holds_together(self) -> Guidance:
        by_data = {f.kind for f in self.findings} | set(self.suspicion) - {"harmless"}
        needed = set(get_args(Certain)) | by_data
        if needed != set(self.notices):
            raise ValueError(f"rules and notices do not match: {sorted(needed ^ set(self.notices))}")
        for kind, rule in self.notices.items():
            for source in rule.rests_on:
                if source.split()[0] not in self.sources:
                    raise ValueError(f"{kind} rests on {source.split()[0]!r}, which is not among the sources")
        paths = fields()
        for listed in [self.watched, *(x for f in self.findings for x in (f.any_of, f.together))]:
            for path, values in listed.items():
                _check(path, values, paths.get(path))
        for path in (p for listed in self.safety.values() for p in listed):
            if path not in paths:
                raise ValueError(f"the record has no {path!r}")
        for kind, values in self.signs.items():
            _check(kind, values, CLOSED.get(kind))
        return self

    def rests_on(self, kind: str) -> str:
        """The sources of one kind of notice, written out."""
        return "; ".join(self._written(name) for name in self.notices[kind].rests_on)

    def _written(self, name: str) -> str:
        short, _, part = name.partition(" ")
        source = self.sources[short]
        dated = f"{source.title}, {source.year}" if source.year else source.title
        return f"{dated}: {part}" if part else dated


def _check(name: str, values: list[str], allowed: tuple[str, ...] | None) -> None:
    if allowed is None:
        raise ValueError(f"the record has no {name!r}")
    if unknown := set(values) - set(allowed):
        raise ValueError(f"{name} has no value {sorted(unknown)[0]!r}")


@cache
def fields() -> dict[str, tuple[str, ...]]:
    """Every field of the record by its path without numbers, with its closed list (empty if it has none)."""
    found: dict[str, tuple[str, ...]] = {}

    def walk(annotation: Any, path: str) -> None:
        if isinstance(annotation, type) and issubclass(annotation, Value):
            found[plain_path(path)] = record.closed_values(annotation.model_fields["value"].annotation)
        elif isinstance(annotation, type) and issubclass(annotation, BaseModel):
            for name, info in annotation.model_fields.items():
                walk(info.annotation, f"{path}.{name}" if path else name)
        else:
            for inner in get_args(annotation):
                walk(inner, path)

    walk(Visit, "")
    return found


@lru_cache(4096)
def plain_path(path: str) -> str:
    """A path without numbers: "background.history[0].item" is "background.history"."""
    return re.sub(r"\[\d+\]", "", path).removesuffix(".item")


def parse(text: str, where: str = FILE) -> Guidance:
    """Guidance from YAML. Raises BadVocabulary, naming file and entry, if it does not follow the schema."""
    try:
        return Guidance.model_validate(load_yaml(text))
    except yaml.YAMLError as error:
        raise BadVocabulary("not valid YAML", where=where, remedy="Check indents and colons.") from error
    except ValidationError as error:
        first = error.errors()[0]
        place = ", ".join([where, *(str(part) for part in first["loc"])])
        raise BadVocabulary(first["msg"], where=place, remedy="Compare with the shipped file.") from error


@cache
def guidance() -> Guidance:
    """The shipped guidance."""
    return parse((resources.files("shared.vocabulary") / FILE).read_text(encoding="utf-8"))


@cache
def suspicion_phrases() -> Phrases:
    """The words of `suspicion`, ready to be found; each reads {its kind: phrase}."""
    phrases = Phrases()
    for kind, listed in guidance().suspicion.items():
        for phrase in listed:
            for form in forms(phrase):
                phrases.add(form, kind, phrase)
    return phrases
