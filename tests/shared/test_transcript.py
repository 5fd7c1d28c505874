"""A transcript's words point into its text and carry its times, whatever is asked of them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from shared.transcript import Transcript, Word

TEXT = "Left ear, hard wax, out."
WORDS = (
    Word(chars=(0, 4), seconds=(0.5, 0.8), probability=0.9),
    Word(chars=(5, 9), seconds=(0.8, 1.1), probability=0.8),
    Word(chars=(10, 14), seconds=(1.4, 1.7), probability=0.4),
    Word(chars=(15, 19), seconds=(1.7, 2.2), probability=0.95),
    Word(chars=(20, 24), seconds=(2.3, 2.6), probability=0.7),
)
SPOKEN = Transcript(text=TEXT, words=WORDS, duration=3.0)


@pytest.mark.parametrize(
    ("start", "end", "words", "seconds", "probability"),
    [
        (0, 4, ["Left"], (0.5, 0.8), 0.9),
        (0, 8, ["Left", "ear,"], (0.5, 1.1), 0.8),
        (5, 8, ["ear,"], (0.8, 1.1), 0.8),
        (6, 7, ["ear,"], (0.8, 1.1), 0.8),
        (10, 18, ["hard", "wax,"], (1.4, 2.2), 0.4),
        (3, 11, ["Left", "ear,", "hard"], (0.5, 1.7), 0.4),
        (0, 24, ["Left", "ear,", "hard", "wax,", "out."], (0.5, 2.6), 0.4),
        (23, 24, ["out."], (2.3, 2.6), 0.7),
        (4, 5, [], None, None),
        (24, 30, [], None, None),
    ],
)
def test_words_times_and_probability_of_a_stretch(
    start: int, end: int, words: list[str], seconds: tuple[float, float] | None, probability: float | None
) -> None:
    assert [TEXT[slice(*w.chars)] for w in SPOKEN.words_in(start, end)] == words
    assert SPOKEN.seconds(start, end) == seconds
    assert SPOKEN.probability(start, end) == probability


def test_written_text_has_no_times_and_no_probability() -> None:
    written = Transcript.from_text(TEXT, "note.txt")
    assert (written.text, written.source, written.duration, written.model) == (TEXT, "note.txt", None, None)
    assert written.seconds(0, len(TEXT)) is None
    assert written.probability(0, len(TEXT)) is None


def test_words_without_times_among_others_are_passed_over() -> None:
    mixed = Transcript(text=TEXT, words=(WORDS[0], Word(chars=(5, 9)), WORDS[2]))
    assert mixed.seconds(0, 14) == (0.5, 1.7)
    assert mixed.seconds(5, 9) is None
    assert mixed.probability(0, 9) == 0.9


def test_written_and_read_again_is_the_same() -> None:
    whole = SPOKEN.model_copy(
        update={"model": "base", "settings": {"beam": 5, "clean": True, "prompt": None}}
    )
    again = Transcript.model_validate_json(whole.model_dump_json())
    assert again == whole
    assert again.seconds(10, 18) == (1.4, 2.2)


@pytest.mark.parametrize(
    "wrong",
    [{"duration": -1.0}, {"speech": -0.1}, {"word": ()}, {"words": [{"chars": (0, 4), "probability": 1.5}]}],
)
def test_what_cannot_be_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Transcript.model_validate({"text": TEXT, **wrong})


def test_a_transcript_does_not_change() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        SPOKEN.text = "Right ear."  # type: ignore[misc]


@given(st.lists(st.tuples(st.text("abc", min_size=1, max_size=5), st.integers(1, 3)), max_size=12), st.data())
def test_a_stretch_holds_just_the_words_it_touches(
    pieces: list[tuple[str, int]], data: st.DataObject
) -> None:
    text, words = "", []
    for n, (word, gap) in enumerate(pieces):
        words.append(Word(chars=(len(text), len(text) + len(word)), seconds=(n, n + 0.5)))
        text += word + " " * gap
    transcript = Transcript(text=text, words=tuple(words), duration=float(len(words)))
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start + 1, len(text) + 1))
    touched = tuple(w for w in words if w.chars[0] < end and w.chars[1] > start)
    assert transcript.words_in(start, end) == touched
    spoken = [w.seconds for w in touched if w.seconds]
    assert transcript.seconds(start, end) == ((spoken[0][0], spoken[-1][1]) if spoken else None)


def test_a_part_is_a_transcript_of_its_own() -> None:
    words = (Word(chars=(0, 5), seconds=(0.0, 0.4)), Word(chars=(6, 9), seconds=(0.5, 0.9)))
    whole = Transcript(text="Right ear", words=words, source="a.wav", duration=1.0)
    assert whole.part(0, 9) is whole
    later = whole.part(6, 9)
    assert (later.text, later.source) == ("ear", "a.wav")
    assert later.words == (Word(chars=(0, 3), seconds=(0.5, 0.9)),)
    assert whole.part(3, 9).words == (Word(chars=(3, 6), seconds=(0.5, 0.9)),)


def test_a_part_knows_its_own_times_after_the_whole_was_asked() -> None:
    words = tuple(Word(chars=(2 * i, 2 * i + 1), seconds=(float(i), i + 0.5)) for i in range(20))
    whole = Transcript(text="a " * 20, words=words)
    assert whole.seconds(0, 1) == (0.0, 0.5)
    later = whole.part(20, 40)
    assert [later.seconds(2 * i, 2 * i + 1) for i in range(10)] == [(i + 10.0, i + 10.5) for i in range(10)]


def test_the_text_as_the_second_hearing_wrote_it() -> None:
    text = "Right ear. Eighteen mm, no bleeding. Dry."
    places = [(0, 5), (6, 10), (11, 19), (20, 23), (24, 26), (27, 36), (37, 41)]
    others: list[str | None] = [None, None, "80", None, "know breathing.", "know breathing.", ""]
    words = tuple(Word(chars=c, also_heard=o) for c, o in zip(places, others, strict=True))
    other = Transcript(text=text, words=words).otherwise()
    assert other is not None
    assert other.text == "Right ear. 80 mm, know breathing."
    assert Transcript(text=text, words=tuple(Word(chars=c) for c in places)).otherwise() is None
    assert Transcript.from_text(text).otherwise() is None
