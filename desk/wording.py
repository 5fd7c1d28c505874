"""The words in which a record is shown: plain trade English for every field and value. Data, not code."""

from __future__ import annotations

SECTIONS = {
    "before": "Before",
    "procedure": "Procedure",
    "removed_mm": "Removed",
    "after": "After",
    "complications": "During the work",
}
"""The parts of one ear, in the order in which they are shown."""

EARS = {"right": "Right ear", "left": "Left ear", "unstated": "Ear, side not said"}

FIELDS = {
    "patient_reference": "Patient reference",
    "background.consent": "Consent",
    "background.symptoms": "Symptom",
    "background.symptoms_denied": "No",
    "background.history": "History",
    "background.history_denied": "Never had",
    "background.softener": "Softened at home",
    "before.occlusion": "Canal blocked",
    "before.occlusion_percent": "Canal blocked",
    "before.wax": "Wax",
    "before.depth": "Depth",
    "before.skin": "Skin",
    "before.canal": "Canal",
    "before.foreign_body": "Foreign body",
    "before.drum": "Drum",
    "procedure.methods": "Method",
    "procedure.instruments": "Instrument",
    "procedure.agents": "Put in the ear",
    "procedure.tolerance": "Tolerated",
    "removed_mm": "Length",
    "after.clearance": "Cleared",
    "after.drum": "Drum",
    "after.canal": "Canal",
    "after.skin": "Skin",
    "complications": "Happened",
    "complications_denied": "No",
    "removed_total_mm": "Length, both ears",
    "outcome.hearing": "Hearing",
    "plan.advice": "Advice",
    "plan.recall": "See again",
    "plan.referral": "Refer to",
}
"""What stands in front of a value."""

VALUES = {
    "attached": "attached, left in place",
    "clay_like": "clay-like",
    "ent": "ENT",
    "first_removal": "never cleared before",
    "gp": "GP",
    "jobson_horne_probe": "Jobson Horne probe",
    "head_neck_radiotherapy": "head or neck radiotherapy",
    "hearing_test": "have a hearing test",
    "dome": "hearing-aid dome",
    "keep_dry": "keep dry",
    "keratin_plug": "keratin plug",
    "leaflet_given": "leaflet given",
    "no_cotton_buds": "no cotton buds",
    "not_seen": "not seen",
    "on_drum": "on the drum",
    "plug": "ear plug",
    "previous_removal": "wax removed before",
    "red_brown": "red-brown",
    "return_if_symptoms": "come back if symptoms return",
    "urea_peroxide": "urea hydrogen peroxide",
}
"""Values that do not read well as they are written; all others only lose their underscores."""

VALUES_BY_FIELD = {
    "complications": {"none": "nothing untoward"},
    "after.clearance": {"none": "not at all", "complete": "completely", "partial": "partly"},
    "before.occlusion": {"none": "not at all", "complete": "completely", "partial": "partly"},
    "before.foreign_body": {"other": "other than listed"},
    "plan.advice": {"olive_oil": "use olive oil"},
}
"""Where a value reads differently under one field."""

UNITS = {"removed_mm": "mm", "removed_total_mm": "mm", "before.occlusion_percent": "%"}

LAYERS = {"whole": "Wax", "surface": "Wax, surface", "middle": "Wax, middle", "inner": "Wax, inner"}

ALONE = {
    "background.consent": "Consent",
    "background.symptoms.item": "Symptom",
    "background.symptoms_denied": "Symptom denied",
    "background.history.item": "History",
    "background.history_denied": "History denied",
    "background.softener.agent": "Softened at home with",
    "before.occlusion": "Canal blocked",
    "before.wax.where": "Layer of wax",
    "before.wax.consistency": "Wax",
    "before.wax.colour": "Wax colour",
    "before.depth": "Depth of wax",
    "before.skin": "Skin before",
    "before.canal": "Canal before",
    "before.foreign_body": "Foreign body",
    "before.drum": "Drum before",
    "procedure.methods": "Method",
    "procedure.instruments.name": "Instrument",
    "procedure.agents": "Put in the ear",
    "procedure.tolerance": "Tolerated",
    "after.clearance": "Cleared",
    "after.drum": "Drum after",
    "after.canal": "Canal after",
    "after.skin": "Skin after",
    "complications": "Happened in the work",
    "complications_denied": "Did not happen",
    "outcome.hearing": "Hearing after",
    "plan.advice": "Advice",
    "plan.referral.to": "Refer to",
    "plan.referral.urgency": "Urgency of the referral",
}
"""What a field of a closed list is called where it stands alone, outside its part of the sheet."""

PARTS = {
    "side": "Side",
    "background.symptoms.side": "Side of the symptom",
    "background.history.side": "Side of the history",
    "background.softener.days": "Days of softening",
    "procedure.instruments.size": "Size of the instrument",
    "plan.recall.number": "See again in",
    "plan.recall.unit": "See again in",
}
"""What the remaining values are called where they stand alone."""

STATUS = {
    "draft": "to check",
    "amending": "amendment to sign",
    "signed": "signed",
    "amended": "signed, amended",
    "replaced": "replaced",
}
"""The state of a visit in a list."""

STATES = {
    "draft": "DRAFT, not signed: check every value against the words beside it.",
    "signed": "Signed.",
    "amending": "OPEN FOR AN AMENDMENT: sign it again.",
    "amended": "Signed, and amended since it was first signed.",
    "replaced": "REPLACED by a later reading; kept for the history only.",
}

CAUTION = (
    "Earside writes down what was said; it does not diagnose and is not a medical device. "
    "Follow your local protocol and your own professional judgement."
)

DEFER = "Follow your local protocol and professional judgement."
"""How every message of the guidance ends; the sheet says it once, above them all."""
