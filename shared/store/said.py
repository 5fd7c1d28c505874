"""What is put down beside the record, in the words of the history."""

from __future__ import annotations

_ANSWERS = {
    "agreed": "the patient agreed to being recorded",
    "declined": "the patient does not want to be recorded",
    "open": "whether the patient agrees to being recorded is open again",
}


def agreement(what: str, notice: str | None) -> str:
    """An answer in the words of the history. notice: the standing one it rests on."""
    return _ANSWERS.get(what, f"recorded under the standing notice “{notice}”")


def recall(what: str, day: str | None) -> str:
    """What became of a recall, in the words of the history. day: to which it was postponed."""
    return {
        "done": "recall done",
        "postponed": f"recall postponed to {day}",
        "declined": "recall declined",
        "open": "recall open again",
    }.get(what, "")
