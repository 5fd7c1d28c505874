"""Talk that is not about ears leaves no record; short and odd notes of ear care lose nothing.

Sources: 4,419 sentences of small talk, trivia and help with computers from the registry package
chatterbot-corpus (English part, BSD licence); 2,376 sentences of hospital notes, the NegEx test set
`rsAnnotations-1-120-random.txt` of GitHub chapmanbe/negex; ordinary.yaml beside this file, our own.
"""

import os
import random
import re
from collections.abc import Sequence
from importlib import resources
from pathlib import Path

import pytest
import yaml

from extract.reader import Reader
from extract.topic import NOT_AN_EAR
from shared.transcript import Transcript

SHARED = Path(os.environ.get("EARSIDE_SHARED", Path(__file__).parents[3] / "shared"))
NOTES = (
    Path(os.environ.get("EARSIDE_OPEN_DATA", SHARED / "open-data"))
    / "negex"
    / "rsAnnotations-1-120-random.txt"
)
GOLD = sorted((SHARED / "gold").glob("*.yaml"))
OWN = yaml.safe_load((Path(__file__).parent / "ordinary.yaml").read_text(encoding="utf-8"))

IN_PASSING = (
    "HEENT: TMs clear, hearing intact.",
    "HEENT: Normocephalic, pupils equal, tympanic membranes clear, canals patent, oropharynx moist.",
    "ENT: Denies hearing loss, tinnitus, ear pain or discharge, sore throat.",
    "He wears hearing aids in both ears.",
    "Otoscopic examination was normal on both sides.",
    "She had tubes placed as a child.",
    "Right tympanic membrane is red, left is normal.",
)
"""Lines on ears as general examinations have them; common practice, no source."""


@pytest.fixture(scope="module")
def reader() -> Reader:
    return Reader()


def recorded(reader: Reader, texts: Sequence[str]) -> dict[str, object]:
    """What is recorded of each text, for those of which anything is."""
    read = {text: reader.read(Transcript.from_text(text)) for text in texts}
    return {text: [v.plain() for v in visits] for text, visits in read.items() if visits}


def runs(sentences: Sequence[str], length: int) -> list[str]:
    return [" ".join(sentences[i : i + length]) for i in range(0, len(sentences), length)]


@pytest.fixture(scope="module")
def chat() -> list[str]:
    pytest.importorskip("chatterbot_corpus", reason="the package of ordinary sentences is not installed")
    sentences: list[str] = []
    folder = resources.files("chatterbot_corpus") / "data" / "english"
    for name in sorted(file.name for file in folder.iterdir() if file.name.endswith(".yml")):
        tree = yaml.safe_load((folder / name).read_text(encoding="utf-8"))
        sentences += [s for talk in tree["conversations"] for s in talk if isinstance(s, str)]
    return sentences


@pytest.fixture(scope="module")
def hospital() -> list[str]:
    if not NOTES.is_file():
        pytest.skip(f"the published sentences are not at {NOTES}; EARSIDE_OPEN_DATA names their folder")
    return [line.split("\t")[2] for line in NOTES.read_text(encoding="utf-8").splitlines()[1:]]


@pytest.mark.parametrize("length", [1, 30])
def test_ordinary_sentences_leave_no_record(reader: Reader, chat: list[str], length: int) -> None:
    assert len(chat) >= 2000
    assert recorded(reader, runs(chat, length)) == {}


@pytest.mark.parametrize("length", [1, 5, 20, 50, 2376])
def test_hospital_notes_leave_no_record(reader: Reader, hospital: list[str], length: int) -> None:
    assert len(hospital) == 2376
    assert recorded(reader, runs(hospital, length)) == {}


def test_a_line_on_ears_in_a_hospital_note_is_no_ear_care(reader: Reader, hospital: list[str]) -> None:
    chosen = random.Random(5)
    notes = []
    for note in runs(hospital, 50):
        sentences = re.split(r"(?<=\.)\s+", note)
        sentences.insert(chosen.randrange(len(sentences)), chosen.choice(IN_PASSING))
        notes.append(" ".join(sentences))
    assert recorded(reader, [*notes, " ".join(notes)]) == {}


@pytest.mark.parametrize("kind", ["everyday", "clinic", "borrowed"])
def test_our_own_paragraphs_leave_no_record(reader: Reader, kind: str) -> None:
    assert len(OWN[kind]) >= {"everyday": 60, "clinic": 30, "borrowed": 30}[kind]
    assert recorded(reader, OWN[kind]) == {}


def test_a_long_clinic_list_of_other_organs_leaves_no_record(reader: Reader) -> None:
    long = " ".join(OWN["clinic"] * 20)
    assert len(long.split()) > 15_000
    assert recorded(reader, [long]) == {}


@pytest.mark.parametrize("seed", range(8))
def test_other_organs_one_after_the_other_leave_no_record(reader: Reader, seed: int) -> None:
    paragraphs = list(OWN["borrowed"])
    random.Random(seed).shuffle(paragraphs)
    assert recorded(reader, [" ".join(paragraphs)]) == {}


@pytest.mark.parametrize(
    ("said", "plain"),
    [
        ("Right ear only. No wax.", {"ears": [{"side": "right", "before": {"occlusion": "none"}}]}),
        ("Consent declined.", {"background": {"consent": "declined"}}),
        ("Consent given.", {"background": {"consent": "given"}}),
        ("Reference 731.", {"patient_reference": "731"}),
        ("Drum perforated.", {"ears": [{"side": "unstated", "before": {"drum": ["perforated"]}}]}),
        (
            "This ear: fully blocked, light brown, hard as stone. Zoellner.",
            {
                "ears": [
                    {
                        "side": "unstated",
                        "before": {
                            "occlusion": "complete",
                            "wax": [{"where": "whole", "consistency": ["hard"], "colour": ["light_brown"]}],
                        },
                        "procedure": {"methods": ["microsuction"], "instruments": [{"name": "suction_tube"}]},
                    }
                ]
            },
        ),
    ],
)
def test_the_shortest_notes_are_read(reader: Reader, said: str, plain: dict[str, object]) -> None:
    assert [v.plain() for v in reader.read(Transcript.from_text(said))] == [plain]


def test_long_chat_inside_a_visit_costs_nothing(reader: Reader) -> None:
    before = "Left ear, full of soft brown wax, and I can't see the drum. "
    chat = (
        "He grows roses and goes on about them, the reds and the whites, and who won what at the show. " * 8
    )
    after = "Right, the wax is all out with the sucker. Eardrum intact. No bleeding. Back in six months."
    (visit,) = reader.read(Transcript.from_text(before + chat + after))
    plain = visit.plain()
    assert plain["plan"] == {"recall": {"number": 6, "unit": "months"}}
    assert plain["ears"][0]["before"]["wax"] == [
        {"where": "whole", "consistency": ["soft"], "colour": ["brown"]}
    ]
    assert plain["ears"][0]["complications_denied"] == ["bleeding"]


def test_another_organ_after_a_visit_stays_out_of_the_record(reader: Reader) -> None:
    ear = (
        "Right ear. Hard black wax, deep in the canal. Zoellner sucker, all out in one piece. "
        "Eardrum intact. Olive oil for a week before the next visit, and keep the ear dry. "
    )
    knee = " ".join(OWN["clinic"][i] for i in (0, 1, 9, 15, 19, 26))
    alone = [v.plain() for v in reader.read(Transcript.from_text(ear))]
    doc = reader.annotate(ear + knee)
    late = [m for m in doc._.mentions if m.start > 110 and m.kind]
    assert late
    assert {m.aside for m in late} == {NOT_AN_EAR}
    assert alone[0]["ears"][0]["side"] == "right"


@pytest.mark.skipif(not GOLD, reason=f"the development dictations are not in {SHARED / 'gold'}")
def test_no_development_dictation_loses_a_mention(reader: Reader) -> None:
    dictations = [item for file in GOLD for item in yaml.safe_load(file.read_text(encoding="utf-8"))]
    assert len(dictations) >= 40
    lost = {
        d["id"]
        for d in dictations
        if any(m.aside == NOT_AN_EAR for m in reader.annotate(d["text"])._.mentions)
    }
    assert lost == set()
