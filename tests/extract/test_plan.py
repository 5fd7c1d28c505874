"""What happens next, what an oil or water was for, and how the patient hears afterwards."""

from collections.abc import Callable
from typing import Any

import pytest

WORK = "Left ear. Hard wax. Zoellner sucker, all out. Drum intact. "


@pytest.mark.parametrize(
    ("said", "recall"),
    [
        ("Back in six months.", (6, "months")),
        ("FU six weeks.", (6, "weeks")),
        ("OPD four months.", (4, "months")),
        ("See her in a year.", (1, "years")),
        ("Recall twelve months.", (12, "months")),
        ("Review in a fortnight.", (2, "weeks")),
        ("Follow-up in three weeks.", (3, "weeks")),
        ("I'd like to see him again in ten days.", (10, "days")),
        ("Come back in a couple of weeks.", (2, "weeks")),
        ("Book her in for six months' time.", (6, "months")),
        ("In a year's time again, please.", (1, "years")),
        ("See him in half a year.", (6, "months")),
        ("Annual recall.", (1, "years")),
        ("We'll see you in, let's say, four months.", (4, "months")),
        ("Recall set for eighteen months.", (18, "months")),
        ("R/v 6/52.", (6, "weeks")),
        ("RTC three months.", (3, "months")),
        ("We'll say nine months.", (9, "months")),
        ("See him next year.", (1, "years")),
        ("Next year for a check.", (1, "years")),
        ("We'll have her back next month.", (1, "months")),
        ("A year from now, please.", (1, "years")),
        ("Half-yearly from now on.", (6, "months")),
        ("Recall half yearly.", (6, "months")),
        ("She's on a six-monthly recall.", (6, "months")),
        ("Twice a year is plenty for him.", (6, "months")),
        ("Twice-yearly visits agreed.", (6, "months")),
        ("Quarterly from here on.", (3, "months")),
        ("He's to come quarterly.", (3, "months")),
        ("Oil for a week then back.", (1, "weeks")),
        ("Olive oil for a fortnight and then back to me.", (2, "weeks")),
        ("He's to keep coming every four months.", (4, "months")),
        ("He should come in every three months.", (3, "months")),
        ("Come in every three months, I've told her.", (3, "months")),
        ("In a fortnight's time we'll have another look.", (2, "weeks")),
        ("Annual check.", (1, "years")),
        ("Retest in a year.", (1, "years")),
        ("Same time in four months.", (4, "months")),
        ("I'd say six months.", (6, "months")),
        ("Six months and we'll do it again.", (6, "months")),
        ("Nine months is about right for him.", (9, "months")),
        ("Year and a half and back.", (18, "months")),
        ("I'll see her again three weeks from today.", (3, "weeks")),
        ("Ten days and back for the other one.", (10, "days")),
        ("This day week she's back in.", (1, "weeks")),
        ("Same time next week.", (1, "weeks")),
        ("Six weeks' time, booked.", (6, "weeks")),
        ("Diary for six weeks.", (6, "weeks")),
        ("Three monthly clears.", (3, "months")),
        ("3/12 r/v.", (3, "months")),
        ("Every four months suits him.", (4, "months")),
        ("Roughly every eight weeks.", (8, "weeks")),
        ("Put her down for the six month list.", (6, "months")),
        ("Recall annually.", (1, "years")),
        ("She ought to be seen every three months.", (3, "months")),
        ("I would keep him on every six months.", (6, "months")),
        ("So every six months, agreed.", (6, "months")),
        ("Come back next month.", (1, "months")),
        ("I'll see you next week for the other side.", (1, "weeks")),
        ("ENT, urgent please, and I'd like to see her myself in five days.", (5, "days")),
        # near misses
        ("He comes in every three months.", None),
        ("She's been coming every six months for years.", None),
        ("He has it done twice a year.", None),
        ("Last year she had the same.", None),
        ("She had it done six months ago.", None),
        ("She's seeing ENT next week.", None),
        ("She has an appointment with audiology next month.", None),
        ("Keep it dry for a week.", None),
        ("Oil twice a week.", None),
        ("Oil every two weeks.", None),
        ("She needs her hearing aids serviced every six months.", None),
        ("He comes to us every three months.", None),
        ("She comes in every six months.", None),
        ("He's off on his holidays next week.", None),
        ("Her last check was a year and a half ago.", None),
        ("Hearing test next month.", None),
        ("He's had it for a year and a half.", None),
        ("Drops twice a day for a week.", None),
        ("GP next week for the drum.", None),
        ("Refer ENT, to be seen within two weeks.", None),
        ("Next week I'm away.", None),
        ("The hearing aid people see him every six months.", None),
        ("Diabetic review every six months with the GP.", None),
        ("I had to call it a day.", None),
        ("He lost it two days back.", None),
        ("It was blocked for six months.", None),
        ("She was last here six months ago.", None),
        ("He's six years old.", None),
        ("Oil for a week.", None),
        ("It took six minutes.", None),
        ("No need to come back.", None),
        ("She has had it for two weeks.", None),
    ],
)
def test_recall(visit: Callable[[str], Any], said: str, recall: tuple[int, str] | None) -> None:
    found = visit(WORK + said).get("plan", {}).get("recall")
    assert found == (None if recall is None else {"number": recall[0], "unit": recall[1]})


@pytest.mark.parametrize(
    ("said", "earlier"),
    [
        ("He comes in every three months.", True),
        ("She has it done twice a year.", True),
        ("He should come in every three months.", False),
        ("Come in every three months, I've told her.", False),
    ],
)
def test_what_is_to_happen_every_so_often_is_no_history(
    visit: Callable[[str], Any], said: str, earlier: bool
) -> None:
    history = visit(WORK + said).get("background", {}).get("history", [])
    assert ("previous_removal" in [one["item"] for one in history]) == earlier


@pytest.mark.parametrize(
    ("said", "to", "urgency"),
    [
        ("Refer to ENT.", "ent", None),
        ("I'm referring her to ENT, routine.", "ent", "routine"),
        ("Urgent referral to ENT.", "ent", "urgent"),
        ("Letter to the GP.", "gp", None),
        ("I'll drop the GP a line.", "gp", None),
        ("For ENT review.", "ent", None),
        ("Straight to A&E.", "emergency", None),
        ("Ask the GP to check the drum, please write to them.", "gp", None),
        ("Send him to audiology for a hearing test.", "audiology", None),
        ("Straight to the emergency department.", "emergency", None),
        ("Off to A and E, urgent.", "emergency", "urgent"),
        ("Refer to the ear, nose and throat department.", "ent", None),
        ("She goes to ear nose and throat, routine.", "ent", "routine"),
        # near misses
        ("No referral needed.", None, None),
        ("No need for ENT.", None, None),
        ("ENT saw her years ago.", None, None),
        ("If it bleeds I'd send her to ENT.", None, None),
        ("Refer to ENT to see if it needs a graft.", "ent", None),
        ("Unless it settles he'd have to go to ENT.", None, None),
        ("Should it discharge I'd refer her urgently to ENT.", None, None),
        ("Refer to ENT, if that's all right with her.", "ent", None),
        ("I'd be grateful if you could refer her to ENT.", "ent", None),
        ("I'd like ENT to see her, urgently.", "ent", "urgent"),
        ("My colleague in ENT would agree.", None, None),
        ("He is a GP himself.", None, None),
    ],
)
def test_referral(visit: Callable[[str], Any], said: str, to: str | None, urgency: str | None) -> None:
    found = visit(WORK + said).get("plan", {}).get("referral", {})
    assert (found.get("to"), found.get("urgency")) == (to, urgency)


@pytest.mark.parametrize(
    ("said", "advice"),
    [
        ("Keep it dry.", ["keep_dry"]),
        ("RTC if sore.", ["return_if_symptoms"]),
        ("Keep the water out for a week.", ["keep_dry"]),
        ("Swim plugs for the pool.", ["keep_dry"]),
        ("No cotton buds.", ["no_cotton_buds"]),
        ("Nothing smaller than your elbow in there.", ["no_cotton_buds"]),
        ("Olive oil twice a week from now on.", ["olive_oil"]),
        ("A drop of olive oil once a week to keep it soft.", ["olive_oil"]),
        ("Come back if it hurts or runs.", ["return_if_symptoms"]),
        ("Any trouble, give us a ring.", ["return_if_symptoms"]),
        ("Leaflet given.", ["leaflet_given"]),
        ("She should have a hearing test.", ["hearing_test"]),
        ("Keep it dry and no cotton buds.", ["keep_dry", "no_cotton_buds"]),
        (
            "Keep it dry, leaflet given, and come back if it hurts.",
            ["keep_dry", "leaflet_given", "return_if_symptoms"],
        ),
        # near misses
        ("There's no cotton in it.", []),
        ("Dry now.", []),
        ("No need for oil.", []),
        ("She had a hearing test last year.", []),
        ("Her last audiogram was normal.", []),
        ("Needs her hearing tested, the last one was years ago.", ["hearing_test"]),
        ("I'd like her to have a hearing test.", ["hearing_test"]),
        ("I ran out of leaflets.", []),
    ],
)
def test_advice(visit: Callable[[str], Any], said: str, advice: list[str]) -> None:
    assert sorted(visit(WORK + said).get("plan", {}).get("advice", [])) == sorted(advice)


@pytest.mark.parametrize(
    ("said", "softener", "agents", "advice"),
    [
        (
            "She's used olive oil for five days. Left ear. Hard wax. Sucker.",
            {"agent": "olive_oil", "days": 5},
            [],
            [],
        ),
        (
            "Almond oil at home for a week. Left ear. Hard wax. Sucker.",
            {"agent": "almond_oil", "days": 7},
            [],
            [],
        ),
        (
            "Bicarb drops for a fortnight. Left ear. Hard wax. Sucker.",
            {"agent": "sodium_bicarbonate", "days": 14},
            [],
            [],
        ),
        ("He's been putting in olive oil. Left ear. Hard wax. Sucker.", {"agent": "olive_oil"}, [], []),
        ("No oil used. Left ear. Hard wax. Sucker.", {}, [], []),
        ("He hasn't used olive oil. Left ear. Hard wax. Sucker.", {}, [], []),
        ("Left ear. Hard wax. A drop of olive oil in now, wait a minute. Sucker.", {}, ["olive_oil"], []),
        ("Left ear. Hard wax. Peroxide in, letting it fizz. Sucker.", {}, ["hydrogen_peroxide"], []),
        ("Left ear. Hard wax. Warm water, irrigated.", {}, ["water"], []),
        ("Left ear. Hard wax. Saline in. Sucker.", {}, ["saline"], []),
        ("Left ear. Hard wax. Sucker, all gone. Olive oil at home, once a week.", {}, [], ["olive_oil"]),
        (
            "Olive oil for three days. Left ear. Hard wax. Olive oil in. Sucker. Carry on with oil at home.",
            {"agent": "olive_oil", "days": 3},
            ["olive_oil"],
            ["olive_oil"],
        ),
    ],
)
def test_what_an_oil_or_water_was_for(
    visit: Callable[[str], Any], said: str, softener: dict[str, Any], agents: list[str], advice: list[str]
) -> None:
    found = visit(f"Consent given. {said}")
    (ear,) = found["ears"]
    assert found["background"].get("softener", {}) == softener
    assert ear["procedure"].get("agents", []) == agents
    assert found.get("plan", {}).get("advice", []) == advice


@pytest.mark.parametrize(
    ("said", "hearing"),
    [
        ("He hears much better.", "improved"),
        ("Hearing improved.", "improved"),
        ("She says everything's louder.", "improved"),
        ("Hearing is unchanged.", "unchanged"),
        ("No difference in her hearing.", "unchanged"),
        ("Hearing is worse, if anything.", "worse"),
        ("I hope his hearing is better.", None),
        ("Hopefully the hearing will be better.", None),
        ("She wants her hearing better for the wedding.", None),
        ("The hearing should be better tomorrow.", None),
        ("He hoped it would clear, and the hearing is better.", "improved"),
        ("As she'd hoped, the hearing is better.", "improved"),
        ("Her hearing aid is whistling.", None),
        ("He wants his hearing tested.", None),
    ],
)
def test_hearing_afterwards(visit: Callable[[str], Any], said: str, hearing: str | None) -> None:
    assert visit(WORK + said).get("outcome", {}).get("hearing") == hearing


@pytest.mark.parametrize(
    ("said", "tolerance"),
    [
        ("She tolerated it well.", "well"),
        ("No bother to him at all, fine throughout.", "well"),
        ("Uncomfortable, but managed.", "with_discomfort"),
        ("She couldn't take any more, so I stopped.", "stopped_early"),
        ("I stopped for a sip of water.", None),
        ("The wax is well stuck.", None),
    ],
)
def test_tolerance(sides: Callable[[str], dict[str, Any]], said: str, tolerance: str | None) -> None:
    ear = sides(f"Left ear. Hard wax. Zoellner sucker. {said} Drum intact.")["left"]
    assert ear["procedure"].get("tolerance") == tolerance
