"""Everyday turns of talk at the couch: what they say is recorded, what they only sound like is not.

Each row: what is said, then leaves of the record that must be there and, after "!", such as must not be. A leaf goes
by its ear and field, without the part between ("left.drum=intact"). Common practice, no source.
"""

from collections.abc import Callable, Iterator
from typing import Any

import pytest

_PARTS = ("before", "procedure", "after", "background")


def leaves(tree: Any, path: str = "") -> Iterator[str]:
    """Every leaf of a plain record as "right.drum=intact"; an ear goes by its side."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            if key not in ("side", "where") or "item" in tree:
                yield from leaves(value, path if key in _PARTS else f"{path}.{key}" if path else key)
    elif isinstance(tree, list):
        for value in tree:
            side = value.get("side") if isinstance(value, dict) else None
            yield from leaves(value, side if side and path == "ears" else path)
    else:
        yield f"{path}={tree}"


SAID: tuple[tuple[str, str], ...] = (
    ("Right ear packed with brown wax.", "right.occlusion=complete"),
    ("Left ear's packed. Hard wax.", "left.occlusion=complete"),
    ("Left ear. The whole bore's full, black, hard wax.", "left.occlusion=complete"),
    ("Left ear. Brown wax packed into the outer third.", "left.depth=outer !left.occlusion=complete"),
    ("Left ear. Not a lot of wax, soft yellow stuff.", "left.wax.colour=yellow !left.occlusion=none"),
    ("Left ear. The canal's stuffed to the door, light brown wax.", "left.wax.colour=light_brown"),
    (
        "Left ear. Hard wax, sucker, and that's clean as a new pin. She sat like a rock.",
        "left.clearance=complete !symptoms.item=tinnitus",
    ),
    ("Right ear. Soft wax, curette. Clean as a whistle.", "right.clearance=complete !symptoms.item=tinnitus"),
    ("Right ear. Soft wax. He sat there like a stone.", "!right.wax.consistency=hard"),
    (
        "Right ear. Wet brown wax, gone soft from the shower. Sucker.",
        "right.wax.consistency=soft !right.clearance=complete",
    ),
    ("Left ear. Brown wax. Is that somebody at the door? Sucker.", "!left.depth=outer"),
    ("Left ear. Flaky skin all round the way in. Brown wax.", "left.skin=flaking !left.depth=deep"),
    (
        "Left ear. The wax is dry, kind of grey. No, that's the lamp, it's brown.",
        "left.wax.colour=brown !left.wax.colour=grey",
    ),
    (
        "Left ear. Hard wax. Hook. The canal was grazed before I got here.",
        "left.canal=abraded !left.complications=abrasion",
    ),
    (
        "Right ear. Soft wax, sucker, all gone. What does a healthy drum look like? Grey, shiny. This "
        "one isn't healthy. It's red, and there's a hole in it you could post a letter through.",
        "right.drum=inflamed right.drum=perforated !right.drum=healthy !right.wax.colour=grey",
    ),
    ("Left ear. Hook, wax all out. Drum's dull, or is that my lamp?", "left.drum=dull? !left.drum=dull"),
    ("Left ear. Hook, wax all out. Drum's retracted, put a question mark on that.", "left.drum=retracted?"),
    (
        "Left ear. Hook, wax all out. The drum's pulled in, is it? Put a question mark there.",
        "left.drum=retracted?",
    ),
    ("Left ear. Hook, wax all out. Drum intact, there is fluid maybe behind.", "left.drum=fluid?"),
    ("Left ear. Hook, wax all out. Drum dull maybe retracted.", "left.drum=dull left.drum=retracted?"),
    (
        "Both canals are full of hard wax, neither drum could be seen. Sucker for both. The canals are clear.",
        "right.drum=not_seen left.drum=not_seen right.clearance=complete left.clearance=complete",
    ),
    (  # "the eardrum's" as it is often heard
        "Left ear. Hook, wax all out, the eardrums intact. Right ear. Curette, all gone.",
        "left.drum=intact !right.drum=intact",
    ),
    (
        "Now, olive oil, in it goes. Crocodiles, and there's a moth, out it comes. Drum intact. That's the left ear.",
        "left.agents=olive_oil left.foreign_body=insect !softener.agent=olive_oil",
    ),
    ("Left ear. Soft wax. Curette, clear. Was there pain? There wasn't.", "left.complications_denied=pain"),
    ("Left ear. Soft wax. Curette, clear. Did it bleed? It did, a little.", "left.complications=bleeding"),
    (
        "Left ear. Soft wax. Curette. If I'd seen blood I'd have stopped, but there was none. All clear.",
        "left.complications_denied=bleeding !left.complications=bleeding",
    ),
    (
        "Left ear. He's a perforation in it this twenty years. Drum's perforated, at the back. Curette "
        "for a crumb of wax.",
        "history.item=perforation left.drum=perforated",
    ),
    ("Left ear. Brown wax. Sucker. She moved and we quit there.", "left.tolerance=stopped_early"),
    ("Left ear. Brown wax. Sucker, clear. It didn't bother her one bit.", "left.tolerance=well"),
    ("Dad signed for her. Left ear. Brown wax.", "consent=given"),
    ("No pain, no noises. Left ear. Brown wax.", "symptoms_denied=tinnitus"),
    ("Left ear. Brown wax. Sucker, clear. Four months, madam, same as usual.", "plan.recall.number=4"),
    ("Left ear. Brown wax. Sucker, clear. Yearly from now on.", "plan.recall.unit=years"),
    (
        "Left ear. Brown wax. Sucker, clear. Oil weekly. And six months for a clean-out.",
        "plan.recall.number=6",
    ),
    # told of an ear, and put right
    (
        "He'd an infection in the left ear last year, otitis externa. Left ear. Brown wax.",
        "history.item=otitis_externa history.side=left",
    ),
    (
        "She has a mastoid cavity on the left, and we clear it out every six months. Left ear. Brown wax.",
        "history.item=previous_removal history.side=left",
    ),
    (
        "Both ears are blocked, and on the right he's having an itch. Left ear. Brown wax.",
        "symptoms.side=right",
    ),
    (
        "She's had olive oil in for a week, was it? No, four days. Left ear. Brown wax. Hook.",
        "softener.agent=olive_oil softener.days=4",
    ),
    (
        "Right ear. Brown wax. Zoellner it is, so, eighteen gauge, no, what am I saying, twenty, and out it comes.",
        "right.instruments.size=20G",
    ),
    ("Left ear. Hard wax. Hook. There's plenty left in there.", "left.clearance=partial"),
    ("Left ear. There's a bead in it. Hook tried. The bead is still inside.", "left.clearance=none"),
    (
        "Left ear. Brown wax, seventy percent, and a hearing aid dome stuck in it.",
        "left.occlusion_percent=70 left.foreign_body=dome",
    ),
    (
        "Left ear. Brown wax. Sucker, clear. Olive oil to be put once in a week.",
        "plan.advice=olive_oil !plan.recall.number=1",
    ),
    (
        "He put a bead in the left ear, three days back. Left ear. Bead seen. Hook, out it came.",
        "!plan.recall.number=3",
    ),
    ("Right ear. Wax, sucker. She says everything is turning, so I pause.", "right.complications=dizziness"),
    ("The right ear was operated twice. Right ear. Brown wax, sucker.", "history.item=ear_surgery"),
    # tubes
    (
        "She had tubes put in as a child. Left ear. Brown wax, and there's the tube, it's fallen out of the drum. "
        "Alligator forceps, got the tube and the wax together, nine mil. TM intact.",
        "left.foreign_body=other left.methods=manual !left.methods=microsuction !left.instruments.name=suction_tube "
        "!symptoms.item=discharge !left.drum=grommet",
    ),
    (
        "She had tubes put in as a child. Left ear. Brown wax. Suction, and again with the tube. TM intact.",
        "left.methods=microsuction left.instruments.name=suction_tube",
    ),
    (
        "Left ear. No pain, nothing coming out. Brown wax, and it's come out in one.",
        "!symptoms.item=discharge",
    ),
    # said of a thing, or likened
    ("Left ear. Putty-like brown wax.", "left.wax.consistency=clay_like left.wax.colour=brown"),
    ("Left ear. Brown wax and a white plastic guard.", "left.wax.colour=brown !left.wax.colour=white"),
    (
        "Left ear. Hook, wax all out. Drum intact, as healthy as any you'll see.",
        "left.drum=intact left.drum=healthy",
    ),
    ("She had pain last year, now it is not there. Left ear. Brown wax.", "symptoms_denied=pain"),
    (
        "Left ear full up, hard black wax. Hook. There's a rim of it left.",
        "left.occlusion=complete left.clearance=partial",
    ),
    # short notes
    ("Both ears clear, nothing to do.", "right.occlusion=none left.occlusion=none"),
    (
        "Left ear blocked with wax. Right ear not blocked with wax.",
        "left.occlusion=complete right.occlusion=none",
    ),
    ("Left ear a bit blocked with wax.", "left.occlusion=partial"),
    ("Left drum has a central perforation, dry.", "left.drum=perforated"),
    (
        "Right drum not perforated, just scarred. Left drum not scarred, just dull.",
        "right.drum=scarred left.drum=dull !right.drum=perforated !left.drum=scarred",
    ),
    (
        "The left is the worse of the two. Hard wax, black. The right just has a bit of soft stuff.",
        "left.wax.consistency=hard right.wax.consistency=soft",
    ),
    ("Left ear: 50 percent wax, removed.", "left.occlusion_percent=50"),
    (
        "Right ear wax removed uneventfully. Left ear occluded.",
        "right.complications=none left.occlusion=complete",
    ),
    ("Right ear. The wax was lying against the drum but came away cleanly, no pain.", "right.depth=on_drum"),
    (
        "Hearing aid mould was stuck in the right ear, took it out with crocodiles.",
        "right.foreign_body=other right.methods=manual",
    ),
    (
        "Right ear: hearing aid dome retained, removed, canal a bit raw.",
        "right.foreign_body=dome right.canal=inflamed",
    ),
    (
        "Canal wall got nicked on the right, small bleed, settled with pressure.",
        "right.complications=bleeding !symptoms.item=blocked",
    ),
    (
        "Left ear, wax softened with drops in clinic, then irrigated.",
        "left.methods=irrigation !left.wax.consistency=soft",
    ),
    (
        "Wax in the left ear is wet. Suction, clear, drum intact.",
        "left.clearance=complete !symptoms.item=discharge",
    ),
    (
        "On examination the right canal is dry and flaky. No wax.",
        "right.canal=dry right.skin=flaking !right.wax.consistency=flaky",
    ),
    (
        "Left ear. Canal is full of flaky, dry wax.",
        "left.wax.consistency=flaky left.wax.consistency=dry !left.skin=flaking",
    ),
    (
        "Right ear. Skin's peeling, bit of blood on the bud, he says.",
        "right.skin=flaking !right.canal=bleeding !right.foreign_body=cotton",
    ),
    ("Left ear, a scab on the drum from the bud injury, left alone. Soft wax.", "!left.foreign_body=cotton"),
    ("Right ear. Soft plug, sucker, all gone, drum immaculate.", "right.drum=healthy"),
    ("Olive oil for two weeks then back for the left ear, which I couldn't clear.", "plan.advice=olive_oil"),
    (
        "Right ear only, she's a swimmer, three times a week. The wax is wet. Sucker, all out. Drum's intact.",
        "right.drum=intact right.wax.consistency=wet !unstated.drum=intact",
    ),
    (
        "Now that's fungus, look, black dots. "
        "It's the right ear, she's been putting tea tree in it, and it itches. Fine sucker. Drum's fine.",
        "right.canal=fungal right.drum=healthy !unstated.drum=healthy",
    ),
    (
        "Left ear. Hook. Now the other ear. That's pus. And behind it a hole you could post a letter through.",
        "right.canal=discharge right.drum=perforated",
    ),
    ("Left ear. Pus, and behind that a hole.", "left.drum=perforated left.canal=discharge"),
    (
        "Right ear, hook. Brown wax, all out. Left ear's clean as a whistle and the drum's dull.",
        "left.occlusion=none left.drum=dull right.clearance=complete",
    ),
    ("Right ear, hook. Brown wax. The other one I only looked in, and it's clear.", "left.occlusion=none"),
    ("Right ear, hook. Brown wax. Left ear, we looked, nothing.", "left.occlusion=none"),
    ("Left ear. Soft wax, fifteen percent, sucked that out, too easy.", "left.occlusion_percent=15"),
    (
        "Right ear. Hard wax, hook. Bicarb for the week and I'll see him in two weeks.",
        "!right.agents=sodium_bicarbonate",
    ),
    ("Right ear. Hard wax, hook. He's to use bicarb drops till then.", "!right.agents=sodium_bicarbonate"),
    (
        "Left ear, wax, sucker. Right ear, wax, hook. There were no complications.",
        "left.complications=none right.complications=none",
    ),
    (
        "Right ear, wax. Sucker and hook between them, two pieces, twelve and nine millimetres.",
        "right.removed_mm=12 right.removed_mm=9",
    ),
    (
        "Right ear. Soft wax. I had the crocodiles in my hand. Didn't use them. Sucker.",
        "!right.instruments.name=crocodile_forceps",
    ),
    ("He put nothing in them. Right ear, soft wax, hook.", "!plan.advice=no_cotton_buds"),
    (
        "Left ear, soft wax. Pain is not there, discharge is also not there.",
        "!left.canal=discharge !symptoms.item=discharge",
    ),
    ("Left ear. Dry wax, a few crumbs, and I lifted those with a curette.", "left.instruments.name=curette"),
    (
        "Left ear. There was a moth in there, she heard it fluttering. Hook, it came out whole.",
        "left.foreign_body=insect !symptoms.item=tinnitus",
    ),
    (
        "Left ear. Endoscope today, you'll like the picture. Soft wax, hook.",
        "left.instruments.name=endoscope",
    ),
    ("This lady's ears are both blocked. Left ear. Soft wax, hook.", "symptoms.side=both"),
    (
        "Left ear. Wax, hook, all out. The drum is grand, all in the one piece.",
        "left.drum=healthy left.drum=intact",
    ),
    ("Right ear. Hard wax, hook. Drum? Can't see it for the bit I've left.", "right.drum=not_seen"),
    (
        "Left ear, hard wax, hook. The drum's perforated, no, hold on, that's a fleck of wax on it, it's intact.",
        "left.drum=intact !left.drum=perforated",
    ),
    (
        "Left ear, hard wax, hook. There's a hole in the drum. No, wait, that's a shadow. It's intact.",
        "left.drum=intact !left.drum=perforated",
    ),
    (
        "Left ear, hard wax, hook. The drum's red. No, that's the light. It's normal.",
        "left.drum=healthy !left.drum=inflamed",
    ),
    (
        "Left ear, hard wax, hook. Drum's red, bulging. No, that's not the light, it's bulging.",
        "left.drum=bulging left.drum=inflamed",
    ),
    (
        "Right ear, red, wax, sucker. Nothing on the left, and that drum's fine.",
        "left.occlusion=none left.drum=healthy",
    ),
    ("Right ear, wax, sucker, it bled. Nothing on the left.", "!left.occlusion=none"),
    (
        "Left ear soft wax. Using the hook, the right ear was cleared.",
        "right.instruments.name=wax_hook !left.instruments.name=wax_hook",
    ),
    ("No prior ear surgeries. Right ear: hard wax, hook.", "history_denied=ear_surgery"),
    (
        "Right ear, hard wax, hook. Some's still in, so I'm none the wiser about the drum.",
        "right.drum=not_seen",
    ),
    ("Left ear, hard wax. She squeaked but she put up with it. Hook.", "left.tolerance=with_discomfort"),
    ("She understands she shouldn't use Q-tips. Right ear, wax, hook.", "plan.advice=no_cotton_buds"),
    ("Young man, been in the water all weekend. Right ear, wax, sucker.", "!softener.agent=water"),
)


@pytest.mark.parametrize(("said", "expected"), SAID)
def test_everyday_talk(visit: Callable[[str], Any], said: str, expected: str) -> None:
    found = set(leaves(visit(said)))
    there = {leaf for leaf in expected.split() if not leaf.startswith("!")}
    absent = {leaf[1:] for leaf in expected.split() if leaf.startswith("!")}
    assert there <= found
    assert not absent & found
