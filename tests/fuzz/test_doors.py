"""Every door, tried shortly: hostile and damaged input is answered or refused, with no traceback and no hang.

`python tests/fuzz/long_run.py` tries the same doors for as long as it is told.
"""

from __future__ import annotations

import pytest
from doors import DOORS
from trying import Tried, attempt

EXAMPLES = {"recording": 40, "template": 25, "http": 60, "command": 40, "text": 60, "websocket": 15}


@pytest.mark.parametrize("name", DOORS)
def test_a_door(name: str) -> None:
    tried = Tried()
    attempt(DOORS[name], examples=EXAMPLES.get(name, 80), start=8, tried=tried)
    assert tried.inputs >= 10
    assert tried.grown < 500
