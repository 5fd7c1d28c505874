"""What each word is said of: wax, skin, canal or drum; what the patient came with or what the work did."""

from collections.abc import Callable
from typing import Any

import pytest


@pytest.mark.parametrize(
    ("said", "before"),
    [
        ("Dry wax.", {"wax": "dry"}),
        ("The wax is dry.", {"wax": "dry"}),
        ("The canal is dry.", {"canal": ["dry"]}),
        ("The skin is dry.", {"skin": ["dry"]}),
        ("Dry skin in the canal.", {"skin": ["dry"]}),
        ("Flaky wax.", {"wax": "flaky"}),
        ("Flakes of skin.", {"skin": ["flaking"]}),
        ("Flaking skin, and the wax is flaky.", {"skin": ["flaking"], "wax": "flaky"}),
        ("Loose skin at the entrance.", {"skin": ["loose"]}),
        ("A keratin plug.", {"skin": ["keratin_plug"]}),
        ("The drum is red.", {"drum": ["inflamed"]}),
        ("The canal is red.", {"canal": ["inflamed"]}),
        ("A red canal, the drum dull.", {"canal": ["inflamed"], "drum": ["dull"]}),
        ("The drum is healthy.", {"drum": ["healthy"]}),
        ("The canal is healthy.", {"canal": ["healthy"]}),
        ("Healthy canal and drum.", {"canal": ["healthy"], "drum": ["healthy"]}),
        ("Canal and drum both look normal.", {"canal": ["healthy"], "drum": ["healthy"]}),
        ("Drum and canal are red.", {"drum": ["inflamed"], "canal": ["inflamed"]}),
        ("Healthy canal and drum perforated.", {"canal": ["healthy"], "drum": ["perforated"]}),
        ("The drum itself, from what I can see, looks healthy.", {"drum": ["healthy"]}),
        ("The canal is narrow with hard wax in it.", {"canal": ["narrow"], "wax": "hard"}),
        ("The eardrum is retracted.", {"drum": ["retracted"]}),
        ("TM scarred.", {"drum": ["scarred"]}),
        ("There's fluid behind the drum.", {"drum": ["fluid"]}),
        ("A grommet in the drum.", {"drum": ["grommet"]}),
        ("Discharge in the canal.", {"canal": ["discharge"]}),
        ("The canal is swollen and tender.", {"canal": ["swollen", "tender"]}),
        ("Wax deep in the canal.", {"depth": ["deep"]}),
        ("Wax lying on the drum.", {"depth": ["on_drum"]}),
        ("A bead in the canal.", {"foreign_body": "bead"}),
        ("A white bead in the canal.", {"foreign_body": "bead"}),
        ("Dark brown wax.", {"wax": "dark_brown"}),
        ("Brown wax, red brown at most.", None),
        # doubt
        ("The drum is possibly perforated.", {"drum": ["perforated?"]}),
        ("The drum might be dull.", {"drum": ["dull?"]}),
        ("Query fungal, the canal.", {"canal": ["fungal?"]}),
        ("I think the canal is inflamed.", {"canal": ["inflamed?"]}),
        ("I cannot rule out a perforation of the drum.", {"drum": ["perforated?"]}),
        ("What might be a bead in the canal.", {"foreign_body": "bead?"}),
        # denied or said of something else
        ("The drum is not perforated.", {}),
        ("No discharge in the canal.", {}),
        ("The wax isn't hard, it's soft.", {"wax": "soft"}),
        ("Not a flake of skin.", {}),
        ("No wax at all.", {"occlusion": "none"}),
        ("The chair is red.", {}),
        ("Canal wet from the drops.", {}),
        ("Some skin stuck to the drum.", {"skin": ["attached"]}),
        ("There's the drum. That might be a small hole.", {"drum": ["perforated?"]}),
        ("There's the drum. There is a hole in my glove.", {}),
        ("It looks like otomycosis in the canal.", {"canal": ["fungal"]}),
        ("A hard job.", {}),
        ("It's tight in here with three of us.", {}),
        ("A raw onion for his cold.", {}),
        ("The canal is tight.", {"canal": ["narrow"]}),
        ("Hairs in the canal, at the entrance.", {"canal": ["hairy"]}),
        ("The light is yellow.", {}),
        ("Hard light brown wax.", {"wax": "hard light_brown"}),
    ],
)
def test_findings(sides: Callable[[str], dict[str, Any]], said: str, before: dict[str, Any] | None) -> None:
    found = dict(sides(f"Right ear, otoscope. {said}")["right"].get("before", {}))
    if "wax" in found:
        found["wax"] = " ".join(
            kind for entry in found["wax"] for key in ("consistency", "colour") for kind in entry.get(key, [])
        )
    if before is None:
        assert found["wax"].split()[0] == "brown"
    else:
        assert found == before


@pytest.mark.parametrize(
    ("said", "field", "items"),
    [
        ("She has ear pain and discharge.", "symptoms", ["pain", "discharge"]),
        ("The ears feel blocked.", "symptoms", ["blocked"]),
        ("Ringing in the ears.", "symptoms", ["tinnitus"]),
        ("He's a bit dizzy.", "symptoms", ["dizziness"]),
        ("Hearing is down.", "symptoms", ["hearing_loss"]),
        ("Sudden hearing loss three days ago.", "symptoms", ["sudden_hearing_loss"]),
        ("No pain or discharge.", "symptoms_denied", ["pain", "discharge"]),
        ("Mum says no more discharge.", "symptoms_denied", ["discharge"]),
        ("Tinnitus: none.", "symptoms_denied", ["tinnitus"]),
        ("Itch: no pain.", "symptoms_denied", ["pain"]),
        ("Denies itching.", "symptoms_denied", ["itch"]),
        ("It doesn't hurt.", "symptoms_denied", ["pain"]),
        ("Never any dizziness.", "symptoms_denied", ["dizziness"]),
        ("Had a perforation years ago.", "history", ["perforation"]),
        ("Takes warfarin.", "history", ["anticoagulants"]),
        ("Wears hearing aids.", "history", ["hearing_aids"]),
        ("Type two diabetic.", "history", ["diabetes"]),
        ("She's had the wax taken out before.", "history", ["previous_removal"]),
        ("Never had her ears cleared before.", "history", ["first_removal"]),
        ("Had a mastoid operation with an open cavity.", "history", ["ear_surgery", "mastoid_cavity"]),
        ("No blood thinners.", "history_denied", ["anticoagulants"]),
        ("Not diabetic.", "history_denied", ["diabetes"]),
        ("Perhaps a perforation as a child.", "history", ["perforation?"]),
        ("No history of surgery or grommets.", "history_denied", ["ear_surgery", "grommets"]),
    ],
)
def test_what_the_patient_brought(
    visit: Callable[[str], Any], said: str, field: str, items: list[str]
) -> None:
    back = visit(f"Consent given. {said} Left ear. Hard wax.")["background"]
    assert [s["item"] if isinstance(s, dict) else s for s in back.get(field, [])] == items


@pytest.mark.parametrize(
    ("said", "happened", "denied"),
    [
        ("Any bleeding? Not a bit.", [], ["bleeding"]),
        ("Any bleeding? A bit.", ["bleeding"], []),
        ("Is there bleeding? The drum is intact.", [], []),
        ("Bleeding: none.", [], ["bleeding"]),
        ("Zero bleeding.", [], ["bleeding"]),
        ("I've perforated the drum.", ["perforation"], []),
        ("I've taken a bit of skin off the floor.", ["abrasion"], []),
        ("A little bleeding.", ["bleeding"], []),
        ("She coughed.", ["cough"], []),
        ("He felt faint for a moment.", ["faint"], []),
        ("A small graze on the canal wall.", ["abrasion"], []),
        ("It hurt a bit when I pulled.", ["pain"], []),
        ("Dizzy from the cold air, just for a moment.", ["dizziness"], []),
        ("No bleeding.", [], ["bleeding"]),
        ("No bleeding, no pain.", [], ["bleeding", "pain"]),
        ("No complications.", ["none"], []),
        ("Nothing untoward.", ["none"], []),
        ("No cough or dizziness.", [], ["cough", "dizziness"]),
        ("It hurts. No, she says it doesn't.", [], ["pain"]),
        ("I checked my blood pressure cuff.", [], []),
        ("She mopped up the water.", [], []),
    ],
)
def test_what_the_work_did(
    sides: Callable[[str], dict[str, Any]], said: str, happened: list[str], denied: list[str]
) -> None:
    ear = sides(f"Left ear. Hard wax. Zoellner sucker, one piece out. {said} All clear.")["left"]
    assert ear.get("complications", []) == happened
    assert ear.get("complications_denied", []) == denied


@pytest.mark.parametrize(
    ("said", "canal", "complications"),
    [
        ("Left ear. The canal is bleeding already. Hard wax. Sucker.", ["bleeding"], []),
        ("Left ear. Hard wax. Sucker. There's some bleeding now.", [], ["bleeding"]),
        ("Left ear. There is a graze in the canal, hard wax. Sucker.", ["abraded"], []),
        ("Left ear. Hard wax. Curette. I've grazed the canal.", [], ["abrasion"]),
    ],
)
def test_found_at_the_start_or_happened(
    sides: Callable[[str], dict[str, Any]], said: str, canal: list[str], complications: list[str]
) -> None:
    ear = sides(said)["left"]
    assert ear["before"].get("canal", []) == canal
    assert ear.get("complications", []) == complications


@pytest.mark.parametrize(
    ("said", "methods", "instruments"),
    [
        ("Zoellner tube.", ["microsuction"], ["suction_tube"]),
        ("Suction.", ["microsuction"], []),
        ("The fine sucker.", ["microsuction"], ["fine_suction_tube"]),
        ("Jobson Horne.", ["manual"], ["jobson_horne_probe"]),
        ("Alligators.", ["manual"], ["crocodile_forceps"]),
        ("A loop.", ["manual"], ["curette"]),
        ("Forceps.", ["manual"], ["aural_forceps"]),
        ("Irrigated with warm water.", ["irrigation"], []),
        ("The irrigator.", ["irrigation"], ["irrigator"]),
        ("Under the microscope, wax hook.", ["manual"], ["microscope", "wax_hook"]),
        ("Speculum in, then the sucker.", ["microsuction"], ["speculum", "suction_tube"]),
        ("Hook first, then suction.", ["manual", "microsuction"], ["wax_hook"]),
        ("Manual removal.", ["manual"], []),
        ("Off the hook for today.", [], []),
    ],
)
def test_methods_follow_the_instruments(
    sides: Callable[[str], dict[str, Any]], said: str, methods: list[str], instruments: list[str]
) -> None:
    work = sides(f"Left ear. Hard wax. {said}")["left"].get("procedure", {})
    assert work.get("methods", []) == methods
    assert [tool["name"] for tool in work.get("instruments", [])] == instruments
