"""Two hearings laid side by side: what differs is noted, what only is written otherwise is not."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from text_to_num import alpha2digit

from dictate.bias import echoes, nouns_prompt
from dictate.doubt import belief, believable, compared, parts
from dictate.recognise import HeardWord


def words(text: str, probability: float = 0.9) -> list[HeardWord]:
    return [HeardWord(f" {w}", i, i + 1, probability) for i, w in enumerate(text.split())]


def noted(first: str, second: str) -> dict[str, str]:
    """The words of the first that are in doubt, with what the second wrote."""
    return {w.text.strip(): w.also for w in compared(words(first), words(second)) if w.also is not None}


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Eighteen mm.", "18 millimeters"),
        ("18mm", "eighteen millimetres"),
        ("Twenty-two gauge", "22-gage"),
        ("grey wax", "Gray wax,"),
        ("100%", "100 percent"),
        ("nought point 5", "0 point five"),
        ("don’t", "don't"),
    ],
)
def test_written_otherwise_is_no_doubt(one: str, other: str) -> None:
    assert noted(one, other) == {}


@pytest.mark.parametrize(
    ("first", "second", "doubts"),
    [
        ("about eighteen long", "about 80 long", {"eighteen": "80"}),
        ("no bleeding", "no breathing", {"bleeding": "breathing"}),
        ("bleeding stopped", "no bleeding stopped", {"bleeding": "no bleeding"}),
        ("no bleeding", "bleeding", {"no": ""}),
        ("right ear", "write here", {"right": "write here", "ear": "write here"}),
        ("ear clear", "ear", {"clear": ""}),
        ("clear", "clear not", {"clear": "clear not"}),
        ("clear", "", {"clear": ""}),
        ("", "left ear", {}),
    ],
)
def test_what_differs_is_noted(first: str, second: str, doubts: dict[str, str]) -> None:
    assert noted(first, second) == doubts


SPOKEN = (
    "one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen twenty twenty-two thirty thirty-eight forty fifty fifty-five sixty seventy eighty ninety-nine"
)


@pytest.mark.parametrize("spoken", SPOKEN.split())
def test_numbers_in_words_and_figures_are_the_same(spoken: str) -> None:
    """Held against text2num, which reads English number words."""
    assert parts(spoken) == [alpha2digit(spoken, "en", 0)]


some = st.lists(st.sampled_from(["left", "right", "ear", "no", "bleeding", "18", "80", "mm"]), max_size=12)


@given(some, some)
def test_every_word_stays_and_the_same_twice_is_no_doubt(one: list[str], other: list[str]) -> None:
    first = words(" ".join(one))
    checked = compared(first, words(" ".join(other)))
    assert [(w.text, w.start, w.end) for w in checked] == [(w.text, w.start, w.end) for w in first]
    assert all(w.also is None for w in compared(first, first))


@given(st.floats(0, 1))
def test_a_word_heard_otherwise_is_believed_less(probability: float) -> None:
    once = HeardWord(" dull", 0, 1, probability)
    twice = HeardWord(" dull", 0, 1, probability, also="full")
    assert 0 < belief(twice) < belief(once) < 1


@pytest.mark.parametrize(
    ("heard", "echo"),
    [
        (nouns_prompt(), True),
        ("Right ear. The Zoellner suction tube, the crocodile forceps, the aural forceps.", True),
        ("Microsuction, the otoscope.", True),
        ("", False),
        ("I used the Zoellner suction tube and the crocodile forceps.", False),
        ("Jobson Horne probe to the right ear, then suction.", False),
    ],
)
def test_an_echo_of_the_prompt(heard: str, echo: bool) -> None:
    assert echoes(heard.split(), nouns_prompt()) is echo


def likely(*sentences: tuple[str, float]) -> list[HeardWord]:
    """Sentences, half a second a word, each with how likely its words are."""
    said = [(word, p) for text, p in sentences for word in text.split()]
    return [HeardWord(f" {word}", i / 2, i / 2 + 0.5, p) for i, (word, p) in enumerate(said)]


@pytest.mark.parametrize(
    ("heard", "kept", "seconds"),
    [
        ([("Right ear.", 0.9), ("The aural forceps.", 0.2), ("Hard wax.", 0.8)], "Right ear. Hard wax.", 1.5),
        ([("Right ear.", 0.5), ("Hard wax.", 0.5)], "Right ear. Hard wax.", 0),
        ([("The eardrums are", 0.3), ("important.", 0.42)], "", 2.0),
        ([], "", 0),
    ],
)
def test_what_nobody_is_likely_to_have_said_is_dropped_and_counted(
    heard: list[tuple[str, float]], kept: str, seconds: float
) -> None:
    words, missed = believable(likely(*heard))
    assert "".join(w.text for w in words).strip() == kept
    assert missed == seconds
