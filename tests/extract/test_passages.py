"""Passages of talk, each with what must be recorded of it: sides, several patients, tools not used.

`passages.txt` holds the passages, each followed by "=> " and its record in one line: the visits parted by "||", in
each the background (h: history, - denied, /side), then each ear as side[what is said of it]: as found; by: the
instruments, or the methods if none is named; in: agents; tol: tolerance; pieces in mm; clear: clearance; after-;
! complications. Common practice in how clinicians talk; no source.
"""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

BLOCK = re.compile(r"(?P<text>(?:(?!=> |short: ).*\n)+)(?:short: (?P<short>.*)\n)?=> (?P<record>.*)\n")


def passages() -> list[Any]:
    held = (Path(__file__).parent / "passages.txt").read_text(encoding="utf-8")
    body = "\n".join(line for line in held.splitlines() if not line.startswith("#")) + "\n"
    return [
        pytest.param(
            found["text"].strip(),
            found["record"].strip(),
            marks=[pytest.mark.xfail(reason=found["short"], strict=True)] if found["short"] else [],
        )
        for found in BLOCK.finditer(body)
    ]


def sided(item: dict[str, str]) -> str:
    return item["item"] + (f"/{item['side']}" if "side" in item else "")


def ear_line(ear: dict[str, Any]) -> str:
    before, work, after = (ear.get(key, {}) for key in ("before", "procedure", "after"))
    said = [before["occlusion"]] if "occlusion" in before else []
    said += [f"{before['occlusion_percent']}%"] if "occlusion_percent" in before else []
    for wax in before.get("wax", []):
        layer = "" if wax["where"] == "whole" else f"{wax['where']}:"
        said.append(layer + "+".join(wax.get("consistency", []) + wax.get("colour", [])))
    said += [value for key in ("depth", "skin", "canal") for value in before.get(key, [])]
    said += [f"fb:{before['foreign_body']}"] if "foreign_body" in before else []
    said += [f"drum:{value}" for value in before.get("drum", [])]
    tools = [t["name"] + (f"/{t['size']}" if "size" in t else "") for t in work.get("instruments", [])]
    said += [f"by:{tool}" for tool in tools or work.get("methods", [])]
    said += [f"in:{agent}" for agent in work.get("agents", [])]
    said += [f"tol:{work['tolerance']}"] if "tolerance" in work else []
    said += [f"{mm}mm" for mm in ear.get("removed_mm", [])]
    said += [f"clear:{after['clearance']}"] if "clearance" in after else []
    said += [f"after-{key}:{value}" for key in ("drum", "canal", "skin") for value in after.get(key, [])]
    said += [f"!{c}" for c in ear.get("complications", [])]
    said += [f"-{c}" for c in ear.get("complications_denied", [])]
    return f"{ear['side']}[{' '.join(said)}]"


def visit_line(visit: dict[str, Any]) -> str:
    back, plan = visit.get("background", {}), visit.get("plan", {})
    said = [f"ref{visit['patient_reference']}"] if "patient_reference" in visit else []
    said += [f"consent:{back['consent']}"] if "consent" in back else []
    said += [sided(s) for s in back.get("symptoms", [])]
    said += [f"-{s}" for s in back.get("symptoms_denied", [])]
    said += [f"h:{sided(s)}" for s in back.get("history", [])]
    said += [f"-h:{s}" for s in back.get("history_denied", [])]
    said += [f"soft:{back['softener']['agent']}"] if "softener" in back else []
    said += [ear_line(ear) for ear in visit.get("ears", [])]
    said += [f"total{visit['removed_total_mm']}"] if "removed_total_mm" in visit else []
    said += [f"hearing:{visit['outcome']['hearing']}"] if "outcome" in visit else []
    said += [f"adv:{advice}" for advice in plan.get("advice", [])]
    said += [f"recall:{plan['recall']['number']}{plan['recall']['unit']}"] if "recall" in plan else []
    said += [f"ref:{plan['referral']['to']}"] if "referral" in plan else []
    return " ".join(said)


@pytest.mark.parametrize(("said", "record"), passages())
def test_passages(read: Callable[[str], list[Any]], said: str, record: str) -> None:
    assert " || ".join(visit_line(visit) for visit in read(said)) == record


def test_there_are_many_passages() -> None:
    assert len(passages()) > 100
