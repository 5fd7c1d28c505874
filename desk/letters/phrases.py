"""The words of letters: for every value of a field a phrase that fits its sentence. Data, not code.

A value that is not here reads as the desk writes it (`desk.lines.plain`).
"""

from __future__ import annotations

SIDES = {"right": "the right ear", "left": "the left ear", "unstated": "an ear whose side was not stated"}
"""An ear in a sentence."""

CONCERNED = {"right": "in the right ear", "left": "in the left ear", "both": "in both ears"}
"""Which ear a symptom or a point of history is in."""

ADDRESSEES = {"gp": "the GP", "ent": "ENT", "audiology": "audiology", "emergency": "emergency care"}
"""To whom a patient is referred."""

LAYERS = {
    "surface": "the surface layer of the wax",
    "middle": "the middle layer of the wax",
    "inner": "the inner layer of the wax",
}
"""A layer of wax; the whole is "the wax"."""

LOOKS = {
    "canal": ("healthy", "dry", "narrow", "inflamed", "swollen", "hairy", "abraded", "bleeding", "tender"),
    "skin": ("dry", "flaking", "loose", "attached"),
    "drum": ("healthy", "intact", "perforated", "retracted", "inflamed", "dull", "scarred", "bulging",
             "not_seen"),
}  # fmt: skip
"""What a part of the ear can be; whatever else is found there is a thing ("There was a grommet")."""

OCCLUSION = {"none": "not blocked", "partial": "partly blocked", "complete": "completely blocked"}
CLEARANCE = {
    "none": "not cleared of wax",
    "partial": "partly cleared of wax",
    "complete": "completely cleared of wax",
}
DEPTH = {
    "outer": "in the outer part of the canal",
    "middle": "in the middle part of the canal",
    "deep": "deep in the canal",
    "on_drum": "on the eardrum",
}
TOLERANCE = {
    "well": "tolerated it well",
    "with_discomfort": "tolerated it with discomfort",
    "stopped_early": "did not tolerate it to the end, and it was stopped early",
}
HEARING = {"improved": "improved", "unchanged": "unchanged", "worse": "worse"}

THINGS = {
    "symptoms": {"blocked": "a blocked feeling", "discharge": "discharge", "itch": "itching"},
    "history": {
        "perforation": "a perforation", "mastoid_cavity": "a mastoid cavity", "hearing_aids": "hearing aids",
        "anticoagulants": "anticoagulants", "immunosuppressed": "a weakened immune system",
        "head_neck_radiotherapy": "head or neck radiotherapy", "cleft_palate": "a cleft palate",
        "previous_removal": "earlier removal of wax", "first_removal": "wax never removed before",
    },
    "canal": {"exostoses": "exostoses", "fungal": "fungal changes", "discharge": "discharge"},
    "skin": {"keratin_plug": "a keratin plug"},
    "drum": {"grommet": "a grommet", "fluid": "fluid"},
    "skin_look": {"attached": "attached and left in place"},
    "foreign_body": {
        "cotton": "cotton", "dome": "a hearing-aid dome", "bead": "a bead", "insect": "an insect",
        "plug": "an ear plug", "other": "of a kind that is not listed",
    },
    "methods": {"manual": "manual removal"},
    "instruments": {
        "suction_tube": "a suction tube", "fine_suction_tube": "a fine suction tube",
        "jobson_horne_probe": "a Jobson Horne probe", "crocodile_forceps": "crocodile forceps",
        "aural_forceps": "aural forceps", "wax_hook": "a wax hook", "curette": "a curette",
        "grommet_inserter": "a grommet inserter", "speculum": "a speculum", "endoscope": "an endoscope",
        "microscope": "a microscope", "loupes": "loupes", "otoscope": "an otoscope",
        "irrigator": "an irrigator",
    },
    "wax": {"honey": "honey-coloured"},
    "complications": {"faint": "a faint", "abrasion": "an abrasion", "perforation": "a perforation"},
    "advice": {
        "keep_dry": "to keep the ear dry", "olive_oil": "to use olive oil",
        "no_cotton_buds": "not to use cotton buds",
        "return_if_symptoms": "to come back if symptoms return",
        "hearing_test": "to have a hearing test",
    },
}  # fmt: skip
"""Values as the things a sentence names."""
