"""A record laid out: every value has its place on the page once, its words, and what it can become."""

from pathlib import Path
from typing import Any

import pytest
import yaml

from desk import review
from desk.web import adding, decisions, rows, words
from shared.record import Ear, Extent, Notice, Value, Visit
from shared.transcript import Transcript

DICTATIONS = Path(__file__).parents[2] / "dictations"


def said(value: object, heard: str = "x", at: int = 0) -> Value[Any]:
    return Value(value=value, heard=heard, chars=(at, at + len(heard)))


def visits(reader: Any) -> list[Visit]:
    """The visits of the project's own test dictations, a few of each set."""
    found: list[Visit] = []
    for file in sorted(DICTATIONS.glob("*.yaml")):
        for entry in yaml.safe_load(file.read_text(encoding="utf-8"))[:6]:
            found += reader.read(Transcript.from_text(entry["text"]))
    return found


def test_every_value_of_every_dictation_has_one_place_and_words(reader: Any) -> None:
    seen = 0
    for visit in visits(reader):
        items = list(rows.lay_out(visit).items())
        paths = {path for path, _ in visit.values()}
        hidden = {p for p in paths if p.endswith(".where")}  # a whole layer needs no word of its own
        assert {i.path for i in items} | hidden == paths
        assert len({i.id for i in items}) == len(items)
        for item in items:
            assert item.label, item.path
            assert item.words
            assert "_" not in item.words
            assert not item.options or item.value.value in dict(item.options)
        seen += len(items)
    assert seen > 300


def test_everything_offered_can_be_added(reader: Any) -> None:
    for visit in visits(reader)[::4]:
        offers = [a for n, ear in enumerate(visit.ears) for a in adding.to_ear(ear, n)] + adding.to_visit(
            visit
        )
        for offer in offers:
            path, _, value = offer.what.partition("=")
            given = value or {"plan.recall": "6 months", "patient_reference": "41"}.get(path, "7")
            if path.endswith(("before.wax.consistency", "before.wax.colour")):
                continue  # the page adds the wax first
            review.add(visit, path, given, "Ann Example")
        assert len({o.what for o in offers}) == len(offers)


@pytest.mark.parametrize(
    ("sides", "shown"),
    [
        (["left", "right"], ["Right ear", "Left ear"]),
        (["unstated", "right"], ["Right ear", "Ear, side not said"]),
        (["unstated", "unstated"], ["First ear, side not said", "Second ear, side not said"]),
    ],
)
def test_ears_stand_as_one_faces_the_patient(sides: list[str], shown: list[str]) -> None:
    laid = rows.lay_out(Visit(ears=[Ear(side=said(side)) for side in sides]))
    assert [ear.at.words for ear in laid.ears] == shown


def notice(kind: str, message: str = "Look.", path: str = "", must: bool = True) -> Notice:
    return Notice(kind=kind, weight=50, must_decide=must, path=path, message=message, guidance="x")


@pytest.mark.parametrize(
    ("sides", "found", "buttons"),
    [
        (["unstated"], notice("side_unstated", path="ears[0].side"), ["Right ear", "Left ear"]),
        (["right", "unstated"], notice("side_unstated", path="ears[1].side"), ["Left ear"]),
        (["right"], notice("uncertain_side", path="ears[0].side"), ["“Right ear” is right", "Left ear"]),
        (["right", "left"], notice("side_corrected", path="ears[0].side"), ["Swap the ears"]),
        (["right"], notice("length_teen_or_ty", "18 or 80? It is long.", "ears[0].removed_mm[0]"),
         ["18 mm", "80 mm"]),
        (["right"], notice("length_over_canal", path="ears[0].removed_mm[0]"), ["“80 mm” is right", "Take it out"]),
        (["right"], notice("drum_not_described", must=False), ["Seen"]),
        (["right"], notice("recording_damaged"), []),
    ],
)  # fmt: skip
def test_each_notice_has_answers_of_its_own(sides: list[str], found: Notice, buttons: list[str]) -> None:
    ears = [Ear(side=said(side), removed_mm=[said(80)]) for side in sides]
    visit = Visit(ears=ears, notices=[found])
    (shown,) = decisions.shown(visit, rows.lay_out(visit))
    assert [b.words for b in shown.buttons] == buttons


def test_a_side_in_doubt_never_offers_to_take_the_ear_out() -> None:
    visit = Visit(ears=[Ear(side=said("right"))], notices=[notice("uncertain_side", path="ears[0].side")])
    (shown,) = decisions.shown(visit, rows.lay_out(visit))
    assert "remove" not in {b.act for b in shown.buttons}


def test_words_keep_their_characters_and_what_stands_between() -> None:
    text = "Right ear.  Hard\nwax, 18 mm."
    visit = Visit(
        ears=[Ear(side=said("right", "Right ear"))], extent=Extent(chars=(0, len(text)), confidence=1)
    )
    spoken = words.spoken(visit, Transcript.from_text(text))
    assert "".join(w.text + w.after for w in spoken) == text
    assert [w.text for w in spoken if w.used] == ["Right", "ear."]
    assert all(text[slice(*w.chars)] == w.text for w in spoken)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("abc", "abc"),
        ("abc", ""),
        ("", "abc"),
        ("a b c", "a x c"),
        ("aaa", "aa"),
        ("ab ab", "ab ab ab"),
        ("x", "y"),
    ],
)
def test_what_was_changed_is_found_at_its_smallest(old: str, new: str) -> None:
    start, end, put = words.changed(old, new)
    assert old[:start] + put + old[end:] == new
