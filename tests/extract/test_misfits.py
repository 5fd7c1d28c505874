"""Words that their sentence shows to be said of something else than their meaning asks for."""

import pytest

from extract.reader import Reader
from shared.transcript import Transcript


@pytest.mark.parametrize(
    ("said", "drum"),
    [
        ("Left ear. This plug is pearly white.", None),
        ("Right ear. Pearl grey keratin plug, drum not seen.", ["not_seen"]),
        ("Right ear. Flakes of pearly white skin.", None),
        ("Right ear. Drum in view. Pearly grey.", ["healthy"]),
        ("Right ear. The drum's pearly grey and intact.", ["healthy", "intact"]),
        ("Right ear. Drum, no chance.", ["not_seen"]),
    ],
)
def test_pearly_is_said_of_drums_and_of_plugs(reader: Reader, said: str, drum: list[str] | None) -> None:
    (visit,) = reader.read(Transcript.from_text(said)) or [None]
    ears = visit.plain().get("ears", []) if visit else []
    assert [ear.get("before", {}).get("drum") for ear in ears] == ([drum] if ears else [])
    assert ears or drum is None


@pytest.mark.parametrize(
    ("said", "symptoms", "denied"),
    [
        ("She says she's not hearing well. Right ear. Soft wax.", ["hearing_loss"], []),
        ("His daughter says he's not hearing much. Right ear. Soft wax.", ["hearing_loss"], []),
        ("No hearing loss. Right ear. Soft wax.", [], ["hearing_loss"]),
        ("Not dizzy, not in pain. Right ear. Soft wax.", [], ["dizziness", "pain"]),
    ],
)
def test_not_hearing_is_a_complaint(
    reader: Reader, said: str, symptoms: list[str], denied: list[str]
) -> None:
    (visit,) = reader.read(Transcript.from_text(said))
    background = visit.plain()["background"]
    assert [s["item"] for s in background.get("symptoms", [])] == symptoms
    assert background.get("symptoms_denied", []) == denied
