"""Where one patient's visit ends and the next begins, and the reference each is dictated under."""

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest

from extract.reader import Reader
from shared.transcript import Transcript

FIRST = "Left ear, hard wax. Zoellner, all clear. Drum intact. "
SECOND = "Right ear, soft wax, one piece out. Drum dull."


@pytest.mark.parametrize(
    ("between", "visits"),
    [
        ("Next patient. ", 2),
        ("Next patient, please. ", 2),
        ("Second patient. ", 2),
        ("Right, next patient now. ", 2),
        ("Next one in, please. ", 2),
        ("New patient. ", 2),
        ("Patient 882. ", 1),
        ("Bring the next one in, please. ", 2),
        ("Can you send in the next? ", 2),
        ("Next one, please. ", 2),
        ("Next, please. ", 2),
        ("That's her done, on to the next patient. ", 2),
        ("Next up. Reference 44. ", 2),
        ("The next patient isn't stopping long, he came with itching. ", 2),
        ("Recall six months. Right, who's this? She feels blocked. ", 2),
        ("Recall six months. Good morning, Mrs Oakley, take a seat. Consent given. ", 2),
        ("Off you go. In you come, sit down. He has itching. ", 2),
        # only spoken of
        ("I'll do the next patient after lunch. ", 1),
        ("Tell the next patient to wait. ", 1),
        ("The next patient can wait outside. ", 1),
        ("The next patient isn't here yet, so no rush. ", 1),
        ("My next patient is at three. ", 1),
        ("Is the next patient waiting? ", 1),
        ("Ring the next patient and say we're late. ", 1),
        ("We're running behind and the next patient's waiting. ", 1),
        ("She's a new patient here. ", 1),
        ("This is my second patient today with that. ", 1),
        ("I said hello to her on the way in. ", 1),
        ("Hello, what's this? ", 1),
        ("Come in, leave it on the desk, thanks. ", 1),
        ("Next up, the right ear. ", 1),
        ("Next, 8 mil. ", 1),
        ("Next ear. ", 1),
        ("Next, the other side. ", 1),
        ("Next appointment in six months. ", 1),
        ("The patient is comfortable. ", 1),
        ("Now then. ", 1),
    ],
)
def test_a_change_of_patient(read: Callable[[str], list[Any]], between: str, visits: int) -> None:
    assert len(read(FIRST + between + SECOND)) == visits


@pytest.mark.parametrize(
    ("said", "references"),
    [
        (f"Patient four one seven. {FIRST}", ["417"]),
        (f"Reference A three oh seven. {FIRST}", ["A307"]),
        (f"Patient number 552. {FIRST}", ["552"]),
        (f"Two oh eight is the reference. {FIRST}", ["208"]),
        (f"Ref double six two. {FIRST}", ["662"]),
        (f"Patient 417. {FIRST} Patient 418. {SECOND}", ["417", "418"]),
        (f"Patient 417. {FIRST} Next patient, reference 418. {SECOND}", ["417", "418"]),
        (f"Patient 417, sorry, 471. {FIRST}", ["471"]),
        (f"Patient 417. {FIRST} That was patient 417. ", ["417"]),
        (f"Patient is seventy-two years old. {FIRST}", [None]),
        (f"Patient has used oil for seven days. {FIRST}", [None]),
        (f"{FIRST} Eighteen gauge sucker.", [None]),
        (f"Room four. {FIRST}", [None]),
        (f"Patient 417. {FIRST} Just like patient 312 last week. ", ["417"]),
        (f"{FIRST} Remember patient 312, the same drum. ", [None]),
    ],
)
def test_references(read: Callable[[str], list[Any]], said: str, references: list[str | None]) -> None:
    assert [v.get("patient_reference") for v in read(said)] == references


def test_nothing_of_one_patient_reaches_another(read: Callable[[str], list[Any]]) -> None:
    first, second, third = read(
        "Patient 11. Consent given. Left ear, hard black wax, Zoellner, all gone, drum perforated. "
        "Next patient. Consent declined. Right ear, soft wax, drum not seen. "
        "Next patient, reference 13. Both ears clear of wax. Drums healthy."
    )
    assert first["background"] == {"consent": "given"}
    assert [ear["side"] for ear in first["ears"]] == ["left"]
    assert second["background"] == {"consent": "declined"}
    assert [(ear["side"], ear["before"]["drum"]) for ear in second["ears"]] == [("right", ["not_seen"])]
    assert third["patient_reference"] == "13"
    assert {ear["before"]["occlusion"] for ear in third["ears"]} == {"none"}


@pytest.mark.parametrize(
    "said",
    [
        FIRST,
        f"{FIRST} Next patient. {SECOND}",
        f"Patient 1 1. {FIRST} Patient 1 2. {SECOND} Next patient. {FIRST}",
    ],
)
def test_visits_lie_in_order_and_do_not_overlap(reader: Reader, said: str) -> None:
    extents = [v.extent for v in reader.read(Transcript.from_text(said))]
    assert all(extents)
    places = [e.chars for e in extents if e]
    assert places == sorted(places)
    assert all(a[1] <= b[0] for a, b in pairwise(places))
    assert all(0 < e.confidence <= 1 for e in extents if e)
    assert extents[0] is not None
    assert extents[0].confidence == 1


def test_a_clearer_change_is_surer(reader: Reader) -> None:
    def sure(between: str) -> float:
        _, second = reader.read(Transcript.from_text(FIRST + between + SECOND))
        assert second.extent is not None
        return second.extent.confidence

    assert sure("Next patient. ") > sure("Next one in, please. ")
    assert sure("Next patient. She feels blocked. ") > sure("Next patient. ")
    assert sure("Recall one year. Next patient. ") > sure("Next patient. ")
    assert sure("Recall one year. Who's this? She feels blocked. ") < sure(
        "Next patient. She feels blocked. "
    )


@pytest.mark.parametrize(
    ("text", "references"),
    [
        ("next is 4 1 1 9 left ear full of black wax syringed it all came away drum intact come back if it blocks up "
         "again next 4 1 2 0 right ear soft wax hooked out drum dull", ["4119", "4120"]),
        ("4119. Left ear full of black wax, syringed, all out. Drum intact. 4120. Right ear, soft wax, hooked out.",
         ["4119", "4120"]),
        # near misses: a length, and a time to come back
        ("4119. Left ear, hard wax, hook. Twelve. Drum intact.", ["4119"]),
        ("Next, 4119. Left ear, hard wax, hook, out. Drum intact. Next week 100 of them are booked.", ["4119"]),
    ],
)  # fmt: skip
def test_another_bare_reference_is_another_patient(reader: Reader, text: str, references: list[str]) -> None:
    visits = reader.read(Transcript(text=text))
    assert [v.patient_reference.value if v.patient_reference else None for v in visits] == references
