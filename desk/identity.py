"""Who is at the terminal: where there are accounts, a name is asked for its password."""

from __future__ import annotations

import sys

import click

from shared.store import Store

_MOST = 1000


def proved(store: Store, name: str) -> str:
    """The name, once it is proved; without accounts, as it was given. Raises as `Store.sign_in`."""
    if not store.accounts():
        return name
    return store.sign_in(name, asked(f"Password of {store.person(name).name}")).person.name


def asked(what: str, *, twice: bool = False) -> str:
    """A password, typed unseen; where nobody can type, the first line of standard input."""
    if sys.stdin.isatty():
        typed: str = click.prompt(what, hide_input=True, confirmation_prompt=twice, err=True)
        return typed
    return sys.stdin.readline(_MOST).rstrip("\r\n")
