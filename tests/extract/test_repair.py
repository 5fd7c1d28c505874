"""Misheard words put right, and ordinary words left alone.

Which words are confused for which is our own judgement, no source. The ordinary English comes from outside
the project: the language reference that comes with Python (pydoc topics) and the licences of packages.
"""

from __future__ import annotations

import pydoc_data.topics
import re
import site
from pathlib import Path

import numpy as np
import pytest
import spacy
import yaml
from spacy.language import Language
from spacy.tokens import Doc

from extract import words  # noqa: F401  the component
from extract.repair import Repairer
from extract.soundalikes import is_number
from extract.sounds import Soundings, phones, similarity, skeleton, weight
from extract.sounds_file import load_sounds, parse_sounds
from shared.errors import BadVocabulary
from shared.vocabulary import forms, load, parse

ROOT = Path(__file__).resolve().parents[2]
GOLD = ROOT.parent / "shared" / "gold"
AROUND = "Left ear. The wax is hard and fills the canal. I use the suction tube. "


@pytest.fixture(scope="module")
def nlp() -> Language:
    made = spacy.blank("en")
    made.max_length = 5_000_000
    made.add_pipe("words")
    made.add_pipe("repair")
    return made


def said(nlp: Language, text: str) -> str:
    """The row after repair, without the surroundings."""
    row = nlp(AROUND + text)._.words.text
    return " ".join(row[len(spacy_words(nlp, AROUND)) :])


def spacy_words(nlp: Language, text: str) -> list[str]:
    with nlp.select_pipes(disable=["repair"]):
        return list(nlp(text)._.words.text)


def fired(doc: Doc) -> list[str]:
    return [f"{r.heard} -> {r.meant}" for r in {id(r): r for r in doc._.words.repairs.values()}.values()]


HEARD = [
    ("Next station, 202.", "next patient , 202 ."),
    ("Next cation 202.", "next patient 202 ."),
    ("Writer, the canal is narrow.", "right ear , the canal is narrow ."),
    ("White ear, completely occluded.", "right ear , completely occluded ."),
    ("The drum and tack, but a bit dull.", "the drum is intact , but a bit dull ."),
    ("Can now's healthy.", "canal 's healthy ."),
    ("All the waxes out.", "all the wax is out ."),
    ("The drum is in flamed.", "the drum is inflamed ."),
    ("Eardrum bul ging.", "eardrum bulging ."),
    ("The canal is swol len.", "the canal is swollen ."),
    ("The drum looks a bit reed.", "the drum looks a bit red ."),
    ("Nay pain, nay bleeding.", "no pain , no bleeding ."),
    ("No discharge, no hitch.", "no discharge , no itch ."),
    ("Fluid and dizzy nest, no, no tizzy ness.", "fluid and dizziness , no , no dizziness ."),
    ("Looked with the odour scope.", "looked with the otoscope ."),
    ("With the loops I see it.", "with the loupes i see it ."),
    ("Suction too, 20 gauge.", "suction tube , 20 gauge ."),
    ("It is herd, black wax.", "it is hard , black wax ."),
    ("Brown wax in the outer thrust.", "brown wax in the outer third ."),
    ("The ear has felt block since May.", "the ear has felt blocked since may ."),
    ("Clay-like brown wax.", "clay like brown wax ."),
    ("Then the fine soccer again.", "then the fine sucker again ."),
    ("It is coming up the Sakura tree.", "it is coming up the sucker a treat ."),
    ("There is soft light, ground wax.", "there is soft light brown wax ."),
    ("The tip is eighteen dage.", "the tip is eighteen gauge ."),
    ("That's the loadout, nothing left.", "that 's the lot out , nothing left ."),
    ("It was twelve, note made that sixteen mil.", "it was twelve , no make that sixteen mil ."),
    ("Know this charge from it.", "no discharge from it ."),
    ("It came out with the jobson horn prone.", "it came out with the jobson horne probe ."),
    ("I lifted it with the jobs in horn.", "i lifted it with the jobson horne ."),
    ("Then the croc o dial forceps.", "then the crocodile forceps ."),
    ("Alligator four steps for the last bit.", "alligator forceps for the last bit ."),
    ("Zone are suction tube, sixteen gauge.", "zoellner suction tube , sixteen gauge ."),
    ("A session tube, eighteen cage.", "a suction tube , eighteen gauge ."),
    ("A spec alum is in.", "a speculum is in ."),
    ("Under the mike row scope.", "under the microscope ."),
    ("The stuff is soft, vet and dock brown.", "the stuff is soft , wet and dark brown ."),
    ("There is hard whacks in there.", "there is hard wax in there ."),
    ("The piece is nine milly metres.", "the piece is nine millimetres ."),
    ("The canal is arrow.", "the canal is narrow ."),
    ("Sticky, or inch stuff about halfway.", "sticky , orange stuff about halfway ."),
    ("The hear drum is in task.", "the ear drum is intact ."),
    ("The drum is scared.", "the drum is scarred ."),
    ("No this charge and no pain.", "no discharge and no pain ."),
    ("She is on blood sinners.", "she is on blood thinners ."),
    ("He takes river rocks a ban.", "he takes rivaroxaban ."),
    ("He had crumb its put in as a boy.", "he had grommets put in as a boy ."),
    ("She put all of oil in for three days.", "she put olive oil in for three days ."),
    ("Sodium by carbon eight drops at home.", "sodium bicarbonate drops at home ."),
    ("He wears herring aids.", "he wears hearing aids ."),
    ("The piece was nine milla meters long.", "the piece was nine millimetres long ."),
    ("Then verbal contsent was given.", "then verbal consent was given ."),
    ("Referring her to ideology.", "referring her to audiology ."),
    ("Referral to E and tea, routine.", "referral to ent , routine ."),
    ("There was no breathing.", "there was no bleeding ."),
    ("See her again in sick months.", "see her again in six months ."),
    ("Right here. Clear canal.", "right ear . clear canal ."),
    ("Hard brown blood blocking the canal.", "hard brown plug blocking the canal ."),
]
"""What was said, after what must be understood."""

UNTOUCHED = [
    "The next station is a long walk for her.",
    "She gets off at the next station.",
    "Next station is where her train stops.",
    "Thirty-five male. Right ear blocked. Right ear, hard wax, suction, one piece, nine mil. Clear, drum intact.",
    "The left ear was uncomfortable, but she managed.",
    "What was hard was behind what was soft was the thing.",
    "Both tympanic membranes are a bit dull.",
    "You never want to irrigate a bug.",
    "There is a little white scar in it.",
    "White ear wax is nothing unusual.",
    "The paint is white here on the wall.",
    "He is a writer, and I like what he does.",
    "She left here, and the light here is poor.",
    "I know this is loud, you know.",
    "Now bleeding a little, and now it stops.",
    "She had eighteen years of it, and sixty days of drops.",
    "Look at the drum and talk to me.",
    "She takes it well, the TM isn't talk.",
    "The drum isn't tack.",
    "I write here what he said.",
    "He is breathing well, no trouble breathing through his nose.",
    "She is scared of needles, so I went slowly.",
    "Stay right here for me, please.",
    "I left here early on Friday.",
    "He did bleed, blood in the canal, it stopped.",
    "There is dried blood on the canal wall.",
    "He walks the dog and the wax does not bother him.",
    "Coffee first, then we talk about the hearing test.",
    "The horn of the car was loud to him.",
    "There is a channel on the telly he cannot hear.",
    "I will see you in four weeks.",
    "It hurts to swallow, she says, in the left ear.",
    "I like brown shoes.",
    "The aids are damaged, she says.",
    "He works in marrow farming, and hears badly.",
]
"""Said and heard well, though a trade word sounds alike."""


@pytest.mark.parametrize(("heard", "meant"), HEARD)
def test_misheard_words_are_put_right_among_ear_care(nlp: Language, heard: str, meant: str) -> None:
    assert said(nlp, heard) == meant


@pytest.mark.parametrize("text", [heard for heard, _ in HEARD])
def test_without_ear_care_around_nothing_is_repaired(nlp: Language, text: str) -> None:
    assert not nlp("The weather was fine, and we went to the market. " + text)._.words.repairs


@pytest.mark.parametrize("text", UNTOUCHED)
def test_words_heard_well_stay(nlp: Language, text: str) -> None:
    doc = nlp(AROUND + text)
    assert fired(doc) == []


@pytest.mark.parametrize(
    ("text", "meant", "doubtful"),
    [
        ("Right here. Clear canal.", "right ear", True),
        ("Lift ear. Clear canal.", "left ear", True),
        ("White ear completely occluded.", "right ear", True),
        ("Light ear. Clear canal.", "right ear", True),
        ("Write here. Clear canal.", "right ear", True),
        ("Laughed ear. Clear canal.", "left ear", True),
        ("Know discharge.", "no", True),
        ("Noble bleeding.", "no bleeding", True),
        ("The drum and tack.", "drum is intact", True),
        ("See her in sick months.", "six months", True),
        ("There was no breathing.", "bleeding", True),
        ("Alligator four steps next.", "forceps", True),
        ("He wears herring aids.", "hearing aids", False),
        ("The canal is arrow.", "narrow", False),
    ],
)
def test_sides_denials_and_numbers_are_marked_for_checking(
    nlp: Language, text: str, meant: str, doubtful: bool
) -> None:
    repairs = list(nlp(AROUND + text)._.words.repairs.values())
    assert {(r.meant, r.doubtful) for r in repairs} == {(meant, doubtful)}


@pytest.mark.parametrize(
    "length", ["18", "80", "16", "60", "14", "40", "thirteen", "thirty", "15", "50", "19", "ninety"]
)
def test_a_length_is_never_changed(nlp: Language, length: str) -> None:
    for unit in ("mil", "millimetres", "mm"):
        text = f"{AROUND}One piece, {length} {unit}. It was {length} {unit} long."
        assert nlp(text)._.words.text.count(length) == 2


def test_no_known_confusion_changes_a_number_unchecked() -> None:
    sounds = load_sounds(load())
    loose = [
        (confusion.heard, confusion.meant)
        for filed in sounds.confusions.values()
        for confusion in (*filed.free, *filed.bound)
        if any(is_number(word) for word in confusion.meant) and not confusion.doubtful
        if not any(is_number(word) for slot in confusion.heard for word in slot.words)
    ]
    assert loose == []


def test_evidence_covers_the_words_heard(nlp: Language) -> None:
    text = AROUND + "Out with the jobs in horn pro, one piece."
    doc = nlp(text)
    row = doc._.words
    assert len(row.text) == len(row.token) == len(row.last)
    assert list(row.token) == sorted(row.token)
    first = row.text.index("jobson")
    assert set(range(first, first + 3)) == set(row.repairs)
    spans = {doc[row.token[i] : row.last[i] + 1].text for i in (first, first + 1)}
    assert spans == {"jobs in horn"}
    assert doc[row.token[first + 2]].text == "pro"
    kept = [i for i in range(len(row.text)) if i not in row.repairs]
    assert all(doc[row.token[i]].lower_ == row.text[i] for i in kept)
    assert row.repairs[first].heard == "jobs in horn"
    assert 0.5 < row.repairs[first].similarity <= 1


def ordinary_sentences() -> list[str]:
    """English of the outside that has no ear in it."""
    topics = " ".join(pydoc_data.topics.topics.values())
    licences = [p.read_text(encoding="utf-8", errors="replace") for p in _licences()]
    plain = re.sub(r"\s+", " ", " ".join([topics, *licences]))
    return [s for s in re.split(r"(?<=[.!?]) ", plain) if len(s.split()) > 3]


def _licences() -> list[Path]:
    return sorted(
        p for folder in site.getsitepackages() for p in Path(folder).glob("*.dist-info/**/LICENSE*")
    )[:20]


def test_ordinary_english_is_never_repaired(nlp: Language) -> None:
    sentences = ordinary_sentences()
    assert len(sentences) > 2000
    assert fired(nlp("\n".join(sentences))) == []
    assert [s for s in sentences if nlp(s)._.words.repairs] == []


def test_ordinary_english_within_a_dictation_is_left_alone(nlp: Language) -> None:
    """The hardest place: the text is about ears, these sentences are not. One in a thousand may be taken."""
    sentences = ordinary_sentences()[:2500]
    taken = [s for s in sentences if nlp(f"{AROUND}{s}. The drum is intact, no bleeding.")._.words.repairs]
    assert len(taken) * 1000 <= len(sentences), taken


def test_the_projects_own_dictations_need_no_repair(nlp: Language) -> None:
    texts = sorted((ROOT / "sample_audio").glob("*.txt"))
    assert texts
    assert {p.name: fired(nlp(p.read_text(encoding="utf-8"))) for p in texts} == {p.name: [] for p in texts}


@pytest.mark.skipif(not GOLD.is_dir(), reason="the acceptance dictations are not beside the project")
@pytest.mark.parametrize("name", ["a", "b", "c", "d"])
def test_dictations_heard_well_need_no_repair(nlp: Language, name: str) -> None:
    entries = yaml.safe_load((GOLD / f"{name}.yaml").read_text(encoding="utf-8"))
    assert [f for entry in entries for f in fired(nlp(entry["text"]))] == []


def test_a_term_the_clinic_added_is_repaired(nlp: Language) -> None:
    own = spacy.blank("en")
    own.add_pipe("words")
    repairer = own.add_pipe("repair")
    assert isinstance(repairer, Repairer)
    text = AROUND + "Then the macken tosh forceps, one piece."
    assert "mackintosh" not in own(text)._.words.text
    repairer.learn(load().merged(parse("instrument:\n  aural_forceps: [mackintosh forceps]\n", "own.yaml")))
    assert own(text)._.words.text[-6:] == ["mackintosh", "forceps", ",", "one", "piece", "."]


SHORT = """
sets: {wax: [wax]}
gate: {ear: [ear], work: [wax], other: [drum, canal]}
ordinary: a the
kept: mm
terms: [{kinds: [instrument], near: wax, least: 0.8, before: [the], after: [gauge], framed: 0.7}]
confusions: [{heard: "wags|vax", meant: wax, near: wax}]
"""


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("kept: mm\n", "", "kept"),
        ("heard:", "herd:", "unknown key 'herd'"),
        ("meant: wax,", "", "needs heard and meant"),
        ("near: wax}]\n", "near: whacks}]\n", "no set is named 'whacks'"),
        ("kinds: [instrument]", "kinds: [instruments]", "no such kind"),
        ("least: 0.8", "least: 8", "least"),
        ("framed: 0.7", "framed: yes", "framed"),
        ("near: wax}]", "near: wax, place: last}]", "'last' is not one of"),
        ("near: wax}]", "near: wax, doubtful: maybe}]", "true or false"),
        ("wags|vax", "wags .. vax", "neither words"),
        ("[wax]}\ngate", "[on]}\ngate", "put it in quotes"),
        ("meant: wax, near: wax}]", "meant: wax}, {heard: wags|vax, meant: axe}]", "says the same as row 1"),
        ("sets: {wax: [wax]}", "sets: [wax", "not valid YAML"),
    ],
)
def test_a_wrong_file_is_refused_with_its_place(old: str, new: str, complaint: str) -> None:
    assert parse_sounds(SHORT, load(), "sounds.yaml").terms
    assert old in SHORT
    with pytest.raises(BadVocabulary) as caught:
        parse_sounds(SHORT.replace(old, new, 1), load(), "sounds.yaml")
    assert complaint in str(caught.value)
    assert "sounds.yaml" in str(caught.value)


def test_no_shipped_confusion_turns_one_term_into_another_unconditionally() -> None:
    vocabulary = load()
    sounds = load_sounds(vocabulary)
    means: dict[tuple[str, ...], set[tuple[str, str]]] = {}
    for kind, value, phrase in vocabulary.phrases():
        for form in forms(phrase) if ".." not in phrase else ():
            means.setdefault(form, set()).add((kind, value))
    changed = {
        (word, confusion.meant)
        for filed in sounds.confusions.values()
        for confusion in (*filed.free, *filed.bound)
        if len(confusion.heard) == 1 and not confusion.doubtful
        if not (confusion.before or confusion.after or confusion.near or confusion.place)
        for word in confusion.heard[0].words
        if (word,) in sounds.phrases and not means[word,] & means.get(confusion.meant, means[word,])
    }
    assert changed == set()


@pytest.mark.parametrize(
    ("word", "sound", "bones"),
    [
        ("knight", "nYt", "NT"),
        ("queue", "kjU", "K"),
        ("crocodile", "krokodYl", "KLKTL"),
        ("phone", "fOn", "FN"),
    ],
)
def test_letters_to_sounds(word: str, sound: str, bones: str) -> None:
    assert (phones(word), skeleton(phones(word))) == (sound, bones)


def test_similarity_is_symmetric_and_bounded() -> None:
    pairs = [("forseps", "fors3ps"), ("waks", "wagz"), ("", "a"), ("kanal", "kenal")]
    for a, b in pairs:
        assert similarity(a, b) == pytest.approx(similarity(b, a))
        assert 0 <= similarity(a, b) <= 1
    assert similarity("waks", "waks") == 1
    assert similarity("pat", "bat") > similarity("sat", "bat")


def test_soundings_side_by_side_cost_what_they_cost_one_by_one() -> None:
    terms = sorted({word for term in load_sounds(load()).terms for word in term.words})[:400]
    sounds = [phones(word) for word in terms]
    heard = [phones(word) for word in ("forsips", "wags", "tonight", "a", "sakura")]
    laid = Soundings(sounds)
    run, which = (numbers.ravel() for numbers in np.indices((len(heard), len(sounds))))
    costs = laid.costs(heard, run, which)
    for n, i, cost in zip(run, which, costs, strict=True):
        whole = max(weight(heard[n]), weight(sounds[i]))
        assert max(1 - cost / whole, 0) == pytest.approx(similarity(heard[n], sounds[i]), abs=1e-5)


def test_a_limit_never_changes_a_likeness_above_it() -> None:
    for heard, meant in (("forsips", "forceps"), ("wags", "wax"), ("marrow", "narrow"), ("plug", "drum")):
        exact = similarity(phones(heard), phones(meant))
        limited = similarity(phones(heard), phones(meant), 0.8)
        assert limited == (exact if exact >= 0.8 else limited)
        assert limited <= exact
