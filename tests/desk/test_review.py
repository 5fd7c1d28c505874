"""A person's work on a record: each step does what it says, and a new reading keeps all of it."""

from __future__ import annotations

import re
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import pint
import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from desk import review, typed
from desk.address import place
from desk.checkbook import Checkbook
from desk.merging import merge
from desk.rereading import Rereader
from extract.reader import Reader
from shared.errors import BadInput, Conflict, EarsideError
from shared.record import Notice, Value, Visit
from shared.store import Recording, Store, StoredVisit
from shared.transcript import Transcript, Word

WHO = "Ann Example"
TEXT = (
    "Reference 417. Consent given. She has been blocked on the right, no pain. Right ear: canal completely blocked "
    "with hard dark brown wax on the surface and soft wax behind. Microsuction with a suction tube. Removed a piece "
    "of eighteen millimetres. Drum intact. No bleeding. Left ear: flaky wax, crocodile forceps used, drum looks dull. "
    "See again in six months. Next patient. Reference 418. The ear has sticky orange wax, removed with a curette, "
    "twelve millimetres. Drum not seen. Refer to ENT."
)


def transcript(text: str = TEXT, probability: float = 0.9) -> Transcript:
    words = tuple(
        Word(chars=m.span(), seconds=(i * 0.5, i * 0.5 + 0.4), probability=probability)
        for i, m in enumerate(re.finditer(r"\S+", text))
    )
    return Transcript(text=text, words=words, duration=60.0, source="note.wav")


@pytest.fixture(scope="session")
def rereader() -> Rereader:
    return Rereader(Reader())


@pytest.fixture(scope="session")
def first(rereader: Rereader) -> Visit:
    """The first patient of TEXT, as read."""
    return rereader.read(transcript(), (0, TEXT.index("Next patient")))


def plain(visit: Visit) -> dict[str, Any]:
    return visit.plain()


def by_path(visit: Visit) -> dict[str, Value[Any]]:
    return dict(visit.values())


# --- single steps


def test_accepting_marks_the_value_and_nothing_else(first: Visit) -> None:
    done = review.accept(first, "ears[0].after.drum[0]", WHO)
    assert [p for p, v in done.visit.values() if v.confirmed_by == WHO] == ["ears[0].after.drum[0]"]
    assert plain(done.visit) == plain(first)
    assert done.what == "accepted right ear, after, drum: intact"
    ear = review.accept(done.visit, "ears[1]", WHO).visit
    assert all(v.confirmed_by for p, v in ear.values() if p.startswith("ears[1]"))
    everything = review.accept(ear, "", WHO).visit
    assert all(v.confirmed_by for _, v in everything.values())
    with pytest.raises(BadInput, match="nothing left to accept"):
        review.accept(everything, "", WHO)


def test_a_correction_keeps_the_words_and_notes_what_gave_way(first: Visit) -> None:
    path = "ears[0].before.wax[0].colour[0]"
    done = review.correct(first, path, "Black ?", WHO)
    value, old = by_path(done.visit)[path], by_path(first)[path]
    assert (value.value, value.certainty, value.origin) == ("black", "possible", "entered")
    assert (value.heard, value.chars, value.seconds) == (old.heard, old.chars, old.seconds)
    assert done.what == "corrected right ear, before, wax: dark brown → black?"
    (edit,) = done.edits
    assert (edit.field, edit.ear, edit.before, edit.after, edit.heard) == (
        "before.wax.colour",
        "right",
        "dark_brown",
        "black",
        "dark brown",
    )
    assert [(t.field, t.value, t.of, t.ear) for t in done.visit.taken_out or ()] == [
        ("before.wax.colour", "dark_brown", "surface", 0)
    ]


@pytest.mark.parametrize(
    ("path", "given", "expected"),
    [
        ("ears[0].before.skin", "dry", {"skin": ["dry"]}),
        ("ears[0].before.drum", "not seen", {"drum": ["not_seen"]}),
        ("ears[0].before.foreign_body", "hearing-aid dome?", {"foreign_body": "dome?"}),
        ("ears[0].before.occlusion_percent", "95 %", {"occlusion_percent": 95}),
    ],
)
def test_adding(first: Visit, path: str, given: str, expected: dict[str, Any]) -> None:
    done = review.add(first, path, given, WHO)
    assert plain(done.visit)["ears"][0]["before"] == plain(first)["ears"][0]["before"] | expected
    added = set(by_path(done.visit)) - set(by_path(first))
    assert [by_path(done.visit)[p].origin for p in added] == ["entered"]


def test_adding_parts_by_what_they_are_known_by(first: Visit) -> None:
    visit = first
    for path, given in [
        ("ears[1].procedure.instruments", "wax hook"),
        ("ears[1].procedure.instruments[1].size", "2mm"),
        ("ears[0].before.wax", "middle"),
        ("ears[0].before.wax[2].colour", "honey"),
        ("background.symptoms", "itch"),
        ("background.symptoms[1].side", "both"),
        ("background.softener.agent", "olive oil"),
        ("plan.referral", "ENT"),
        ("plan.referral.urgency", "urgent"),
        ("plan.advice", "keep dry"),
        ("removed_total_mm", "1 3/4 in"),
    ]:
        visit = review.add(visit, path, given, WHO).visit
    found = plain(visit)
    assert found["ears"][1]["procedure"]["instruments"][1] == {"name": "wax_hook", "size": "2mm"}
    assert found["ears"][0]["before"]["wax"][2] == {"where": "middle", "colour": ["honey"]}
    assert found["background"]["symptoms"][1] == {"item": "itch", "side": "both"}
    assert found["background"]["softener"] == {"agent": "olive_oil"}
    assert found["plan"]["referral"] == {"to": "ent", "urgency": "urgent"}
    assert found["removed_total_mm"] == 44
    bare = review.remove(visit, "plan.recall", WHO).visit
    assert plain(review.add(bare, "plan.recall", "1 year", WHO).visit)["plan"]["recall"] == {
        "number": 1,
        "unit": "years",
    }
    one = review.remove(visit, "ears[1]", WHO).visit
    assert plain(review.add(one, "ears", "Left", WHO).visit)["ears"][1] == {"side": "left"}


def test_chosen_words_are_the_evidence(first: Visit) -> None:
    start = TEXT.index("looks dull")
    words = (start, start + len("looks dull"))
    done = review.add(first, "ears[1].after.drum", "retracted", WHO, words=words, transcript=transcript())
    value = by_path(done.visit)["ears[1].after.drum[1]"]
    assert (value.heard, value.chars) == ("looks dull", words)
    assert value.seconds == transcript().seconds(*words)
    for bad in [(5, 5), (-1, 3), (0, 99_999), (14, 15)]:
        with pytest.raises(BadInput, match="no words of the transcript"):
            review.add(first, "ears[1].after.canal", "healthy", WHO, words=bad, transcript=transcript())


def test_removing_a_part_takes_all_in_it_and_empty_parts_go(first: Visit) -> None:
    done = review.remove(first, "ears[0].before.wax[0].where", WHO)
    assert [w["where"] for w in plain(done.visit)["ears"][0]["before"]["wax"]] == ["inner"]
    assert {t.value for t in done.visit.taken_out or ()} == {"surface", "hard", "dark_brown"}
    visit = review.remove(first, "plan.recall.number", WHO).visit
    assert "plan" not in plain(visit)
    assert plain(review.remove(first, "ears[0].side", WHO).visit)["ears"][0]["side"] == "left"


def test_sides(first: Visit) -> None:
    swapped = review.swap_ears(first, WHO)
    assert [e["side"] for e in plain(swapped.visit)["ears"]] == ["left", "right"]
    assert plain(review.swap_ears(swapped.visit, WHO).visit) == plain(first)
    with pytest.raises(BadInput, match="there is a left ear already"):
        review.set_side(first, 0, "left", WHO)
    one = review.remove(first, "ears[1]", WHO).visit
    assert plain(review.set_side(one, 0, "left", WHO).visit)["ears"][0]["side"] == "left"
    with pytest.raises(BadInput, match="there are 1 ears, not two"):
        review.swap_ears(one, WHO)


@pytest.mark.parametrize(
    ("act", "told"),
    [
        (lambda v: review.correct(v, "ears[0].after.drum[0]", "purple", WHO), "It takes: healthy, intact, perforated"),
        (lambda v: review.correct(v, "ears[0].after.drum[7]", "dull", WHO), "drum[7]: nothing is recorded"),
        (lambda v: review.correct(v, "ears[0].after.drum", "dull", WHO), "names several values"),
        (lambda v: review.correct(v, "ears[0].after", "dull", WHO), "is not a single value"),
        (lambda v: review.correct(v, "ears[0].aftr.drum[0]", "dull", WHO), "It can be: side, before, procedure"),
        (lambda v: review.correct(v, "ears[0].after.drum[0]", "intact", WHO), "it is intact already"),
        (lambda v: review.correct(v, "ears[0].before.wax[0].where", "inner", WHO), "inner is there already"),
        (lambda v: review.correct(v, "ears[0].removed_mm[0]", "long", WHO), "'long' is not a length"),
        (lambda v: review.correct(v, "plan.recall.number", "0", WHO), "a number from 1 to 400"),
        (lambda v: review.correct(v, "patient_reference", "a\nb", WHO), "characters on one line"),
        (lambda v: review.add(v, "ears[0].before.occlusion", "none", WHO), "there is a value already"),
        (lambda v: review.add(v, "ears[0].after.drum[0]", "dull", WHO), "To add one: ears[0].after.drum"),
        (lambda v: review.add(v, "ears[0].after.drum", "intact", WHO), "intact is there already"),
        (lambda v: review.add(v, "ears[5].after.drum", "intact", WHO), "nothing is recorded there"),
        (lambda v: review.add(v, "plan.referral.urgency", "urgent", WHO), "Add 'to' first"),
        (lambda v: review.add(v, "ears[0].before", "x", WHO), "is a part, not a value"),
        (lambda v: review.add(v, "plan.recall", "soon", WHO), "'soon' is not a time"),
        (lambda v: review.remove(v, "ears[0].complications[0]", WHO), "nothing is recorded there"),
        (lambda v: review.remove(v, "notices[0]", WHO), "the record has no 'notices[0]' here"),
        (lambda v: review.decide(v, 50, "seen", WHO), "there is no notice 50"),
        (lambda v: review.decide(v, 0, "liked", WHO), "It can be: seen, dismissed"),
    ],
)  # fmt: skip
def test_what_cannot_be_says_which_field_and_what_it_takes(first: Visit, act: Any, told: str) -> None:
    before = first.model_dump_json()
    noticed = first.model_copy(update={"notices": [_notice(True)]})
    with pytest.raises(BadInput) as fault:
        act(noticed)
    assert told in fault.value.line
    assert first.model_dump_json() == before


def _notice(must_decide: bool) -> Notice:
    return Notice(
        kind="length_over_canal", weight=9, must_decide=must_decide, message="Long.", guidance="ours"
    )


def test_what_must_be_decided_needs_a_reason(first: Visit) -> None:
    first = first.model_copy(update={"notices": [_notice(True), _notice(False)]})
    with pytest.raises(BadInput, match="so it needs a reason"):
        review.decide(first, 0, "seen", WHO)
    done = review.decide(first, 0, "dismissed", WHO, reason="measured twice").visit
    assert [n.waits for n in done.notices] == [False, False]
    assert done.notices[0].decision is not None
    assert review.decide(first, 1, "seen", WHO).visit.notices[1].decision is not None


@pytest.mark.parametrize(
    "text", ["18", "18 mm", "1.8cm", "1,8 cm", "3/4 in", "1 1/2 inches", "½ inch", '2"', "0.7 in."]
)
def test_lengths_in_any_unit_are_those_of_pint(text: str) -> None:
    """pint 0.24 as the outside reference; a whole millimetre is as near as a record goes."""
    spelled = text.replace("½", "1/2").replace('"', " in").replace(",", ".").rstrip(".")
    number, unit = re.fullmatch(r"([\d./ ]+?)\s*([a-z]*)", spelled).groups()  # type: ignore[union-attr]
    value = sum(float(eval(part)) for part in number.split())
    meant = pint.UnitRegistry().Quantity(value, unit or "mm").to("mm").magnitude
    assert typed.millimetres(text) == pytest.approx(meant, abs=0.5)


def test_every_field_of_the_record_has_a_place(first: Visit) -> None:
    for path, value in first.values():
        at = place(path)
        assert at.part is None
        assert (
            typed.value(at, f"{value.value}{'?' if value.certainty == 'possible' else ''}")[0] == value.value
        )


# --- read again


def test_a_new_reading_of_the_same_words_changes_nothing(rereader: Rereader, first: Visit) -> None:
    assert merge(first, rereader.read(transcript(), (0, TEXT.index("Next patient")))) == first


def test_what_was_done_by_hand_survives_other_words(rereader: Rereader, first: Visit) -> None:
    visit = review.accept(first, "ears[0].after.drum[0]", WHO).visit
    visit = review.correct(visit, "ears[0].removed_mm[0]", "16", WHO).visit
    visit = review.remove(visit, "ears[0].before.wax[1].consistency[0]", WHO).visit
    visit = review.remove(visit, "plan.recall", WHO).visit
    visit = review.add(visit, "ears[1].before.canal", "narrow", WHO).visit
    words = transcript()
    put = [
        ("flaky wax", "crumbly black wax"),
        ("Drum intact", "It seems fine"),
        ("hard dark brown", "hard black"),
    ]
    for old, new in put:
        at = words.text.index(old)
        visit, words = rereader.put_right(visit, words, (at, at + len(old)), new)
    right, left = plain(visit)["ears"]
    assert right["after"]["drum"] == ["intact"]  # accepted, though its words are gone
    assert right["removed_mm"] == [16]
    assert right["before"]["wax"] == [{"where": "surface", "consistency": ["hard"], "colour": ["black"]},
                                      {"where": "inner"}]  # fmt: skip
    assert left["before"]["wax"] == [{"where": "whole", "consistency": ["crumbly"], "colour": ["black"]}]
    assert left["before"]["canal"] == ["narrow"]
    assert "plan" not in plain(visit)
    drum = by_path(visit)["ears[0].after.drum[0]"]
    assert (drum.origin, drum.heard, drum.confirmed_by) == ("entered", None, WHO)
    for value in by_path(visit).values():
        if value.chars and value.value != "black":
            assert value.heard == words.text[slice(*value.chars)], value


def test_a_removed_length_does_not_hold_back_its_equal(rereader: Rereader) -> None:
    words = transcript("Right ear, removed one piece of 8 mm and another piece of 8 mm. Drum intact.")
    visit = rereader.read(words, (0, len(words.text)))
    assert plain(visit)["ears"][0]["removed_mm"] == [8, 8]
    visit = review.remove(visit, "ears[0].removed_mm[0]", WHO).visit
    again = rereader.again(visit, words, (0, len(words.text)))
    assert plain(again)["ears"][0]["removed_mm"] == [8]
    assert by_path(again)["ears[0].removed_mm[0]"].chars == by_path(visit)["ears[0].removed_mm[0]"].chars


def test_notices_go_with_their_cause_and_stay_decided_while_it_stays(rereader: Rereader) -> None:
    words = transcript(
        "Right ear: hard wax, microsuction. Removed 58 millimetres. Drum intact. Drum perforated.", 0.9
    )
    visit = rereader.noticed(rereader.read(words, (0, len(words.text))), words, Visit())
    kinds = [n.kind for n in visit.notices]
    assert {"length_over_canal", "drum_contradiction"} <= set(kinds)
    number = kinds.index("drum_contradiction")
    visit = review.decide(visit, number, "dismissed", WHO, reason="healed edge").visit

    def after(change: Any) -> dict[str, bool]:
        done = rereader.noticed(change.visit, words, change.visit)
        return {n.kind: n.decision is not None for n in done.notices}

    assert after(review.accept(visit, "ears[0].before.wax[0].consistency[0]", WHO))["drum_contradiction"]
    length = next(k for k in kinds if k.startswith("length"))
    assert length not in after(review.accept(visit, "ears[0].removed_mm[0]", WHO))
    gone = after(review.remove(visit, "ears[0].after.drum[1]", WHO))
    assert "drum_contradiction" not in gone
    unsure = transcript("Right ear: hard wax. Removed 16 millimetres. Drum intact.", 0.3)
    visit = rereader.noticed(rereader.read(unsure, (0, len(unsure.text))), unsure, Visit())
    assert "uncertain_drum" in {n.kind for n in visit.notices}
    drum = next(p for p, v in visit.values() if v.value == "intact")
    done = review.accept(visit, drum, WHO)
    assert "uncertain_drum" not in {n.kind for n in rereader.noticed(done.visit, unsure, visit).notices}


def test_a_split_gives_each_half_its_own_and_a_merge_puts_them_together(
    rereader: Rereader, first: Visit
) -> None:
    words = transcript()
    visit = review.add(first, "ears[1].before.canal", "narrow", WHO).visit
    visit = review.correct(visit, "ears[0].after.drum[0]", "dull", WHO).visit
    one, two = rereader.split(visit, words, TEXT.index("Left ear"))
    assert [e["side"] for e in plain(one)["ears"]] == ["right"]
    assert plain(one)["ears"][0]["after"]["drum"] == ["dull"]
    assert [e["side"] for e in plain(two)["ears"]] == ["left"]
    assert plain(two)["ears"][0]["before"]["canal"] == ["narrow"]
    both, own = rereader.join((one, words), (two, words))
    assert own is None
    assert plain(both) == plain(visit)
    at = words.text.index("flaky")
    fixed, its_words = rereader.put_right(two, words, (at, at + 5), "crumbly")
    both, own = rereader.join((one, words), (fixed, its_words))
    assert own is not None
    assert "crumbly" in own.text
    assert plain(both)["ears"][1]["before"] == {"wax": [{"where": "whole", "consistency": ["crumbly"]}],
                                                "canal": ["narrow"]}  # fmt: skip
    assert plain(both)["ears"][0] == plain(visit)["ears"][0]
    for bad in (0, len(TEXT), TEXT.index("Next patient") + 5):
        with pytest.raises(BadInput, match="words on both sides"):
            rereader.split(visit, words, bad)


def test_words_put_right_keep_the_time_of_those_they_replace(rereader: Rereader, first: Visit) -> None:
    words = transcript()
    at = TEXT.index("eighteen millimetres")
    visit, fixed = rereader.put_right(first, words, (at, at + 20), "sixteen and a half millimetres")
    new = [w for w in fixed.words if "sixteen" in fixed.text[slice(*w.chars)]]
    assert new[0].seconds == words.seconds(at, at + 20)
    spoken = [fixed.text[slice(*w.chars)] for w in fixed.words]
    assert spoken == fixed.text.replace("half millimetres.", "half millimetres").split()
    assert by_path(visit)["ears[0].removed_mm[0]"].value == 17
    with pytest.raises(BadInput, match="not this visit's"):
        rereader.put_right(first, words, (len(TEXT) - 5, len(TEXT)), "x")


# --- any order of anything, on the real reading

PATHS = [
    "patient_reference", "background.symptoms", "background.symptoms[0]", "background.symptoms[0].side", "ears[0].side",
    "ears[1].side", "ears[0]", "ears[1]", "ears[0].before.wax", "ears[0].before.wax[0].where",
    "ears[0].before.wax[0].colour",
    "ears[0].before.wax[0].colour[0]", "ears[0].before.wax[1]", "ears[0].removed_mm[0]", "ears[0].removed_mm",
    "ears[1].removed_mm", "ears[0].after.drum[0]", "ears[0].after.drum", "ears[1].after.drum[0]", "plan.recall",
    "ears[0].procedure.instruments[0].name", "ears[0].procedure.instruments", "plan.recall.number", "plan.referral",
    "plan.advice", "plan.referral.urgency", "ears", "removed_total_mm", "ears[0].complications", "ears[1].before.canal",
]  # fmt: skip
VALUES = ["right", "left", "black", "honey", "hard", "dull", "intact?", "12", "1/2 in", "418", "6 months", "ENT",
          "urgent", "surface", "middle", "curette", "itch", "both", "keep dry", "bleeding", "both?"]  # fmt: skip


NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)
"""To make a failing run short takes minutes on a store."""


class AnyWork(RuleBasedStateMachine):
    """Random work on two visits: the record always holds, a new reading changes nothing, undo goes all the way."""

    rereader: Rereader

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.store = Store(Path(self.folder.name))
        self.store._db.execute("PRAGMA synchronous = OFF")
        self.book = Checkbook(self.store, self.rereader)

    def teardown(self) -> None:
        while True:
            turned = False
            for row in self.store.visits(limit=100).rows:
                v = self.store.visit(row.id)
                if v.undo:
                    try:
                        self.store.undo(v.id, WHO, revision=v.revision)
                        turned = True
                    except EarsideError:
                        continue
            if not turned:
                break
        assert [
            self.store.visit(i).visit for i in sorted(r.id for r in self.store.visits().rows)
        ] == self.start
        assert self.store.verify().faults == ()
        self.store.close()
        self.folder.cleanup()

    @initialize()
    def begin(self) -> None:
        self.store.set_person(WHO, "clinician")
        whole = transcript()
        cut = TEXT.index("Next patient")
        visits = [self.rereader.read(whole, part) for part in ((0, cut), (cut, len(TEXT)))]
        self.start = [self.rereader.noticed(v, whole, v) for v in visits]
        self.store.keep(Recording("a" * 64, "a.wav", 1, "sound"), whole, self.start)

    def attempt(self, act: Any) -> None:
        try:
            act()
        except BadInput as fault:
            if not fault.where:
                raise
        except Conflict:
            raise AssertionError("nobody else is here") from None

    def pick(self, data: st.DataObject) -> StoredVisit:
        return self.store.visit(data.draw(st.sampled_from([r.id for r in self.store.visits().rows])))

    @rule(data=st.data(), path=st.sampled_from(PATHS), value=st.sampled_from(VALUES), words=st.booleans())
    def put(self, data: st.DataObject, path: str, value: str, words: bool) -> None:
        v = self.pick(data)
        chosen = (2, 9) if words else None
        act = data.draw(st.sampled_from([self.book.correct, self.book.add]))
        self.attempt(lambda: act(v.id, path, value, who=WHO, revision=v.revision, words=chosen))

    @rule(data=st.data(), path=st.sampled_from(PATHS))
    def remove(self, data: st.DataObject, path: str) -> None:
        v = self.pick(data)
        self.attempt(lambda: self.book.remove(v.id, path, who=WHO, revision=v.revision))

    @rule(data=st.data(), path=st.sampled_from(["", *PATHS]))
    def accept(self, data: st.DataObject, path: str) -> None:
        v = self.pick(data)
        self.attempt(lambda: self.book.accept(v.id, path, who=WHO, revision=v.revision))

    @rule(data=st.data(), number=st.integers(0, 4))
    def decide(self, data: st.DataObject, number: int) -> None:
        v = self.pick(data)
        self.attempt(
            lambda: self.book.decide(v.id, number, "seen", who=WHO, revision=v.revision, reason="looked")
        )

    @rule(data=st.data())
    def swap(self, data: st.DataObject) -> None:
        v = self.pick(data)
        self.attempt(lambda: self.book.swap_ears(v.id, who=WHO, revision=v.revision))

    @rule(data=st.data(), at=st.integers(0, 400))
    def split(self, data: st.DataObject, at: int) -> None:
        if len(self.store.visits().rows) < 5:
            v = self.pick(data)
            self.attempt(lambda: self.book.split(v.id, at, who=WHO, revision=v.revision))

    @rule(data=st.data())
    def merge(self, data: st.DataObject) -> None:
        v = self.pick(data)
        self.attempt(lambda: self.book.merge_next(v.id, who=WHO, revision=v.revision))

    @rule(data=st.data(), new=st.sampled_from(["", "black", "not", "left ear, drum dull", "8 mm"]))
    def words(self, data: st.DataObject, new: str) -> None:
        v = self.pick(data)
        text = self.store.transcript(v.transcript).text
        start, end = v.visit.extent.chars if v.visit.extent else (0, len(text))
        found = [m.span() for m in re.finditer(r"\w+", text[start:end])]
        if found:
            a, b = data.draw(st.sampled_from(found))
            self.attempt(
                lambda: self.book.put_words_right(
                    v.id, (start + a, start + b), new, who=WHO, revision=v.revision
                )
            )

    @rule(data=st.data())
    def turn(self, data: st.DataObject) -> None:
        v = self.pick(data)
        self.attempt(lambda: self.store.undo(v.id, WHO, revision=v.revision))

    @rule(data=st.data())
    def read_again(self, data: st.DataObject) -> None:
        v = self.pick(data)
        hand = Counter(
            (p.split("[")[0], v.value) for p, v in v.visit.values() if v.by_hand and v.value != "unstated"
        )
        self.attempt(lambda: self.book.read_again(v.id, who=WHO, revision=v.revision))
        again = self.store.visit(v.id).visit
        assert Counter((p.split("[")[0], v.value) for p, v in again.values() if v.by_hand) >= hand
        words = self.store.transcript(v.transcript)
        assert v.visit.extent is not None
        assert self.rereader.again(again, words, v.visit.extent.chars) == again

    @invariant()
    def it_holds(self) -> None:
        for row in self.store.visits().rows:
            visit = self.store.visit(row.id).visit
            assert Visit.model_validate_json(visit.model_dump_json()) == visit
            sides = [e.side.value for e in visit.ears if e.side.value != "unstated"]
            assert len(sides) == len(set(sides))


def test_any_work_in_any_order(rereader: Rereader) -> None:
    AnyWork.rereader = rereader
    run_state_machine_as_test(
        AnyWork,
        settings=settings(
            max_examples=12,
            stateful_step_count=20,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            phases=NO_SHRINKING,
        ),
    )
