"""The evaluation: cases by hand, the acceptance scorer's numbers where it is at hand, bad gold files."""

from __future__ import annotations

import copy
import json
import random
import re
import statistics
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

from extract.evaluate import DANGERS, MISSED, REASSURED, UNSAID, WRONG_SIDE, Count, evaluate_files, score
from extract.gold import load_gold
from shared.errors import BadInput
from shared.record import Ear, Value, Visit
from shared.transcript import Transcript

ROOT = Path(__file__).resolve().parents[2]
SCORER = ROOT.parent / "shared" / "score.py"
SAMPLES = sorted((ROOT / "sample_audio").glob("*.yaml"))

EAR = {
    "side": "right",
    "before": {
        "occlusion": "partial",
        "occlusion_percent": 70,
        "wax": [{"where": "whole", "consistency": ["hard", "dry"], "colour": ["brown"]}],
        "drum": ["not_seen"],
    },
    "procedure": {"methods": ["microsuction"], "instruments": [{"name": "suction_tube", "size": "18G"}]},
    "removed_mm": [14, 14],
    "after": {"clearance": "complete", "drum": ["intact"]},
    "complications": ["bleeding"],
}
VISIT = {
    "patient_reference": "552",
    "background": {
        "consent": "given",
        "symptoms": [{"item": "blocked", "side": "right"}, {"item": "discharge"}],
        "symptoms_denied": ["pain"],
        "softener": {"agent": "olive_oil", "days": 5},
    },
    "ears": [EAR],
    "plan": {"recall": {"number": 6, "unit": "months"}, "referral": {"to": "ent", "urgency": "urgent"}},
}
VALUES = 1 + 1 + 2 + 1 + 2 + 1 + 2 + 3 + 1 + 1 + 2 + 2 + 1 + 1 + 1 + 1 + 2


def gold(*visits: dict[str, Any], name: str = "x") -> list[dict[str, Any]]:
    return [{"id": name, "text": "any", "visits": list(visits)}]


def changed(**ear: Any) -> dict[str, Any]:
    """VISIT with parts of its ear changed."""
    visit = copy.deepcopy(VISIT)
    visit["ears"][0] |= ear  # type: ignore[index]
    return visit


def test_the_same_record_is_exactly_right() -> None:
    result = score(gold(VISIT), {"x": [VISIT]})
    assert (result.total.right, result.total.extra, result.total.missed) == (VALUES, 0, 0)
    assert (result.exact, result.wrong_visit_count, result.misses) == (1, 0, [])
    assert result.dangers == dict.fromkeys(DANGERS, 0)
    assert result.summary()["f1"] == 1.0


def test_nothing_read() -> None:
    result = score(gold(VISIT), {})
    assert result.total == Count(0, 0, VALUES)
    assert (result.total.precision, result.total.recall, result.total.f1) == (1.0, 0.0, 0.0)
    assert (result.exact, result.wrong_visit_count) == (0, 1)


def test_nothing_to_read_and_nothing_read_is_right() -> None:
    result = score(gold(), {"x": []})
    assert result.exact == 1
    assert result.summary()["f1"] == 1.0


@pytest.mark.parametrize(
    ("read", "danger", "times"),
    [
        (changed(side="left"), WRONG_SIDE, 1),
        (changed(after={"clearance": "complete", "drum": ["healthy"]}), REASSURED, 1),
        (changed(removed_mm=[14, 80]), UNSAID, 1),
        (changed(removed_mm=[14, 14, 14, 14]), UNSAID, 2),
        (changed(complications=[]), MISSED, 1),
        (VISIT | {"removed_total_mm": 28}, UNSAID, 1),
        (VISIT | {"background": VISIT["background"] | {"symptoms": []}}, MISSED, 1),  # type: ignore[operator]
    ],
)
def test_errors_that_could_hurt(read: dict[str, Any], danger: str, times: int) -> None:
    assert score(gold(VISIT), {"x": [read]}).dangers[danger] == times


@pytest.mark.parametrize(
    "read",
    [
        changed(removed_mm=[14]),
        changed(after={"clearance": "complete", "drum": []}),
        VISIT | {"patient_reference": "553"},
    ],
)
def test_errors_that_could_not_hurt_in_these_ways(read: dict[str, Any]) -> None:
    result = score(gold(VISIT), {"x": [read]})
    assert result.misses
    assert result.dangers[WRONG_SIDE] == result.dangers[REASSURED] == result.dangers[UNSAID] == 0


def test_a_side_left_open_is_no_wrong_side() -> None:
    result = score(gold(VISIT), {"x": [changed(side="unstated")]})
    assert result.dangers[WRONG_SIDE] == 0
    assert result.fields["side"] == Count(0, 1, 1)


def test_a_doubtful_drum_does_not_reassure_but_is_wrong() -> None:
    read = changed(after={"clearance": "complete", "drum": ["intact?"]})
    result = score(gold(VISIT), {"x": [read]})
    assert result.dangers[REASSURED] == 0
    assert [(m.item.value, m.extra) for m in result.misses] == [
        ("after:intact?", True),
        ("after:intact", False),
    ]


def test_two_ears_without_a_side_are_told_apart() -> None:
    first, second = {"side": "unstated", "removed_mm": [8]}, {"side": "unstated", "removed_mm": [9]}
    result = score(gold({"ears": [first, second]}), {"x": [{"ears": [second, first]}]})
    assert [(m.item.ear, m.item.value, m.extra) for m in result.misses] == [
        ("unstated1", "9", True),
        ("unstated2", "8", True),
        ("unstated1", "8", False),
        ("unstated2", "9", False),
    ]
    assert result.fields["side"] == Count(2, 0, 0)


def test_f1_is_the_harmonic_mean() -> None:
    """Against Python's statistics module."""
    for right, extra, missed in [(8, 2, 4), (1, 0, 9), (5, 5, 0)]:
        count = Count(right, extra, missed)
        assert count.f1 == pytest.approx(statistics.harmonic_mean([count.precision, count.recall]))


# ---- the acceptance scorer, written by others, on the same input


def spoiled(visits: list[dict[str, Any]], chance: random.Random) -> list[dict[str, Any]]:
    """Visits with values dropped, doubled, swapped and moved to the other ear, and sometimes a visit lost."""
    out = copy.deepcopy(visits)
    swap = {
        "right": "left", "left": "unstated", "hard": "soft", "intact": "perforated", "perforated": "healthy",
        "inflamed": "intact", "given": "declined", "bleeding": "pain", "complete": "partial",
    }  # fmt: skip

    def walk(node: Any) -> Any:
        if isinstance(node, dict):
            needed = {"side", "item", "name", "where", "to", "number", "unit"}
            return {k: walk(v) for k, v in node.items() if k in needed or chance.random() > 0.06}
        if isinstance(node, list):
            kept = [walk(x) for x in node if chance.random() > 0.08]
            return kept + kept[:1] if kept and chance.random() < 0.05 else kept
        if chance.random() < 0.15:
            return node + 1 if isinstance(node, int) else swap.get(node, node)
        return node

    out = [walk(visit) for visit in out]
    return out[:-1] if len(out) > 1 and chance.random() < 0.2 else out


def scored_by_others(paths: list[Path], got: dict[str, Any], folder: Path) -> tuple[dict[str, Any], str]:
    lines = [json.dumps({"source": f"somewhere/{name}.txt", "visits": v}) for name, v in got.items()]
    (folder / "got.jsonl").write_text("\n".join(lines))
    done = subprocess.run(
        [sys.executable, SCORER, "score", *paths, "--got", folder / "got.jsonl"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout.splitlines()[-1]), done.stdout


@pytest.mark.skipif(not SCORER.exists(), reason="the acceptance scorer is not beside this project")
@pytest.mark.parametrize("seed", range(4))
def test_the_same_numbers_as_the_acceptance_scorer(seed: int, tmp_path: Path) -> None:
    paths = [*SAMPLES, *sorted((SCORER.parent / "gold").glob("*.yaml"))]
    known = load_gold(paths)
    chance = random.Random(seed)
    got = {one["id"]: spoiled(one["visits"], chance) for one in known}
    got.pop(known[seed]["id"])
    ours = score(known, got)
    theirs, printed = scored_by_others(paths, got, tmp_path)
    assert 0.3 < theirs["f1"] < 0.98
    assert ours.summary() == theirs
    hurt = dict(
        re.findall(
            r"(wrong side|drum wrongly reassuring|warning sign missed|length never said) (\d+)", printed
        )
    )
    assert {name: n for name, n in ours.dangers.items() if n} == {name: int(n) for name, n in hurt.items()}
    rows = dict(re.findall(r"^(\w+) +(\d+ +[\d.]+ +[\d.]+ +[\d.]+)$", printed, re.MULTILINE))
    assert {"side", "drum", "removed_mm"} <= set(rows)
    for name, count in ours.fields.items():
        row = f"{count.gold} {count.precision:.3f} {count.recall:.3f} {count.f1:.3f}"
        assert rows[name].split() == row.split(), name


# ---- gold files


def test_the_samples_are_gold() -> None:
    found = load_gold(SAMPLES)
    assert len(found) == len(SAMPLES) > 5
    assert score(found, {one["id"]: one["visits"] for one in found}).exact == len(found)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "no list of dictations"),
        ("visits: []", "no list of dictations"),
        ("- id: [", "not valid YAML"),
        ("- {id: a, text: hi}", "dictation 1: a dictation needs id, text and visits"),
        ("- {id: a, text: hi, visits: [], note: x}", "dictation 1: a dictation needs"),
        ("- {id: a, text: hi, visits: []}\n- {id: a, text: hi, visits: []}", "a: the id is used in"),
        ("- {id: a, text: '  ', visits: []}", "a: the text has no words"),
        ("- {id: a, text: hi, visits: {ears: []}}", "a: visits is no list"),
        ("- {id: a, text: hi, visits: [{eras: []}]}", "a, visit 1: eras: Extra inputs"),
        ("- {id: a, text: hi, visits: [{ears: [{side: middle}]}]}", "a, visit 1: ears.0.side"),
        (
            "- {id: a, text: hi, visits: [{}, {ears: [{side: left, after: {drum: [torn]}}]}]}",
            "visit 2: ears.0.after.drum.0",
        ),
    ],
)
def test_a_bad_gold_file_is_refused(content: str, says: str, tmp_path: Path) -> None:
    path = tmp_path / "ours.yaml"
    path.write_text(content)
    with pytest.raises(BadInput) as refused:
        load_gold([path])
    assert refused.value.line.startswith(str(path))
    assert says in refused.value.line
    assert "\n" not in refused.value.line


def test_a_gold_file_that_is_not_there_or_not_text(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be read"):
        load_gold([tmp_path / "none.yaml"])
    (tmp_path / "latin.yaml").write_bytes(b"- {id: a, text: s\xe4ure}")
    with pytest.raises(BadInput, match="not UTF-8"):
        load_gold([tmp_path / "latin.yaml"])


class Parrot:
    """Reads a right ear into every text that names one."""

    def read(self, transcript: Transcript) -> list[Visit]:
        if "right" not in transcript.text:
            return []
        side = Value(value="right", origin="entered")
        return [Visit(ears=[Ear(side=side, removed_mm=[Value(value=9, origin="entered")])])]


def test_files_are_read_and_compared(tmp_path: Path) -> None:
    path = tmp_path / "ours.yaml"
    ear = {"side": "right", "removed_mm": [9]}
    dictations = [
        {"id": "one", "text": "right ear, nine mil", "visits": [{"ears": [ear]}]},
        {"id": 2, "text": "the news", "visits": []},
        {"id": "three", "text": "right ear, ten mil", "visits": [{"ears": [ear | {"removed_mm": [10]}]}]},
    ]
    path.write_text(yaml.safe_dump(dictations))
    result = evaluate_files([path], Parrot())
    assert (result.dictations, result.exact) == (3, 2)
    assert result.fields["removed_mm"] == Count(1, 1, 1)
    assert result.dangers[UNSAID] == 1
    assert {m.dictation for m in result.misses} == {"three"}
