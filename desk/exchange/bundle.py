"""A visit as an HL7 FHIR R4 document: a Bundle that begins with its Composition (hl7.org/fhir/R4/documents.html).

A draft is "preliminary", a signed record "final", one signed again "amended". Codes: `codes.yaml`. What FHIR has no
element for is kept in `extensions`, so that `unbundle` gives back the very record.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import UTC, datetime
from html import escape
from importlib.metadata import version
from typing import Any

from desk import wording
from desk.exchange import extensions, resources, standing
from desk.exchange.standing import Standing
from desk.lines import Section, clean, sections
from shared.errors import BadInput
from shared.record import Visit
from shared.store import Entry, StoredVisit
from shared.store.rows import iso, record_json

Json = dict[str, Any]

_STATUS = {"draft": "preliminary", "amending": "preliminary", "signed": "final", "amended": "amended"}
_URI = "urn:ietf:rfc:3986"
_OURS = uuid.UUID("5a0f1a6e-8c57-4c0e-9d43-0b8a9c2e7f00")
_AMBULATORY = {
    "system": "http://terminology.hl7.org/CodeSystem/v3-ActCode",
    "code": "AMB",
    "display": "ambulatory",
}
"""As in HL7's own example of R4, hl7.org/fhir/R4/encounter-example-f201-20130404.html."""


def document(stored: StoredVisit, entries: Sequence[Entry], *, now: datetime | None = None) -> Json:
    """A visit as a FHIR document. now: when it is assembled; the present if not given.

    Raises BadInput for a visit that gave way to a later reading.
    """
    if stored.status == "replaced":
        raise BadInput(
            "it was replaced by a later reading",
            where=f"visit {stored.id}",
            remedy="Export the visit that replaced it; see: earside list",
        )
    at = iso(now or datetime.now(UTC))
    stands = standing.of(stored, entries)
    content = "\n".join(
        (record_json(stored.visit), stands.status, stands.at, str(stored.id), stored.recording)
    )
    return _Document(stored, stands, uuid.uuid5(_OURS, content)).made(entries, at)


class _Document:
    """A document in the making. seed: what all its identifiers are made from."""

    def __init__(self, stored: StoredVisit, stands: Standing, seed: uuid.UUID) -> None:
        self.stored, self.stands, self.seed = stored, stands, seed
        self.entries: list[Json] = []

    def made(self, history: Sequence[Entry], at: str) -> Json:
        self._put("Composition", {})  # comes first; filled in when all it refers to is there
        patient, device = self._put("Patient", self._patient()), self._put("Device", _device())
        encounter = self._put("Encounter", self._encounter(patient))
        about = {"subject": patient, "encounter": encounter}
        frame = resources.Frame(_STATUS[self.stored.status], about, self.stored.when)
        refs: dict[str, list[Json]] = {}
        for section, resource in resources.of_visit(self.stored.visit, frame):
            refs.setdefault(section, []).append(self._put_finding(resource))
        self.entries[0]["resource"] |= self._composition(about, device, refs)
        for entry in history:
            if entry.kind in ("sign", "amend") and not entry.erased:
                self._put("Provenance", self._provenance(entry))
        return {
            "resourceType": "Bundle",
            "identifier": {"system": _URI, "value": f"urn:uuid:{uuid.uuid5(self.seed, at)}"},
            "type": "document",
            "timestamp": at,
            "entry": self.entries,
        }

    def _put(self, kind: str, resource: Json) -> Json:
        """Add a resource; the reference to it."""
        its = uuid.uuid5(self.seed, f"{kind} {len(self.entries)}")
        whole = {"resourceType": kind, "id": str(its), **resource}
        self.entries.append({"fullUrl": f"urn:uuid:{its}", "resource": whole})
        return {"reference": f"urn:uuid:{its}"}

    def _put_finding(self, resource: Json) -> Json:
        """Add what was found or done; what a procedure led to is there already."""
        if "complicationDetail" in resource:
            there = [
                {key: part for key, part in entry["resource"].items() if key != "id"}
                for entry in self.entries
            ]
            resource["complicationDetail"] = [
                {"reference": self.entries[there.index(condition)]["fullUrl"]}
                for condition in resource["complicationDetail"]
            ]
        return self._put(resource["resourceType"], resource)

    def _person(self, name: str) -> Json:
        named = {"name": [{"text": clean(name) or "(no name)"}]}
        for entry in self.entries:
            if entry["resource"].get("name") == named["name"]:
                return {"reference": entry["fullUrl"]}
        return self._put("Practitioner", named)

    def _patient(self) -> Json:
        said = self.stored.visit.patient_reference
        words = clean(said.value) if said else ""
        parts: Json = {
            "text": _narrative(f"Patient reference: {words}" if words else "No reference was said.")
        }
        if said:
            parts["extension"] = [extensions.of_value("patient_reference", said)]
        if words and said and said.certainty == "stated":
            parts["identifier"] = [{"use": "usual", "value": words}]
        return parts

    def _encounter(self, patient: Json) -> Json:
        """The visit. Its beginning is known, when it ended is not said."""
        parts: Json = {
            "status": "finished" if self.stored.locked else "unknown",
            "class": _AMBULATORY,
            "type": [{"text": "Ear care visit"}],
            "subject": patient,
            "period": {"start": self.stored.when},
        }
        if self.stored.clinician:
            parts["participant"] = [{"individual": self._person(self.stored.clinician)}]
        return parts

    def _composition(self, about: Json, device: Json, refs: dict[str, list[Json]]) -> Json:
        stands, visit = self.stands, self.stored.visit
        signer = self._person(stands.checked_by) if stands.checked_by else None
        title = f"Ear care visit record: {stands.state}"
        extra = [extensions.pack(extensions.TAKEN_OUT, _dump(t)) for t in visit.taken_out or ()]
        if visit.taken_out == []:
            extra.append(extensions.pack(extensions.TAKEN_OUT, extensions.NONE))
        if visit.extent:
            extra.append(extensions.pack(extensions.EXTENT, _dump(visit.extent)))
        parts: Json = {
            "extension": extra,
            "text": _narrative(f"{title}, {stands.at}; {stands.made}.", wording.CAUTION),
            "identifier": {"system": _URI, "value": f"urn:uuid:{self.seed}"},
            "status": _STATUS[self.stored.status],
            "type": {"text": "Ear wax removal: visit record"},
            **about,
            "date": stands.at,
            "author": [signer, device] if signer else [device],
            "title": title,
            "attester": [{"mode": "professional", "time": stands.at, "party": signer}] if signer else [],
            "section": list(self._sections(refs)),
        }
        return {key: part for key, part in parts.items() if part}

    def _sections(self, refs: dict[str, list[Json]]) -> list[Json]:
        visit = self.stored.visit
        found = []
        for number, ear in enumerate(visit.ears):
            behind = [extensions.of_value(f"ears[{number}].side", ear.side)]
            shown = list(sections(Visit(ears=[ear])))
            found.append(_section(shown[0].heading, shown, refs.get(f"ears[{number}]"), behind))
        parts = {
            "removed_total_mm": "Both ears",
            "background": "Background",
            "outcome": "Outcome",
            "plan": "Plan",
        }
        for name, heading in parts.items():
            alone = Visit.model_construct(**{name: getattr(visit, name)})
            behind = [extensions.of_value(p, v) for p, v in alone.values()] if name == "plan" else []
            if shown := list(sections(alone)):
                found.append(_section(heading, shown, refs.get(name), behind))
        if visit.notices:
            lines = [clean(f"{n.message} ({n.guidance})") for n in visit.notices]
            behind = [extensions.pack(extensions.NOTICE, _dump(n)) for n in visit.notices]
            found.append({"title": "Look at before signing", "text": _narrative(*lines), "extension": behind})
        return found

    def _provenance(self, entry: Entry) -> Json:
        parts: Json = {
            "target": [{"reference": self.entries[0]["fullUrl"]}],
            "recorded": entry.at,
            "activity": {"text": "signed" if entry.kind == "sign" else "opened for an amendment"},
            "agent": [{"who": self._person(entry.who)}],
        }
        if entry.why:
            parts["reason"] = [{"text": clean(entry.why) or "(not legible)"}]
        return parts


def _device() -> Json:
    return {
        "deviceName": [{"name": "Earside", "type": "user-friendly-name"}],
        "version": [{"value": version("earside")}],
    }


def _section(title: str, shown: Sequence[Section], refs: list[Json] | None, behind: list[Json]) -> Json:
    lines = [
        f"{section.heading}: {line.label} {line.text}".strip() for section in shown for line in section.lines
    ]
    parts = {"title": title, "extension": behind, "text": _narrative(*(lines or [title])), "entry": refs}
    return {key: part for key, part in parts.items() if part}


def _narrative(*lines: str) -> Json:
    inner = "".join(f"<p>{escape(clean(line))}</p>" for line in lines)
    return {"status": "generated", "div": f'<div xmlns="http://www.w3.org/1999/xhtml">{inner}</div>'}


def _dump(part: Any) -> Json:
    dumped: Json = part.model_dump(mode="json", exclude_none=True)
    return dumped
