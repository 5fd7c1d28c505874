"""A text as a row of plain words: lower case, one spelling, no fillers, dictated marks turned into marks."""

import pytest

from extract.reader import Reader
from extract.words import MARKS, plain_word


@pytest.mark.parametrize(
    ("said", "row"),
    [
        ("Right ear.", "right ear ."),
        ("LEFT EAR, PLEASE", "left ear , please"),
        ("Um, hard, er, wax", ", hard , , wax"),
        ("jet-black wax", "jet black wax"),
        ("He can’t hear", "he ca n't hear"),
        ('She\'s had "a bit" of wax', "she 's had a bit of wax"),
        ("Zöllner sucker", "zoellner sucker"),
        ("grey or gray", "grey or grey"),
        ("the color of tea", "the colour of tea"),
        ("eighteen mil… no", "eighteen mil … no"),
        ("eighteen mil... no", "eighteen mil … no"),
        ("wax — lots", "wax … lots"),
        ("first line\n\nsecond line", "first line ¶ second line"),
        ("first line\nsame talk", "first line same talk"),
        ("Left ear period hard wax comma black period", "left ear . hard wax , black ."),
        ("Left ear full stop Drum intact full stop new paragraph Right ear period", None),
        ("It was a long period of work", "it was a long period of work"),
        ("Wax gone. Period.", "wax gone . period ."),
        ("LE blocked, RE clear.", "left ear blocked , right ear clear ."),
        ("RE: EAC dry and clean. LE: wax.", "right ear : eac dry and clean . left ear : wax ."),
        ("RE: your letter of May.", "re : your letter of may ."),
        ("AD dry, AS wet, itchy AU.", "right ear dry , left ear wet , itchy both ears ."),
        ("as before, re the ad", "as before , re the ad"),
        ("AS BEFORE, RE THE AD", "as before , re the ad"),
        ("R canal dry, L TM intact.", "right canal dry , left tm intact ."),
        ("Patient R 7 2, then L B 4.", "patient r 7 2 , then l b 4 ."),
        ("18mm of wax", None),
        ("I'll see her", None),
        ("", ""),
    ],
)
def test_the_row(reader: Reader, said: str, row: str | None) -> None:
    found = reader.annotate(said)._.words.text
    if row is not None:
        assert " ".join(found) == row
    assert all(word == word.lower() for word in found)


@pytest.mark.parametrize(
    ("said", "marks"),
    [
        ("Left ear full stop Drum intact period New paragraph Right ear period", [".", ".", "¶", "."]),
        ("Consent given comma verbal period Wax hard semicolon black period", [",", ".", ";", "."]),
        ("The period before that was dry.", ["."]),
        ("Clear? Yes! Good; done: next, please.", ["?", "!", ";", ":", ",", "."]),
    ],
)
def test_marks_written_and_dictated(reader: Reader, said: str, marks: list[str]) -> None:
    assert [word for word in reader.annotate(said)._.words.text if word in MARKS] == marks


@pytest.mark.parametrize(
    "said",
    [
        "Um, right ear… eighteen — no, 16 mm. She'll be back.",
        "Left ear period hard wax comma black period",
        "  Drum’s  intact.\n\n\nNext patient\t(417). ",
        'Zöllner, 18G; jet-black "wax" in the E.A.C. he\'d said',
    ],
)
def test_every_word_keeps_its_place(reader: Reader, said: str) -> None:
    doc = reader.annotate(said)
    words = doc._.words
    assert len(words.text) == len(words.token) == len(words.last) == len(words.sentence) == len(words.part)
    assert words.token == sorted(words.token)
    assert all(0 <= a <= b < len(doc) for a, b in zip(words.token, words.last, strict=True))
    for word, at in zip(words.text, words.token, strict=True):
        if word.isalpha() and plain_word(doc[at].text) == word:
            assert plain_word(said[doc[at].idx : doc[at].idx + len(doc[at].text)]) == word


@pytest.mark.parametrize(
    ("heard", "plain"),
    [("GREY", "grey"), ("gray", "grey"), ("Can’t", "can't"), ("Zöllner", "zoellner"), ("wax", "wax")],
)
def test_one_spelling(heard: str, plain: str) -> None:
    assert plain_word(heard) == plain
