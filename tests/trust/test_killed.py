"""Every command that writes, killed once each at a random moment.

400 times with `python tests/trust/killing_commands.py 400`, and with `--protected` in an encrypted store.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).with_name("killing_commands.py")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="fork(2) and SIGKILL are POSIX's")
@pytest.mark.parametrize(("kills", "how"), [(25, []), (12, ["8", "--protected"])])
def test_whenever_a_command_is_killed_the_store_holds_and_nothing_is_lost(kills: int, how: list[str]) -> None:
    command = [sys.executable, str(SCRIPT), str(kills), *how]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    assert f"{kills} kills; the store opened and verified after each" in done.stdout
