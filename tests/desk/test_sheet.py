"""The sheet: nothing of a record is left out, every label and wording belongs to something that exists."""

from __future__ import annotations

import io
import itertools
import types
from typing import Any, Literal, Union, get_args, get_origin

import pytest
from pydantic import BaseModel
from rich.console import Console

from desk import wording
from desk.checks import checks
from desk.lines import clean, sections
from desk.sheet import clock, visit_sheet
from extract.notices.guidance import guidance
from shared.record import Ear, Notice, Recall, Value, Visit


def full(model: type[BaseModel], count: Any = None, **fixed: Any) -> Any:
    """An instance with every field filled, each value with words of its own."""
    count = count or itertools.count()
    given = {
        name: _full(info.annotation, count) for name, info in model.model_fields.items() if name not in fixed
    }
    return model(**given, **fixed)


def _full(annotation: Any, count: Any) -> Any:
    if get_origin(annotation) in (Union, types.UnionType):
        annotation = next(a for a in get_args(annotation) if a is not type(None))
    if get_origin(annotation) is list:
        return [_full(get_args(annotation)[0], count)]
    if issubclass(annotation, Value):
        kind = annotation.model_fields["value"].annotation
        value = get_args(kind)[0] if get_origin(kind) is Literal else kind(7)
        n = next(count)
        return annotation(value=value, heard=f"words{n}.", chars=(n, n + 1), seconds=(60.0 * n, 60.0 * n + 1))
    return full(annotation, count)


def everything() -> Visit:
    visit: Visit = full(Visit, extent=None, notices=[], taken_out=None)
    return visit


def shown(visit: Visit) -> str:
    file = io.StringIO()
    Console(file=file, width=160).print(visit_sheet(visit, title="Visit 1", status="draft"))
    return file.getvalue()


def test_every_value_of_a_record_is_shown_with_its_words() -> None:
    visit = everything()
    sheet = shown(visit)
    words = {value.heard for path, value in visit.values() if not path.endswith("wax[0].where")}
    assert len(words) > 35
    assert {w for w in words if f"“{w}”" not in sheet} == set()


def test_a_layer_is_shown_with_its_words() -> None:
    visit = everything()
    before = visit.ears[0].before
    assert before
    where = before.wax[0].where
    assert f"“{where.heard}”" not in shown(visit)  # the whole: no words of its own
    before.wax[0].where = Value(value="inner", heard=where.heard, chars=where.chars)
    assert f"“{where.heard}”" in shown(visit)


def test_every_line_has_a_label() -> None:
    assert all(line.label for section in sections(everything()) for line in section.lines)


def test_no_label_or_wording_is_for_something_that_does_not_exist() -> None:
    def paths(model: Any, above: str) -> set[str]:
        found = set()
        for name, info in model.model_fields.items():
            inner = info.annotation
            while get_origin(inner) and not isinstance(inner, type):
                inner = next(a for a in get_args(inner) if a is not type(None))
            while get_origin(inner) is list:
                (inner,) = get_args(inner)
            path = f"{above}{name}".removeprefix("ears.")
            found.add(path)
            if isinstance(inner, type) and issubclass(inner, BaseModel) and not issubclass(inner, Value):
                found |= paths(inner, f"{path}." if path != "ears" else "")
        return found

    known = paths(Visit, "")
    assert set(wording.FIELDS) - known == set()
    assert set(wording.UNITS) - known == set()
    assert set(wording.VALUES_BY_FIELD) - known == set()

    schema = str(Visit.model_json_schema())
    worded = set(wording.VALUES) | {v for values in wording.VALUES_BY_FIELD.values() for v in values}
    assert {value for value in worded if f"'{value}'" not in schema} == set()


def value(what: object, heard: str, **more: Any) -> Value[Any]:
    return Value(value=what, heard=heard, chars=(0, len(heard)), **more)


def test_what_to_check_comes_in_order_of_weight() -> None:
    def notice(weight: int, message: str, must_decide: bool = False) -> Notice:
        return Notice(kind="x", weight=weight, message=message, guidance="source", must_decide=must_decide)

    ear = Ear(
        side=value("unstated", "it"),
        complications=[
            value("bleeding", "maybe a spot", certainty="possible"),
            value("cough", "cuff", confidence=0.3),
        ],
    )
    light, heavy = notice(1, "Light."), notice(9, "Heavy.", must_decide=True)
    visit = Visit(ears=[ear], notices=[light, heavy])
    assert [check.message for check in checks(visit)] == [
        "To decide before signing: Heavy.",
        "Light.",
        "Which ear? No side was said.",
        "Said with doubt: Ear, side not said, during the work, happened: bleeding (possible).",
        "Not heard clearly: Ear, side not said, during the work, happened: cough.",
    ]
    visit.notices = [light.model_copy(update={"heard": "maybe a spot", "chars": (0, 12)})]
    assert not any("bleeding" in check.message for check in checks(visit))  # told once is enough
    uncertain = {"kind": "uncertain_words", "message": "“a bad cuff” was not heard surely.", "chars": (0, 20)}
    visit.notices = [light.model_copy(update=uncertain)]
    assert not any(check.message.startswith("Not heard") for check in checks(visit))


def test_what_guidance_repeats_is_shown_once() -> None:
    assert guidance().defer == wording.DEFER
    notices = [
        Notice(kind=kind, weight=1, message=f"Look at {kind}. {wording.DEFER}", guidance="source")
        for kind in "ab"
    ]
    sheet = shown(Visit(notices=notices))
    assert "Look at a." in sheet
    assert "Look at b." in sheet
    assert sheet.count(wording.DEFER) == 1


@pytest.mark.parametrize(
    ("number", "unit", "says"), [(1, "weeks", "in 1 week"), (6, "months", "in 6 months")]
)
def test_recall_reads_well(number: int, unit: str, says: str) -> None:
    recall = Recall(number=value(number, "a"), unit=value(unit, "b"))
    visit = Visit.model_validate({"plan": {"recall": recall.model_dump()}})
    ((line,),) = [section.lines for section in sections(visit)]
    assert (line.label, line.text) == ("See again", says)


def test_clock_and_clean() -> None:
    assert [clock(s) for s in (0, 59.99, 60, 3725.2)] == ["00:00", "00:59", "01:00", "62:05"]
    assert clean("a\x1b[31m b\n\tc\u202ed") == "a [31m b c d"


def test_a_visit_without_findings_says_so() -> None:
    assert "Nothing was recorded" in shown(Visit())
