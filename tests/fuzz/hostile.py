"""Inputs that somebody could mean harm with, or that a damaged disk could bring forth."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator, Sequence
from typing import Any

from hypothesis import strategies as st

TEXTS = (
    "", " ", "\n", "0", "-1", "1e999", "999999999999999999999999", "NaN", "null", "../../etc/passwd",
    "C:\\con", "a" * 5000,
    "<script>alert(1)</script>", "\"'><img src=x onerror=alert(1)>", "{{ 7 * 7 }}", "{% for x in y %}",
    "${7*7}",
    "=1+1", "+A1", "-2+3", "@SUM(A1)", "\t=1", "\x1b[2J\x1b]0;owned\x07", "\x9b31m", "\x00",
    "\u202eabc\u202c", "\u2066x",
    "\ufffe", "\ud7ff", "e\u0301" * 50, "😀", "مرحبا", "İı", "ß", "%00", "%2e%2e/", "%ff",
    "';DROP TABLE visits;--", "* OR *",
    '"', "NEAR(", "ears[0].side", "ears[99999999999999999999].side", "ears[-1]", "plan.recall=6 months",
    "18 mm", "80 %",
    "2026-02-30", "9999-12-31T23:59:59Z", "0001-01-01", "2026-01-01T00:00:00", "1-2",
    "9" * 30 + "-" + "9" * 30,
)  # fmt: skip
"""Markup, templates, formulas, terminal escapes, marks of direction, numbers too large, places elsewhere."""

text = st.one_of(
    st.sampled_from(TEXTS), st.text(max_size=60), st.lists(st.sampled_from(TEXTS), max_size=4).map(" ".join)
)

_EDITS = st.lists(
    st.tuples(
        st.sampled_from(("set", "insert", "drop", "double", "cut", "zero")),
        st.floats(0, 1),
        st.binary(min_size=1, max_size=8),
    ),
    min_size=1,
    max_size=6,
)


def damaged(seeds: Sequence[bytes]) -> st.SearchStrategy[bytes]:
    """One of these files with a few bytes changed, or parts of it left out or doubled; at times only noise."""
    return st.one_of(
        st.builds(_edited, st.sampled_from(list(seeds)), _EDITS),
        st.binary(max_size=400),
        st.sampled_from(list(seeds)),
    )


def _edited(content: bytes, edits: list[tuple[str, float, bytes]]) -> bytes:
    for how, where, given in edits:
        at = round(where * len(content))
        length = 1 << (given[0] % 12)
        match how:
            case "set":
                content = content[:at] + given + content[at + len(given) :]
            case "insert":
                content = content[:at] + given + content[at:]
            case "drop":
                content = content[:at] + content[at + length :]
            case "double":
                content = content[: at + length] + content[at:]
            case "cut":
                content = content[:at]
            case "zero":
                content = content[:at] + bytes(length) + content[at + length :]
    return content


_LEAVES: st.SearchStrategy[Any] = st.one_of(
    text,
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.sampled_from((2**63, -(2**70), 1e308)),
    st.lists(text, max_size=2),
    st.dictionaries(text, text, max_size=2),
    st.just({"a": [{"a": [{}]}]}),
)


def changed(whole: Any) -> st.SearchStrategy[str]:
    """A JSON text made of `whole` with some parts of it replaced, taken out or doubled."""
    places = list(_places(whole))
    edit = st.tuples(
        st.sampled_from(places), st.sampled_from(("replace", "replace", "out", "double")), _LEAVES
    )

    def make(edits: list[tuple[tuple[Any, ...], str, Any]]) -> str:
        made = copy.deepcopy(whole)
        for place, how, leaf in edits:
            node = made
            try:
                for step in place[:-1]:
                    node = node[step]
                if how == "out":
                    del node[place[-1]]
                elif how == "double" and isinstance(node, list):
                    node.append(copy.deepcopy(node[place[-1]]))
                else:
                    node[place[-1]] = copy.deepcopy(leaf)  # later edits may go into it
            except (KeyError, IndexError, TypeError):
                continue  # an earlier edit took it away
        return json.dumps(made)

    return st.lists(edit, min_size=1, max_size=5).map(make)


def _places(node: Any, above: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if above:
        yield above
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, one in inner:
        yield from _places(one, (*above, key))
