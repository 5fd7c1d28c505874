"""Reads a letter back into values, by the grammar of its sentences: what it understands is all that is said."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, get_args

from desk.letters import phrases
from desk.letters.sentences import Paragraph
from shared import record

Found = list[tuple[str, Any, bool]]
"""Values by field (from the ear on, without numbers) in the order read: value, and whether it is doubtful."""

MAYBE = r"(possibly )?"
CLOSED = {
    "symptoms": record.Symptom, "history": record.History, "agents": record.Agent, "canal": record.Canal,
    "skin": record.Skin, "drum": record.Drum, "methods": record.Method, "instruments": record.InstrumentName,
    "complications": record.Complication, "advice": record.Advice, "consistency": record.Consistency,
    "colour": record.Colour,
}  # fmt: skip
PARTS = {"canal": "canal", "skin of the canal": "skin", "eardrum": "drum"}
WHERE = {"in the canal": "canal", "on the skin of the canal": "skin", "at the eardrum": "drum"}
WHEN = {"at first": "before", "afterwards": "after"}


def names(field: str, *, denied: bool = False) -> dict[str, str]:
    """Phrase to value."""
    table: dict[str, str] = {}
    for value in get_args(CLOSED[field]):
        plain = {"urea_peroxide": "urea hydrogen peroxide", "not_seen": "not seen", "clay_like": "clay-like",
                 "red_brown": "red-brown"}.get(value, value.replace("_", " "))  # fmt: skip
        tables = ("skin_look", "wax", field)
        phrase = next((phrases.THINGS[t][value] for t in tables if value in phrases.THINGS.get(t, {})), plain)
        table[re.sub(r"^(a|an) ", "", phrase) if denied else phrase] = value
    return table


def items(
    text: str, table: dict[str, str], *, tail: str = "", head: str = ""
) -> Iterator[tuple[str, bool, Any]]:
    """The things of a list: value, doubt, and the match. Raises AssertionError at anything else."""
    known = "|".join(re.escape(p) for p in sorted(table, key=len, reverse=True))
    one = re.compile(rf"{MAYBE}{head}(?P<what>{known}){tail}(?:, | and |$)")
    at = 0
    while at < len(text):
        found = one.match(text, at)
        assert found, f"not understood: {text[at:]!r}"
        yield table[found["what"]], bool(found[1]), found
        at = found.end()


def read_back(paragraphs: list[Paragraph]) -> tuple[list[Found], Found]:
    """The values of each ear, and those of the whole visit."""
    ears: list[Found] = []
    whole: Found = []
    for paragraph in paragraphs:
        if "ear" in paragraph.heading.lower().replace("reason for this letter", "").split(",")[0].split():
            ears.append(
                [v for n, s in enumerate(paragraph.sentences) for v in _ear(s.text[:-1], first=n == 0)]
            )
        else:
            whole += [v for s in paragraph.sentences for v in _visit(s.text[:-1])]
    return ears, whole


def _ear(text: str, *, first: bool) -> Iterator[tuple[str, Any, bool]]:
    if first:
        sides = {v: k for k, v in phrases.SIDES.items()} | {
            "another ear whose side was not stated": "unstated"
        }
        known = "|".join(sides)
        found = re.fullmatch(
            rf"(?:In|Nothing more was recorded of) (what was possibly )?({known})(?:, (.*))?", text
        )
        assert found, text
        yield "side", sides[found[2]], bool(found[1])
        if not found[3]:
            return
        text = found[3][0].upper() + found[3][1:]
    yield from _sentence(text, EAR)


def _visit(text: str) -> Iterator[tuple[str, Any, bool]]:
    yield from _sentence(text, VISIT)


def _sentence(text: str, grammar: dict[str, Any]) -> Iterator[tuple[str, Any, bool]]:
    for pattern, reader in grammar.items():
        if found := re.fullmatch(pattern, text):
            yield from reader(found)
            return
    raise AssertionError(f"no such sentence: {text!r}")


def _one(field: str, table: dict[str, str]) -> Any:
    inverse = {v: k for k, v in table.items()}
    return lambda m: [(field, inverse[m[2]], bool(m[1]))]


def _options(table: dict[str, str]) -> str:
    return "(" + "|".join(re.escape(v) for v in table.values()) + ")"


def _plain_list(field: str, table: str, **how: Any) -> Any:
    return lambda m: [(field, value, doubt) for value, doubt, _ in items(m[1], names(table, **how))]


def _denied(field: str, table: str, of: str = "") -> Any:
    return lambda m: [
        (field, value, doubt) for value, doubt, _ in items(m[1], names(table, denied=True), head=f"no {of}")
    ]


def _blocked(m: re.Match[str]) -> Found:
    inverse = {v: k for k, v in phrases.OCCLUSION.items()}
    found: Found = [("before.occlusion", inverse[m[2]], bool(m[1]))]
    return found + ([("before.occlusion_percent", int(m[4]), bool(m[3]))] if m[4] else [])


def _wax(m: re.Match[str]) -> Found:
    layers = {v: k for k, v in phrases.LAYERS.items()} | {"the wax": "whole"}
    found: Found = [("before.wax.where", layers[m[2].lower()], bool(m[1]))]
    if m[3] == "seen":
        return found
    kinds = names("consistency") | names("colour")
    colours = get_args(record.Colour)
    for value, doubt, _ in items(m[3], kinds):
        found.append((f"before.wax.{'colour' if value in colours else 'consistency'}", value, doubt))
    return found


def _look(m: re.Match[str]) -> Found:
    part = PARTS[m[2]]
    return [(f"{WHEN[m[1].lower()]}.{part}", value, doubt) for value, doubt, _ in items(m[3], names(part))]


def _there(m: re.Match[str]) -> Found:
    part = WHERE[m[3]]
    return [(f"{WHEN[m[1].lower()]}.{part}", value, doubt) for value, doubt, _ in items(m[2], names(part))]


def _instruments(m: re.Match[str]) -> Found:
    found: Found = []
    for value, doubt, match in items(m[1], names("instruments"), tail=r"(?: \((possibly )?([^()]*)\))?"):
        found.append(("procedure.instruments.name", value, doubt))
        if match[4] is not None:
            found.append(("procedure.instruments.size", match[4], bool(match[3])))
    return found


def _lengths(m: re.Match[str]) -> Found:
    return [("removed_mm", int(n), bool(maybe)) for maybe, n in re.findall(rf"{MAYBE}(-?\d+) mm", m[1])]


def _sided(field: str) -> Any:
    where = {v: k for k, v in phrases.CONCERNED.items()}
    tail = rf"(?: {MAYBE}({'|'.join(where)}))?"

    def read(m: re.Match[str]) -> Found:
        found: Found = []
        for value, doubt, match in items(m[1], names(field), tail=tail):
            found.append((f"background.{field}.item", value, doubt))
            if match[4]:
                found.append((f"background.{field}.side", where[match[4]], bool(match[3])))
        return found

    return read


def _softener(m: re.Match[str]) -> Found:
    found: Found = []
    if m[2] != "a softener that was not named":
        found.append(("background.softener.agent", names("agents")[m[2]], bool(m[1])))
    if m[4]:
        found.append(("background.softener.days", int(m[4]), bool(m[3])))
    return found


def _referral(m: re.Match[str]) -> Found:
    to = {v: k for k, v in phrases.ADDRESSEES.items()}
    found: Found = [("plan.referral.to", to[m[2]], bool(m[1]))]
    urgency = {"urgently": "urgent", "routinely": "routine"}
    return found + ([("plan.referral.urgency", urgency[m[4]], bool(m[3]))] if m[4] else [])


def _recall(m: re.Match[str]) -> Found:
    unit = m[3] if m[3].endswith("s") else f"{m[3]}s"
    return [("plan.recall.number", int(m[2]), bool(m[1])), ("plan.recall.unit", unit, bool(m[1]))]


def _nothing(_: re.Match[str]) -> Found:
    return []


def _percent(m: re.Match[str]) -> Found:
    return [("before.occlusion_percent", int(m[2]), bool(m[1]))]


def _depth(m: re.Match[str]) -> Found:
    places = {phrase: value for value, phrase in phrases.DEPTH.items()}
    return [("before.depth", value, doubt) for value, doubt, _ in items(m[1], places)]


BODIES = phrases.THINGS["foreign_body"]
LAYER = "|".join([*phrases.LAYERS.values(), "the wax"])
EAR = {
    rf"The canal was {MAYBE}{_options(phrases.OCCLUSION)}(?: \({MAYBE}(-?\d+) %\))? at first": _blocked,
    rf"The canal was {MAYBE}(-?\d+) % blocked at first": _percent,
    r"The wax lay (.*)": _depth,
    rf"(?i:(what was possibly )?({LAYER})) was (.*)": _wax,
    rf"There was {MAYBE}a foreign body: {_options(BODIES)}": _one("before.foreign_body", BODIES),
    r"(At first|Afterwards), the (canal|skin of the canal|eardrum) was (.*)": _look,
    r"(At first|Afterwards), there was (.*) (in the canal|on the skin of the canal|at the eardrum)": _there,
    r"The (?:method was|methods were) (.*)": _plain_list("procedure.methods", "methods"),
    r"The (?:instrument used was|instruments used were) (.*)": _instruments,
    r"Put into the ear: (.*)": _plain_list("procedure.agents", "agents"),
    rf"The patient {MAYBE}{_options(phrases.TOLERANCE)}": _one("procedure.tolerance", phrases.TOLERANCE),
    r"The (?:piece removed was|pieces removed were) (.*) long": _lengths,
    rf"The ear was {MAYBE}{_options(phrases.CLEARANCE)}": _one("after.clearance", phrases.CLEARANCE),
    r"During the procedure there was (.*)": _plain_list("complications", "complications"),
    rf"There were {MAYBE}no (?:other )?complications": lambda m: [("complications", "none", bool(m[1]))],
    r"There was ((?:possibly )?no .*)": _denied("complications_denied", "complications"),
}  # fmt: skip
VISIT = {
    r"This letter reports on a visit for ear care\. No referral was recorded": _nothing,
    r"This letter is a report for your information": _nothing,
    rf"The patient is {MAYBE}referred to {_options(phrases.ADDRESSEES)}(?:, {MAYBE}(urgently|routinely))?": _referral,
    r"The patient reported ((?:possibly )?no .*)": _denied("background.symptoms_denied", "symptoms"),
    r"The patient reported (.*)": _sided("symptoms"),
    r"There is ((?:possibly )?no history of .*)": _denied("background.history_denied", "history", "history of "),
    r"The history includes (.*)": _sided("history"),
    rf"Before the visit {MAYBE}(.*?) was used at home(?: for {MAYBE}(-?\d+) days?)?": _softener,
    rf"Consent was {MAYBE}(given|declined)": lambda m: [("background.consent", m[2], bool(m[1]))],
    rf"The total length removed was {MAYBE}(-?\d+) mm": lambda m: [("removed_total_mm", int(m[2]), bool(m[1]))],
    rf"Hearing afterwards was {MAYBE}{_options(phrases.HEARING)}": _one("outcome.hearing", phrases.HEARING),
    r"The patient was advised (.*)": _plain_list("plan.advice", "advice"),
    rf"A leaflet was {MAYBE}given": lambda m: [("plan.advice", "leaflet_given", bool(m[1]))],
    rf"The patient is to be seen again {MAYBE}in (-?\d+) (\w+)": _recall,
}  # fmt: skip
