"""How an ear was worked on: methods, instruments and their sizes, agents, how it was borne."""

from __future__ import annotations

from typing import Any

from extract.build.values import Values, first_of_each
from extract.mentions import Mention
from shared.record import Instrument, Procedure, Value

METHOD_OF = {
    "suction_tube": "microsuction",
    "fine_suction_tube": "microsuction",
    "jobson_horne_probe": "manual",
    "crocodile_forceps": "manual",
    "aural_forceps": "manual",
    "wax_hook": "manual",
    "curette": "manual",
    "grommet_inserter": "manual",
    "irrigator": "irrigation",
}
_TOLERANCE = ("well", "with_discomfort", "stopped_early")


def procedure(values: Values, mine: list[Mention], uses: dict[int, str]) -> Procedure:
    """The work on one ear. mine: its mentions; uses: what each agent was for, by id(mention)."""
    done = Procedure()
    used = [m for m in mine if m.kind == "instrument" and m.polarity != "denied"]
    meant = {id(m): as_before for m in used if (as_before := _as_before(values, m)) is not None}
    for m in used:
        if id(m) in meant:
            m.value = meant[id(m)].value
    crocodile = [m for m in used if m.value == "crocodile_forceps"]
    used = [
        m
        for m in used
        if m.value != "aural_forceps"
        or values.words.text[m.end - 1] != "forceps"
        or not any(_in_apposition(values, m, c) for c in crocodile)
    ]
    fine = next((m.start for m in used if m.value == "fine_suction_tube"), None)
    if fine is not None:
        used = [m for m in used if m.start <= fine or values.words.text[m.start : m.end] != ["tube"]]
    methods = [(m, m.value, "heard") for m in mine if m.kind == "method" and m.polarity != "denied"]
    methods += [(m, METHOD_OF[m.value], "inferred") for m in used if m.value in METHOD_OF]
    certain = {method for m, method, _ in methods if m.polarity != "possible"}
    for m, method, origin in sorted(methods, key=lambda x: x[0].start):
        if m.polarity == "possible" and method in certain:
            continue
        if method not in [v.value for v in done.methods]:
            done.methods.append(values.value(m, method, origin))
    for m in first_of_each(used, lambda m: m.value):
        size = _size(values, m, used, mine)
        if size is None and id(m) in meant:
            size = _size_in_its_ear(values, meant[id(m)])
        done.instruments.append(Instrument(name=values.value(m, m.value), size=size))
    agents = [m for m in mine if uses.get(id(m)) == "procedure"]
    done.agents = values.listed(agents)
    if any(m.value == "water" and uses.get(id(m)) == "procedure" for m in agents) and not any(
        v.value == "irrigation" for v in done.methods
    ):
        water = next(m for m in agents if m.value == "water")
        done.methods.append(values.value(water, "irrigation", "inferred"))
    borne = [m for m in mine if m.kind == "tolerance" and m.polarity != "denied"]
    if borne:
        worst = max(borne, key=lambda m: (_TOLERANCE.index(m.value), m.start))
        done.tolerance = values.value(worst, worst.value)
    return done


def _in_apposition(values: Values, a: Mention, b: Mention) -> bool:
    """Whether two names of one tool stand side by side ("with the forceps, the crocodile")."""
    first, second = (a, b) if a.start < b.start else (b, a)
    return values.words.text[first.end : second.start] in ([","], [",", "the"])


def _as_before(values: Values, m: Mention) -> Mention | None:
    """The instrument that "the same tube" is: the last one of its method named in another ear."""
    row = values.words.text
    if "same" not in row[max(m.start - 1, 0) : m.start + 1]:
        return None
    method = METHOD_OF.get(m.value)
    return next(
        (
            o
            for o in reversed(_instruments(values, m))
            if o.end <= m.start and METHOD_OF.get(o.value) == method
        ),
        None,
    )


def _instruments(values: Values, of: Mention) -> list[Mention]:
    """The instruments used in its visit."""
    return [
        o
        for o in values.mentions
        if o.kind == "instrument" and o.visit == of.visit and o.live and o.polarity != "denied"
    ]


def _size_in_its_ear(values: Values, m: Mention) -> Value[Any] | None:
    mine = [o for o in values.mentions if o.visit == m.visit and o.live and set(o.ears) & set(m.ears)]
    return _size(values, m, [o for o in _instruments(values, m) if o in mine], mine)


def _size(values: Values, m: Mention, used: list[Mention], mine: list[Mention]) -> Value[Any] | None:
    """The size said nearest to this instrument, if no other instrument is nearer."""
    named = [u for u in used if u.value == m.value]
    bored = m.value in ("suction_tube", "fine_suction_tube")
    for size in (x for x in mine if x.kind == "size"):
        if str(size.value).endswith(("G", "Fr")) and not bored:
            continue  # gauge and French are bores
        if size.linked and size.linked[0].kind == "instrument":
            if size.linked[0].value == m.value:
                return values.value(size, size.value)
            continue
        here = [
            u for u in used if values.words.sentence[u.start] == values.words.sentence[size.start]
        ] or used
        said = size.linked[0] if size.linked else size  # where it was said first, if this puts it right
        nearest = min(here, key=lambda u: (min(abs(u.start - said.end), abs(said.start - u.end)), -u.start))
        if nearest in named and min(abs(nearest.start - said.end), abs(said.start - nearest.end)) <= 12:
            return values.value(size, size.value)
    return None
