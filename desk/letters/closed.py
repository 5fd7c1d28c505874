"""What a template may ask for: the record's values, loops and conditions over them, and nothing that works long.

Jinja's sandbox keeps a template from reaching the program, but not from computing: `{{ 9**9**9 }}` would take all
time and memory there is. A letter needs no arithmetic, so only these parts of the language are let through.
"""

from __future__ import annotations

from typing import Any

from jinja2 import StrictUndefined, nodes
from jinja2.exceptions import SecurityError
from jinja2.sandbox import ImmutableSandboxedEnvironment

FILTERS = frozenset("capitalize default e escape first join last length lower title trim upper".split())  # noqa: SIM905
_PARTS = (
    nodes.Template, nodes.Output, nodes.TemplateData, nodes.Name, nodes.Const, nodes.Getattr, nodes.Getitem,
    nodes.For, nodes.If, nodes.CondExpr, nodes.Compare, nodes.Operand, nodes.And, nodes.Or, nodes.Not, nodes.Test,
    nodes.Filter,
)  # fmt: skip
_DEEPEST = 2  # loops within loops: parts, and the lines of one


class Closed(ImmutableSandboxedEnvironment):
    """The sandbox of a letter. Raises SecurityError, naming what stands in the template and may not."""

    def __init__(self) -> None:
        super().__init__(undefined=StrictUndefined, autoescape=True)
        self.globals.clear()

    def _generate(self, source: nodes.Template, *args: Any, **kwargs: Any) -> str:
        _check(source, 0)
        return super()._generate(source, *args, **kwargs)


def _check(node: nodes.Node, loops: int) -> None:
    called = isinstance(node, nodes.Call) and isinstance(
        node.node, nodes.Name
    )  # none is known: it is told by name
    if not (called or isinstance(node, _PARTS)):
        raise SecurityError(f"“{type(node).__name__.lower()}”")
    if isinstance(node, nodes.Filter) and node.name not in FILTERS:
        raise SecurityError(f"“|{node.name}”")
    loops += isinstance(node, nodes.For)
    if loops > _DEEPEST:
        raise SecurityError("loops more than two deep")
    for inner in node.iter_child_nodes():
        _check(inner, loops)
