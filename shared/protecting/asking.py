"""Who is asked for a passphrase. Light, as every command loads it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

ask: Callable[[Path], str | None] | None = None
"""Asks for the passphrase of a data folder, set by the desk; gives None if nobody answers."""
