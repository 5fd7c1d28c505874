"""The visit record: the only definition of its fields and of the values they take.

Two forms share these classes. The *full form* keeps, with every value, the words and seconds it came
from (`Value`). The *plain form* has the values alone, a doubtful one with a trailing "?"; its classes
(`PlainVisit` and below) are derived from the full ones, so that a field is defined once.
A key is present only if the clinician said it: absent means unsaid, never normal.
"""

from __future__ import annotations

import types
from collections.abc import Iterator
from typing import Annotated, Any, Generic, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, create_model, model_validator

T = TypeVar("T")

Side = Literal["right", "left", "unstated"]
NamedSide = Literal["right", "left", "both"]
Consent = Literal["given", "declined"]
Symptom = Literal[
    "blocked", "hearing_loss", "sudden_hearing_loss", "tinnitus", "itch", "pain", "discharge", "dizziness"
]
History = Literal[
    "perforation", "grommets", "ear_surgery", "mastoid_cavity", "otitis_externa", "otitis_media",
    "hearing_aids", "anticoagulants", "diabetes", "immunosuppressed", "head_neck_radiotherapy",
    "cleft_palate", "exostoses", "previous_removal", "first_removal",
]  # fmt: skip
Agent = Literal[
    "olive_oil", "almond_oil", "sodium_bicarbonate", "hydrogen_peroxide", "urea_peroxide", "saline", "water"
]
Occlusion = Literal["none", "partial", "complete"]
Layer = Literal["whole", "surface", "middle", "inner"]
Consistency = Literal[
    "hard", "firm", "dry", "crumbly", "flaky", "clay_like", "sticky", "soft", "wet", "liquid"
]
Colour = Literal[
    "white", "grey", "beige", "yellow", "honey", "orange", "light_brown", "brown", "dark_brown",
    "red_brown", "black",
]  # fmt: skip
Depth = Literal["outer", "middle", "deep", "on_drum"]
Skin = Literal["dry", "flaking", "loose", "attached", "keratin_plug"]
Canal = Literal[
    "healthy", "dry", "narrow", "inflamed", "swollen", "hairy", "exostoses", "abraded", "bleeding",
    "tender", "fungal", "discharge", "eczema",
]  # fmt: skip
ForeignBody = Literal["cotton", "dome", "bead", "insect", "plug", "other"]
Drum = Literal[
    "healthy", "intact", "perforated", "retracted", "inflamed", "dull", "scarred", "grommet", "fluid",
    "bulging", "not_seen",
]  # fmt: skip
Method = Literal["microsuction", "manual", "irrigation"]
InstrumentName = Literal[
    "suction_tube", "fine_suction_tube", "jobson_horne_probe", "crocodile_forceps", "aural_forceps",
    "wax_hook", "curette", "grommet_inserter", "speculum", "endoscope", "microscope", "loupes",
    "otoscope", "irrigator",
]  # fmt: skip
Tolerance = Literal["well", "with_discomfort", "stopped_early"]
Clearance = Literal["complete", "partial", "none"]
Complication = Literal[
    "bleeding", "pain", "dizziness", "cough", "faint", "abrasion", "tinnitus", "perforation", "none"
]
DeniedComplication = Literal[
    "bleeding", "pain", "dizziness", "cough", "faint", "abrasion", "tinnitus", "perforation"
]
Hearing = Literal["improved", "unchanged", "worse"]
Advice = Literal[
    "keep_dry", "olive_oil", "no_cotton_buds", "return_if_symptoms", "leaflet_given", "hearing_test"
]
IntervalUnit = Literal["days", "weeks", "months", "years"]
ReferralTo = Literal["gp", "ent", "audiology", "emergency"]
Urgency = Literal["routine", "urgent"]

CharSpan = Annotated[tuple[int, int], Field(description="[start, end) in the transcript's text")]
TimeSpan = Annotated[tuple[float, float], Field(description="seconds from the recording's start")]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Value(_Part, Generic[T]):
    """One recorded value with the words behind it.

    certainty: "possible" when it was said with doubt. origin: "heard" in so many words, "inferred" by a
    rule of the contract from other words (a method from its instrument), "entered" by a person.
    heard, chars, seconds: the words as transcribed, their place in the text, their time in the recording.
    confidence: 0-1, how sure Earside is of having heard and read it rightly. confirmed_by: the person who
    looked at it and found it right; absent until somebody has.
    """

    value: T
    certainty: Literal["stated", "possible"] = "stated"
    origin: Literal["heard", "inferred", "entered"] = "heard"
    heard: str | None = None
    chars: CharSpan | None = None
    seconds: TimeSpan | None = None
    confidence: float = Field(default=1.0, ge=0, le=1)
    confirmed_by: str | None = None

    @model_validator(mode="after")
    def _has_evidence(self) -> Value[T]:
        if self.origin != "entered" and (self.heard is None or self.chars is None):
            raise ValueError("a value that was not entered by a person needs the words it came from")
        return self

    @property
    def by_hand(self) -> bool:
        """Whether a person entered or confirmed it."""
        return self.origin == "entered" or self.confirmed_by is not None


class SidedSymptom(_Part):
    """A symptom, and which ear it is in if that was said."""

    item: Value[Symptom]
    side: Value[NamedSide] | None = None


class SidedHistory(_Part):
    """A point of history, and which ear it concerns if that was said."""

    item: Value[History]
    side: Value[NamedSide] | None = None


class Softener(_Part):
    """What the patient put in at home before the visit, and for how many days."""

    agent: Value[Agent] | None = None
    days: Value[int] | None = None


class Background(_Part):
    """What the patient brought: consent, symptoms, history, softener."""

    consent: Value[Consent] | None = None
    symptoms: list[SidedSymptom] = Field(default_factory=list)
    symptoms_denied: list[Value[Symptom]] = Field(default_factory=list)
    history: list[SidedHistory] = Field(default_factory=list)
    history_denied: list[Value[History]] = Field(default_factory=list)
    softener: Softener | None = None


class Wax(_Part):
    """One layer of wax; `whole` when no layer was named."""

    where: Value[Layer]
    consistency: list[Value[Consistency]] = Field(default_factory=list)
    colour: list[Value[Colour]] = Field(default_factory=list)


class Before(_Part):
    """The ear as found, until its removal is finished. occlusion_percent: 0-100."""

    occlusion: Value[Occlusion] | None = None
    occlusion_percent: Value[int] | None = None
    wax: list[Wax] = Field(default_factory=list)
    depth: list[Value[Depth]] = Field(default_factory=list)
    skin: list[Value[Skin]] = Field(default_factory=list)
    canal: list[Value[Canal]] = Field(default_factory=list)
    foreign_body: Value[ForeignBody] | None = None
    drum: list[Value[Drum]] = Field(default_factory=list)


class Instrument(_Part):
    """An instrument used; size as dictated, normalised: 18G, 6Fr, 2mm."""

    name: Value[InstrumentName]
    size: Value[str] | None = None


class Procedure(_Part):
    """What was done in this ear."""

    methods: list[Value[Method]] = Field(default_factory=list)
    instruments: list[Instrument] = Field(default_factory=list)
    agents: list[Value[Agent]] = Field(default_factory=list)
    tolerance: Value[Tolerance] | None = None


class After(_Part):
    """The look once the removal in this ear is finished."""

    clearance: Value[Clearance] | None = None
    drum: list[Value[Drum]] = Field(default_factory=list)
    canal: list[Value[Canal]] = Field(default_factory=list)
    skin: list[Value[Skin]] = Field(default_factory=list)


class Ear(_Part):
    """One ear of one visit. removed_mm: millimetres, one number a piece."""

    side: Value[Side]
    before: Before | None = None
    procedure: Procedure | None = None
    removed_mm: list[Value[int]] = Field(default_factory=list)
    after: After | None = None
    complications: list[Value[Complication]] = Field(default_factory=list)
    complications_denied: list[Value[DeniedComplication]] = Field(default_factory=list)


class Outcome(_Part):
    """How the patient hears after the work."""

    hearing: Value[Hearing] | None = None


class Recall(_Part):
    """When the patient is to be seen again."""

    number: Value[int]
    unit: Value[IntervalUnit]


class Referral(_Part):
    """To whom the patient is referred; urgency only if it was said."""

    to: Value[ReferralTo]
    urgency: Value[Urgency] | None = None


class Plan(_Part):
    """What happens next."""

    advice: list[Value[Advice]] = Field(default_factory=list)
    recall: Recall | None = None
    referral: Referral | None = None


class Decision(_Part):
    """What a person decided of a notice. what: seen (it holds, and is borne in mind), dismissed (it does not)."""

    by: str
    what: Literal["seen", "dismissed"]
    reason: str = ""


class TakenOut(_Part):
    """A value that a person took out of the record, so that reading the words again does not bring it back.

    field: its path without numbers, from the ear on, e.g. "before.wax.colour". ear: its place in `ears`.
    of: what it was part of, e.g. the layer of wax or the instrument whose size it was.
    """

    field: str
    value: str | int
    by: str
    ear: int | None = None
    of: str | None = None
    heard: str | None = None
    chars: CharSpan | None = None


class Notice(_Part):
    """Something a clinician must look at before signing.

    kind: its sort, e.g. "side_unstated". weight: higher is looked at first. must_decide: signing waits
    for it. path: the value it concerns, e.g. "ears[0].side". message: what was said and why it is shown.
    guidance: the published source it rests on, or "common practice, no source". decision: what a person
    made of it; absent until somebody has.
    """

    kind: str
    weight: int
    must_decide: bool = False
    path: str = ""
    message: str
    guidance: str
    heard: str | None = None
    chars: CharSpan | None = None
    seconds: TimeSpan | None = None
    decision: Decision | None = None

    @property
    def waits(self) -> bool:
        """Whether signing waits for it."""
        return self.must_decide and self.decision is None


class Extent(_Part):
    """Which stretch of the recording a visit was read from, and how sure its limits are (0-1)."""

    chars: CharSpan
    seconds: TimeSpan | None = None
    confidence: float = Field(ge=0, le=1)


class Visit(_Part):
    """One patient's visit, in the full form."""

    patient_reference: Value[str] | None = None
    background: Background | None = None
    ears: list[Ear] = Field(default_factory=list)
    removed_total_mm: Value[int] | None = None
    outcome: Outcome | None = None
    plan: Plan | None = None
    extent: Extent | None = None
    notices: list[Notice] = Field(default_factory=list)
    taken_out: list[TakenOut] | None = None

    def plain(self) -> dict[str, Any]:
        """The visit in the plain form: values only, nothing empty."""
        found = _plain(self)
        return found if isinstance(found, dict) else {}

    def values(self) -> Iterator[tuple[str, Value[Any]]]:
        """Every value with its path, e.g. ("ears[0].before.wax[1].colour[0]", Value)."""
        return _walk(self, "")


NOT_SAID = ("extent", "notices", "taken_out")
"""Keys of a visit that are about the record, not in its plain form."""


def _plain(node: Any) -> Any:
    if isinstance(node, Value):
        doubtful = node.certainty == "possible" and isinstance(node.value, str)
        return f"{node.value}?" if doubtful else node.value
    if isinstance(node, list):
        return [_plain(x) for x in node]
    if isinstance(node, BaseModel):
        parts = {key: _plain(getattr(node, key)) for key in type(node).model_fields if key not in NOT_SAID}
        return {k: v for k, v in parts.items() if v not in (None, [], {})}
    return node


def _walk(node: Any, path: str) -> Iterator[tuple[str, Value[Any]]]:
    if isinstance(node, Value):
        yield path, node
    elif isinstance(node, list):
        for i, item in enumerate(node):
            yield from _walk(item, f"{path}[{i}]")
    elif isinstance(node, BaseModel) and not isinstance(node, Extent | Notice | TakenOut):
        for key in type(node).model_fields:
            yield from _walk(getattr(node, key), f"{path}.{key}" if path else key)


def closed_values(kind: Any) -> tuple[str, ...]:
    """The values of a closed list, e.g. closed_values(Drum)."""
    return tuple(get_args(kind))


def _plain_type(annotation: Any) -> Any:
    """The plain form's type for a full form's annotation."""
    origin = get_origin(annotation)
    if origin is list:
        return list[_plain_type(get_args(annotation)[0])]  # type: ignore[misc]
    if origin in (Union, types.UnionType):
        return Union[tuple(_plain_type(a) for a in get_args(annotation))]  # noqa: UP007
    if isinstance(annotation, type) and issubclass(annotation, Value):
        inner = annotation.model_fields["value"].annotation
        if get_origin(inner) is Literal:
            listed = get_args(inner)
            return Literal[tuple(listed) + tuple(f"{v}?" for v in listed)]
        return inner
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return plain_model(annotation)
    return annotation


_PLAIN: dict[type[BaseModel], type[BaseModel]] = {}


def plain_model(full: type[BaseModel]) -> type[BaseModel]:
    """The plain form's class for a class of the full form."""
    if full not in _PLAIN:
        fields: dict[str, Any] = {
            name: (_plain_type(info.annotation), info)
            for name, info in full.model_fields.items()
            if name not in NOT_SAID
        }
        _PLAIN[full] = create_model(
            f"Plain{full.__name__}", __base__=_Part, __doc__=f"Plain form. {full.__doc__}", **fields
        )
    return _PLAIN[full]


PlainVisit = plain_model(Visit)
