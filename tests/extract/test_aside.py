"""What is not about this patient now is not recorded; its neighbours, which are, stay.

Each row: what is said in the middle of a visit, and what of it may be recorded of the left ear.
"""

from collections.abc import Callable
from typing import Any

import pytest

from extract.aside import REASONS
from extract.reader import Reader

BEFORE = "Left ear. Hard wax, fully blocked. "
AFTER = " Zoellner sucker. All out. Drum intact."

PLAIN = {
    "before": {"occlusion": "complete", "wax": [{"where": "whole", "consistency": ["hard"]}]},
    "procedure": {"methods": ["microsuction"], "instruments": [{"name": "suction_tube"}]},
    "after": {"clearance": "complete", "drum": ["intact"]},
}


@pytest.mark.parametrize(
    "said",
    [
        # teaching and general remarks
        "Usually you find soft yellow wax in children.",
        "In general, a perforated drum means no water.",
        "As a rule the drum looks pearly and healthy.",
        "Cold air makes anybody dizzy.",
        "Some colleagues go in with a curette.",
        "A fella this morning had a perforation in each drum.",
        "You often see fungal debris in these, remember.",
        "Some people bleed a little, that is normal.",
        "For the students: crocodile forceps are for what is loose.",
        "One for those learning: the hook is for what sticks.",
        "How does a normal drum look? Grey, shiny, and you see the handle.",
        "I always lay out the curette, the forceps and the hook before I begin.",
        "What would a healthy canal look like? Pink, dry, smooth.",
        # supposing
        "If it were sticky I would irrigate.",
        "If there were a perforation I'd stop.",
        "If he bleeds we stop.",
        "Had it been soft, the curette would have done.",
        # other people
        "My last patient had a perforation, poor man.",
        "His brother has a bead in his ear.",
        "The lady before him had otitis externa.",
        "Her husband wears hearing aids.",
        "Yesterday's patient bled for ten minutes.",
        # last time
        "Last time the drum was inflamed.",
        "At the last visit there was discharge.",
        "Last year we used the wax hook.",
        # tools not used
        "I won't use the forceps.",
        "No need for the Jobson Horne today.",
        "I thought about the irrigator, but no.",
        "The crocodile forceps stayed in the drawer.",
        "I could take the hook, but I'd rather not.",
        "I might have tried the curette.",
        "The nurse offered me the forceps.",
        "She hands me the curette.",
        "I've cleaned the hook.",
        "Dropped the forceps on the floor.",
        "The curette is broken.",
        "I'll pass on the curette, there's no room for it.",
        "Let's give the forceps a miss.",
        "The forceps have been sterilised.",
        "The hook is in the right-hand drawer.",
        "Where's the Jobson Horne?",
        "I usually take a curette.",
        # questions
        "Any dizziness?",
        "Does that hurt?",
        # small talk
        "He sat there like a stone.",
        "Is that somebody at the door?",
        "It's black as night outside.",
        "I like my coffee dark brown and strong.",
        "She plays the drum in a band.",
    ],
)
def test_set_aside(sides: Callable[[str], dict[str, Any]], said: str) -> None:
    ear = sides(BEFORE + said + AFTER)["left"]
    assert {key: ear.get(key) for key in PLAIN} == PLAIN
    assert "complications" not in ear


@pytest.mark.parametrize(
    ("said", "field", "value"),
    [
        ("Usually it is soft, but this is sticky.", "consistency", ["hard", "sticky"]),
        ("Once that's out of the way, the rest is sticky.", "consistency", ["hard", "sticky"]),
        (
            "What does a healthy drum look like? This wax hides it, and it's sticky.",
            "consistency",
            ["hard", "sticky"],
        ),
        ("I tried the hook and gave up.", "instruments", ["wax_hook", "suction_tube"]),
        ("The forceps didn't get it.", "instruments", ["aural_forceps", "suction_tube"]),
        (
            "I'd hoped to do without it, but out comes the wax hook.",
            "instruments",
            ["wax_hook", "suction_tube"],
        ),
        ("As usual, the Jobson Horne first.", "instruments", ["jobson_horne_probe", "suction_tube"]),
        ("It is dark brown, like his brother's.", "colour", ["dark_brown"]),
        ("Not the forceps, the wax hook.", "instruments", ["wax_hook", "suction_tube"]),
        ("It's sticky, you see.", "consistency", ["hard", "sticky"]),
        ("Cleaned the canal with the curette.", "instruments", ["curette", "suction_tube"]),
        ("The hook is in the canal.", "instruments", ["wax_hook", "suction_tube"]),
        (
            "She hands me the curette, and with the curette I go in.",
            "instruments",
            ["curette", "suction_tube"],
        ),
    ],
)
def test_near_misses_that_count(
    sides: Callable[[str], dict[str, Any]], said: str, field: str, value: list[str]
) -> None:
    ear = sides(BEFORE + said + AFTER)["left"]
    if field == "instruments":
        found = [tool["name"] for tool in ear["procedure"]["instruments"]]
    else:
        found = [kind for entry in ear["before"]["wax"] for kind in entry.get(field, [])]
    assert found == value


@pytest.mark.parametrize(
    ("said", "symptoms", "history"),
    [
        ("His mother had a perforation.", [], []),
        ("His mother says he had a perforation.", [], ["perforation"]),
        ("He had grommets, and so did his sister.", [], ["grommets"]),
        ("His wife noticed he can't hear the doorbell.", ["hearing_loss"], []),
        ("The ear has itched since last year.", ["itch"], []),
        ("His friend is diabetic.", [], []),
        ("He is diabetic, like his father.", [], ["diabetes"]),
        ("Last time he came with pain, today it just itches.", ["itch"], []),
        ("Last year it was sore, this time it is only blocked.", ["blocked"], []),
        ("If it starts to hurt he should ring.", [], []),
        ("People with diabetes need care.", [], []),
        ("Anybody on warfarin bleeds easily.", [], []),
    ],
)
def test_whose_story_it_is(
    visit: Callable[[str], Any], said: str, symptoms: list[str], history: list[str]
) -> None:
    back = visit(f"{said} Consent given. {BEFORE}{AFTER}")["background"]
    assert [s["item"] for s in back.get("symptoms", [])] == symptoms
    assert [h["item"] for h in back.get("history", [])] == history
    assert "history_denied" not in back


@pytest.mark.parametrize(
    ("said", "reason"),
    [
        ("Usually it is soft.", "teaching"),
        ("If he bleeds we stop.", "hypothetical"),
        ("His brother has soft wax.", "other_person"),
        ("Last time it was soft.", "past_visit"),
        ("I won't use the forceps.", "not_used"),
        ("Does that hurt?", "question"),
    ],
)
def test_the_reason_is_kept(reader: Reader, said: str, reason: str) -> None:
    reasons = {m.aside for m in reader.annotate(BEFORE + said + AFTER)._.mentions if m.aside}
    assert REASONS[reason] in reasons
