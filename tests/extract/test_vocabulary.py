"""The shipped vocabulary holds together, bad files are refused by name, and what is spoken is found.

The spoken phrases are common practice, no source: the ways clinicians in several countries put things,
each in the shortest talk of ear care that carries it. Trade names of medicines are from memory.
"""

import re
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from extract.phrase_book import compile_phrases
from extract.reader import Reader
from extract.words import plain_words
from shared.errors import BadVocabulary
from shared.transcript import Transcript
from shared.vocabulary import CLOSED, CUES, FILES, GAPS, forms, load, parse

EXAM = "Right ear. Wax in the canal. "
WORK = "Right ear. Brown wax in the canal. Microsuction used. "
DONE = "Right ear. Brown wax in the canal. Microsuction used. All the wax came out. "


@cache
def reader() -> Reader:
    return Reader()


def plain(text: str, using: Reader | None = None) -> list[dict[str, Any]]:
    return [visit.plain() for visit in (using or reader()).read(Transcript.from_text(text))]


def values(tree: Any, path: str = "") -> set[str]:
    """Every leaf of a plain record as "field=value", with the names of what holds it left out."""
    if isinstance(tree, dict):
        return {leaf for key, inner in tree.items() for leaf in values(inner, str(key))}
    if isinstance(tree, list):
        return {leaf for inner in tree for leaf in values(inner, path)}
    return {f"{path}={tree}"}


# ---- the shipped files ---------------------------------------------------------------------------


def test_every_phrase_loads() -> None:
    phrases = list(load().phrases())
    assert len(phrases) > 3000
    for kind, value, phrase in phrases:
        assert value in (CLOSED.get(kind) or CUES[kind]), (kind, value)
        assert forms(phrase), (kind, value, phrase)


@pytest.mark.parametrize("name", FILES)
def test_no_shipped_file_is_refused(name: str) -> None:
    """As strictly as a file of the clinic's own is looked at; the shipped ones are not, at every start."""
    text = (resources.files("shared.vocabulary") / f"{name}.yaml").read_text(encoding="utf-8")
    assert parse(text, name).entries


@pytest.mark.parametrize("kind", sorted(CLOSED.keys() - {"symptom_absent"}))
def test_every_value_of_the_record_can_be_said(kind: str) -> None:
    spoken = {value for (k, value), phrases in load().entries.items() if k == kind and phrases}
    missing = set(CLOSED[kind]) - spoken
    # Not seen is a cue of its own; an oil advised is an agent; wax of no layer is whole.
    assert missing <= {"not_seen", "olive_oil", "whole"}, missing


def test_no_form_of_a_kind_means_two_values() -> None:
    owner: dict[tuple[str, tuple[str, ...]], str] = {}
    for kind, value, phrase in load().phrases():
        for form in forms(phrase):
            assert owner.setdefault((kind, form), value) == value, (kind, form)


def test_every_phrase_is_found_in_its_own_words() -> None:
    """Each phrase, said alone in its first form, is found with its own meaning among its readings."""
    book = compile_phrases(load(), reader().nlp)
    lost = []
    for kind, value, phrase in load().phrases():
        said = tuple(word for word in forms(phrase)[0] if word not in GAPS)
        found = book.set_of(kind).find(list(plain_words(said, reader().nlp)))
        if not any(f.readings.get(kind) == value for f in found):
            lost.append((kind, value, phrase))
    assert not lost, lost[:10]


# ---- the schema ----------------------------------------------------------------------------------

GOOD = (
    "instrument:\n  curette: [little shovel]\n",
    "colour:\n  brown:\n    - conker shell\n    - teak|walnut (wood) brown\n",
    "weak:\n  word: [shovel]\nadvice:\n  keep_dry: ['no .. puddles']\n",
    'correction:\n  "no": ["no"]\n',
)
BAD = (
    ("colour: [brown", "not valid YAML"),
    ("just words", "expected kinds"),
    ("- colour\n- brown\n", "expected kinds"),
    ("smell:\n  bad: [whiffy]\n", "unknown kind 'smell'"),
    ("colour: [brown]\n", "colour needs values"),
    ("colour:\n  purple: [violet]\n", "colour has no value 'purple'"),
    ("correction:\n  no: [nope]\n", "correction has no value False"),
    ("colour:\n  brown: umber\n", "expected a list"),
    ("colour:\n  brown: []\n", "expected a list"),
    ("colour:\n  brown:\n", "expected a list"),
    ("colour:\n  brown: [7]\n", "7 is not a phrase"),
    ("colour:\n  brown: ['  ']\n", "is not a phrase"),
    ("colour:\n  brown: [no]\n", "False is not a phrase"),
    ("colour:\n  brown: [umber, Umber]\n", "stands twice"),
    ("colour:\n  brown: ['(umber']\n", "a bracket is not closed"),
    ("colour:\n  brown: ['(umber)']\n", "always said"),
    ("colour:\n  brown: ['.. umber']\n", "always said"),
    ("colour:\n  brown: ['umber ...']\n", "always said"),
    ("colour:\n  brown: ['" + " ".join(["a|b|c|d|e|f|g|h|i"] * 4) + "']\n", "more than 4000 forms"),
    ("colour:\n  brown: [umber]\n  black: [umber|soot]\n", "'umber' is claimed by brown and by black"),
)


@pytest.mark.parametrize("text", GOOD)
def test_a_file_that_follows_the_schema_is_read(text: str) -> None:
    assert parse(text, "own.yaml").entries


@pytest.mark.parametrize(("text", "says"), BAD, ids=[says for _, says in BAD])
def test_a_file_that_does_not_is_refused_with_its_name(text: str, says: str) -> None:
    with pytest.raises(BadVocabulary, match=re.escape(says)) as caught:
        parse(text, "own.yaml")
    assert "own.yaml" in str(caught.value)


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadVocabulary, match="cannot be read"):
        load(tmp_path / "missing.yaml")
    latin = tmp_path / "latin.yaml"
    latin.write_bytes("colour:\n  brown: [café]\n".encode("latin-1"))
    with pytest.raises(BadVocabulary, match="cannot be read"):
        load(latin)


# ---- a clinic's own words ------------------------------------------------------------------------

OWN = """
instrument:
  curette: [little shovel]
colour:
  dark_brown: [bog oak]
symptom:
  tinnitus: [bees in the bonnet]
"""


def test_a_clinics_own_words_are_used(tmp_path: Path) -> None:
    file = tmp_path / "ours.yaml"
    file.write_text(OWN, encoding="utf-8")
    said = "She has bees in the bonnet. Right ear. Hard wax, bog oak. Out with the little shovel. All clear."
    ours = values(plain(said, Reader(load(file))))
    assert {"item=tinnitus", "colour=dark_brown", "name=curette", "methods=manual"} <= ours
    shipped = values(plain(said))
    assert not {"item=tinnitus", "colour=dark_brown", "name=curette"} & shipped
    assert "consistency=hard" in shipped & ours


def test_a_clinics_own_file_does_not_change_the_shipped_words(tmp_path: Path) -> None:
    before = dict(load().entries)
    file = tmp_path / "ours.yaml"
    file.write_text(OWN, encoding="utf-8")
    assert "little shovel" in load(file).entries["instrument", "curette"]
    assert load().entries == before


# ---- what is spoken ------------------------------------------------------------------------------

SPOKEN: dict[str, tuple[str, ...]] = {
    # consent and what the patient brings
    "consent=given": (
        "She says fire ahead. " + EXAM,
        "He's happy out for me to start. " + EXAM,
        "Permission granted. " + EXAM,
        "Work away, says he. " + EXAM,
        "She has no objection to it. " + EXAM,
        "He nodded yes. " + EXAM,
        "Verbal agreement. " + EXAM,
    ),
    "consent=declined": (
        "Consent withheld. " + EXAM,
        "She'd rather not have it done. " + EXAM,
        "He got cold feet. " + EXAM,
        "Permission refused. " + EXAM,
        "She turned me down. " + EXAM,
    ),
    "item=blocked": (
        "Her left ear feels corked. " + EXAM,
        "He says his head's in a barrel. " + EXAM,
        "It's like having cotton wool in the ear. " + EXAM,
        "The ears won't pop. " + EXAM,
    ),
    "item=hearing_loss": (
        "His hearing's gone woolly. " + EXAM,
        "She can't follow conversation. " + EXAM,
        "He has the telly blaring. " + EXAM,
        "She's deaf as a post. " + EXAM,
        "Everyone's mumbling, he says. " + EXAM,
    ),
    "item=sudden_hearing_loss": (
        "His hearing vanished out of the blue. " + EXAM,
        "She woke up on Monday deaf. " + EXAM,
        "Abrupt loss of hearing on Friday. " + EXAM,
    ),
    "item=tinnitus": (
        "A roaring noise in the left ear. " + EXAM,
        "He hears his own pulse. " + EXAM,
        "She gets bells in her ears. " + EXAM,
    ),
    "item=itch": ("The ear is prickly. " + EXAM, "She keeps scratching at it. " + EXAM),
    "item=pain": ("The ear's giving him gyp. " + EXAM, "A stabbing in the left ear. " + EXAM),
    "item=discharge": (
        "There's stuff leaking from it at night. " + EXAM,
        "It's on the pillow every morning. " + EXAM,
        "A smelly ear for a week. " + EXAM,
    ),
    "item=dizziness": (
        "The room goes round when she stands. " + EXAM,
        "He's off his balance. " + EXAM,
        "Her head was swimming. " + EXAM,
    ),
    "item=anticoagulants": (
        "He takes acenocoumarol. " + EXAM,
        "On Lixiana. " + EXAM,
        "She is on a direct oral anticoagulant. " + EXAM,
    ),
    "item=immunosuppressed": (
        "She takes azathioprine. " + EXAM,
        "He had a kidney transplant. " + EXAM,
        "On long term steroids. " + EXAM,
        "On adalimumab. " + EXAM,
    ),
    "item=diabetes": ("He is on insulin. " + EXAM, "A sugar patient. " + EXAM),
    "item=head_neck_radiotherapy": (
        "Radiation to the tongue in 2011. " + EXAM,
        "He had chemoradiotherapy. " + EXAM,
    ),
    "item=ear_surgery": ("The eardrum was grafted as a teenager. " + EXAM, "She had a stapedotomy. " + EXAM),
    "item=hearing_aids": ("He has deaf aids. " + EXAM, "She has a hearing device. " + EXAM),
    "item=otitis_media": ("A lot of childhood ear infections. " + EXAM,),
    "item=grommets": ("He had ear tubes fitted. " + EXAM,),
    "item=previous_removal": (
        "He was cleared out back in May. " + EXAM,
        "A repeat customer. " + EXAM,
        "Syringed years ago. " + EXAM,
        "She knows the drill. " + EXAM,
    ),
    "item=first_removal": ("She's a first timer. " + EXAM, "Nobody's ever been in there. " + EXAM),
    "agent=sodium_bicarbonate": ("She used bread soda drops at home for a week. " + EXAM,),
    "agent=urea_peroxide": ("He used carbamide drops at home. " + EXAM,),
    # as found
    "occlusion=none": (
        "Left ear, wax free. Drum intact.",
        "Left ear, not a speck of wax. Drum intact.",
        "Left ear, there isn't a speck of wax in it. Drum intact.",
        "Left ear, zero cerumen. Drum intact.",
        "Left ear, wax? Not a trace. Drum intact.",
        "Left ear is devoid of wax. Drum intact.",
    ),
    "occlusion=partial": (
        "Right ear, mostly blocked with wax.",
        "Right ear, wax, a chink of light at the top.",
        "Right ear, wax, it isn't completely blocked.",
    ),
    "occlusion=complete": (
        "Right ear, chock-a-block with wax.",
        "Right ear, wax to the brim, packed to the gunnels.",
        "Right ear, corked, dark wax.",
        "Right ear, wax, no light round it.",
    ),
    "consistency=hard": ("Right ear. Wax like marble.",),
    "consistency=firm": ("Right ear. Wax like leather.",),
    "consistency=dry": ("Right ear. Wax dry as tinder.",),
    "consistency=crumbly": ("Right ear. Wax like breadcrumbs.",),
    "consistency=flaky": ("Right ear. Wax coming away in sheets.",),
    "consistency=clay_like": ("Right ear. Wax like fondant.",),
    "consistency=sticky": ("Right ear. Gloopy wax.", "Right ear. Wax like bitumen."),
    "consistency=soft": ("Right ear. Wax like lard.",),
    "consistency=wet": ("Right ear. Sludgy wax.",),
    "consistency=liquid": ("Right ear. Wax like dishwater.",),
    "colour=grey": ("Right ear. Gunmetal wax.",),
    "colour=beige": ("Right ear. Ivory wax.",),
    "colour=honey": ("Right ear. Whisky coloured wax.",),
    "colour=light_brown": ("Right ear. Tawny wax.",),
    "colour=dark_brown": ("Right ear. Espresso coloured wax.",),
    "colour=red_brown": ("Right ear. Coppery wax.",),
    "colour=black": ("Right ear. Wax black as the ace of spades.",),
    "colour=yellow": ("Right ear. Primrose yellow wax.",),
    "depth=outer": ("Right ear. Wax just in the doorway.",),
    "depth=middle": ("Right ear. Wax partway down.",),
    "depth=deep": ("Right ear. Wax in the anterior sulcus.",),
    "depth=on_drum": ("Right ear. Wax hugging the drum.",),
    "skin=attached": ("Right ear. Wax. The skin there is not for moving.",),
    "skin=keratin_plug": ("Right ear. A keratin cast.",),
    "skin=flaking": ("Right ear. Scurfy skin.",),
    "canal=narrow": ("Right ear. Canal slitlike, wax in it.",),
    "canal=hairy": ("Right ear. Canal is hirsute, wax in it.",),
    "canal=inflamed": ("Right ear. Canal is fiery red, wax in it.",),
    "canal=fungal": ("Right ear. Canal, wet blotting paper, wax in it.",),
    "canal=exostoses": ("Right ear. Canal has knobbly bone, wax in it.",),
    "canal=swollen": ("Right ear. Canal is puffed out, wax in it.",),
    "canal=healthy": ("Right ear. Canal pink and healthy, wax in it.",),
    "canal=discharge": ("Right ear. Canal mucopurulent, wax in it.",),
    "foreign_body=cotton": ("Right ear. There's a wisp of cotton in it.",),
    "foreign_body=dome": ("Right ear. There's a mushroom tip in it.",),
    "foreign_body=insect": ("Right ear. There's a bluebottle in it.",),
    "foreign_body=plug": ("Right ear. There's a foam bung in it.",),
    "foreign_body=other": ("Right ear. Wax, and there's a blade of grass in it.",),
    "drum=healthy": (
        "Right ear. The drum has a crisp light reflex.",
        "Right ear. The drum is within normal limits.",
        "Right ear. The drum is a picture of health.",
    ),
    "drum=intact": ("Right ear. The drum is imperforate.",),
    "drum=perforated": ("Right ear. There's a rent in the drum.",),
    "drum=retracted": ("Right ear. The drum is caved in.",),
    "drum=inflamed": ("Right ear. The drum is hypervascular.",),
    "drum=dull": ("Right ear. The drum has lost its sheen.",),
    "drum=scarred": ("Right ear. The drum has myringosclerosis.",),
    "drum=fluid": ("Right ear. Meniscus behind the drum.",),
    "drum=bulging": ("Right ear. The drum is ballooned.",),
    "drum=not_seen": (
        "Right ear. Wax. No view of the drum.",
        "Right ear. Wax. The drum is hidden.",
        "Right ear. Wax. I can't rightly see the drum.",
        "Right ear. Wax. Drum still not seen.",
    ),
    # the work
    "name=suction_tube": (
        "Right ear. Brown wax. Frazier tip used.",
        "Right ear. Brown wax. Out with the big sucker.",
    ),
    "name=fine_suction_tube": ("Right ear. Brown wax. Used the fine bore sucker.",),
    "name=jobson_horne_probe": ("Right ear. Brown wax. Used the jobson's.",),
    "name=crocodile_forceps": ("Right ear. Brown wax. Out with the hartmanns.",),
    "name=aural_forceps": ("Right ear. Brown wax. Out with the bayonets.",),
    "name=wax_hook": ("Right ear. Brown wax. Day hook used.",),
    "name=curette": ("Right ear. Brown wax. Wire ring used.",),
    "name=irrigator": ("Right ear. Brown wax. Out with the ear washer.",),
    "name=endoscope": ("Right ear. Brown wax. Seen by rigid telescope.",),
    "name=loupes": ("Right ear. Brown wax. Done under magnifying glasses.",),
    "methods=microsuction": ("Right ear. Brown wax, hoovered out.",),
    "methods=manual": ("Right ear. Brown wax, scooped out.",),
    "methods=irrigation": ("Right ear. Brown wax, sluiced.",),
    "tolerance=well": (
        WORK + "Not a peep out of him.",
        WORK + "She was a trooper.",
        WORK + "Never batted an eyelid.",
        WORK + "Cool as a cucumber.",
    ),
    "tolerance=with_discomfort": (
        WORK + "She flinched.",
        WORK + "He grinned and bore it.",
        WORK + "White knuckled.",
    ),
    "tolerance=stopped_early": (
        WORK + "He threw in the towel.",
        WORK + "She couldn't stick it.",
        WORK + "Called it quits.",
    ),
    "complications=bleeding": (WORK + "A bead of blood.", WORK + "It oozed."),
    "complications=pain": (WORK + "She yelped.",),
    "complications=dizziness": (WORK + "He went woozy.",),
    "complications=cough": (WORK + "A fit of coughing.",),
    "complications=faint": (WORK + "She keeled over.",),
    "complications=abrasion": (WORK + "I nicked the canal wall.",),
    "complications=none": (DONE + "It all went smoothly.",),
    "clearance=complete": (WORK + "Not a scrap left.", WORK + "Got the whole lot out.", WORK + "All away."),
    "clearance=partial": (
        WORK + "Most of it came away.",
        WORK + "Still a wee bit down there.",
        WORK + "Couldn't shift the last.",
    ),
    "clearance=none": (
        WORK + "No joy with it.",
        WORK + "The wax wouldn't budge.",
    ),
    # afterwards
    "hearing=improved": (DONE + "His hearing's come right up.", DONE + "She has her hearing back."),
    "hearing=unchanged": (DONE + "He can't tell any difference.", DONE + "Neither better nor worse."),
    "hearing=worse": (DONE + "He's deafer than before.",),
    "advice=keep_dry": (DONE + "Keep the ears bone dry.", DONE + "Shower cap.", DONE + "No dunking."),
    "advice=no_cotton_buds": (DONE + "Lay off the cotton buds.", DONE + "No poking about in there."),
    "advice=return_if_symptoms": (DONE + "Give us a shout if it blocks.", DONE + "Worsening advice given."),
    "advice=leaflet_given": (DONE + "Handed her a booklet.",),
    "advice=hearing_test": (DONE + "Get his hearing tested.",),
    "to=gp": (DONE + "GP for him.", DONE + "Letter to the family doctor."),
    "to=ent": (DONE + "Refer her in to otology.",),
    "to=audiology": (DONE + "Refer to the hearing service.",),
    "to=emergency": (DONE + "Sent to casualty today.",),
    "urgency=urgent": (DONE + "Refer to ENT, pronto.",),
    "urgency=routine": (DONE + "Refer to ENT, no particular hurry.",),
    "unit=months": (DONE + "Pencil him in at six months.", DONE + "Due back in three months."),
}


@pytest.mark.parametrize(("leaf", "text"), [(leaf, text) for leaf, texts in SPOKEN.items() for text in texts])
def test_what_is_spoken_is_found(leaf: str, text: str) -> None:
    assert leaf in values(plain(text))


# ---- near misses ---------------------------------------------------------------------------------

NOT_MEANT = (
    ("consent=declined", "His hearing is declining. " + EXAM),
    ("consent=given", DONE + "She agrees it's better. Happy with that."),
    ("item=tinnitus", "His hearing aids whistle. " + EXAM),
    ("item=head_neck_radiotherapy", "She had radiotherapy to the breast. " + EXAM),
    ("item=anticoagulants", "His blood pressure is fine. " + EXAM),
    ("item=hearing_aids", "A torch to aid in the search. " + EXAM),
    ("foreign_body=other", "Right ear. A lump of wax the size of a lentil."),
    ("colour=brown", "Mr Brown is here. Right ear. Black wax."),
    ("skin=loose", "Right ear. Hard wax. Came away easily."),
    ("consistency=sticky", "Right ear. Hard wax, toffee coloured."),
    ("clearance=complete", WORK + "Is he gone?"),
    ("tolerance=stopped_early", WORK + "I gave up on that probe. All the wax came out."),
    ("advice=leaflet_given", DONE + "We have no leaflets."),
    ("urgency=urgent", DONE + "Refer to ENT, nothing urgent."),
    ("item=immunosuppressed", "He had a hair transplant. " + EXAM),
    ("drum=healthy", "Lovely day. Right ear. Brown wax. Good man."),
)


@pytest.mark.parametrize(("leaf", "text"), NOT_MEANT)
def test_near_misses_are_not_recorded(leaf: str, text: str) -> None:
    assert leaf not in values(plain(text))
