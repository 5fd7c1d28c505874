"""Asking whoever is at the keyboard for the passphrase of a protected store."""

from __future__ import annotations

import os
from pathlib import Path

import click


def ask(folder: Path) -> str | None:
    """The passphrase from whoever is at the keyboard; None if nobody is."""
    if not _somebody():
        return None
    given: str = click.prompt(f"Passphrase of {folder}", hide_input=True, err=True)
    return given


def _somebody() -> bool:
    """Whether there is a terminal to ask at; standard input may be sound."""
    try:
        os.close(os.open("/dev/tty" if os.name == "posix" else "CON", os.O_RDWR))
    except OSError:
        return False
    return True
