"""Accounts: people who have a password. As soon as there is one, nobody's name is taken at its word any more.

What is kept of a password is its Argon2id hash; the history keeps that hash's own hash, so that one that was
exchanged behind Earside's back is found by `verify`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from shared.errors import BadInput, NotAllowed
from shared.store import chain, passwords, rows, schema
from shared.store.base import MACHINE
from shared.store.people import People

FREE_TRIES = 3
"""Wrong tries in a row that cost nothing; each further one doubles the wait."""
FIRST_WAIT_SECONDS, LONGEST_WAIT_SECONDS = 5.0, 900.0
"""Ours; at the longest, 96 tries a day."""


@dataclass(frozen=True)
class Account:
    """An account. changed: when its password was set; whoever signed in with an earlier one is not signed in."""

    person: rows.Person
    changed: str


class TryLater(NotAllowed):
    """Too many wrong tries. seconds: how long to wait."""

    def __init__(self, name: str, seconds: float) -> None:
        self.seconds = seconds
        super().__init__(
            "there were too many wrong passwords",
            where=name,
            remedy=f"Wait {max(round(seconds), 1)} seconds, then try again.",
        )


class Accounts(People):
    """The part of the store that knows passwords."""

    def accounts(self) -> dict[str, Account]:
        """Everybody who has a password, by name; those who left too."""
        found = self._rows(
            "SELECT p.name, role, active, changed FROM accounts a JOIN people p ON p.name = a.name ORDER BY p.name"
        )
        return {
            row["name"]: Account(rows.Person(row["name"], row["role"], bool(row["active"])), row["changed"])
            for row in found
        }

    def set_password(self, name: str, password: str, *, by: str = MACHINE) -> None:
        """Give a person a password, or another one. Raises BadInput if it is too easily guessed, if there is no
        such person, or if nobody could sign then; NotAllowed if they left."""
        person = self.person(name)
        if not person.active:
            raise NotAllowed("does not work here any more", where=person.name, remedy="Add them again first.")
        if person.role != "clinician" and not self.accounts():
            raise BadInput(
                "the first account must be a clinician's, or nobody could sign",
                where=person.name,
                remedy="Begin with a clinician.",
            )
        secret, at = passwords.hashed(password, person.name), schema.now()
        what = f"{person.name} was given a password" + (" at the terminal" if by == MACHINE else "")
        with self._writing():
            self._execute(
                """INSERT INTO accounts (name, secret, changed) VALUES (?, ?, ?) ON CONFLICT (name)
                DO UPDATE SET secret = excluded.secret, changed = excluded.changed, wrong = 0, tried = NULL""",
                person.name,
                secret,
                at,
            )
            self._enter_account(what, person.name, secret, by, at)

    def drop_password(self, name: str, *, by: str = MACHINE) -> None:
        """Take a person's account away; without any, the desk has none again. Raises BadInput if there is none."""
        person, at = self.person(name), schema.now()
        if person.name not in self.accounts():
            raise BadInput("has no password", where=person.name, remedy="See: earside people")
        with self._writing():
            self._execute("DELETE FROM accounts WHERE name = ?", person.name)
            self._enter_account(f"{person.name} has no password any more", person.name, None, by, at)

    def sign_in(self, name: str, password: str) -> Account:
        """The account of whoever knows its password.

        Raises NotAllowed if the password is wrong or there is no such account, TryLater after too many tries;
        a try that comes too early is not even looked at. Every try is counted before it is looked at.
        """
        told = NotAllowed("the password is wrong", where="sign in", remedy="Try again.")
        now = datetime.now(UTC)
        with self._writing():
            found = self._rows(
                """SELECT a.*, p.name, p.active FROM accounts a JOIN people p ON p.name = a.name
                WHERE a.name = ?""",
                " ".join(name.split()),
            )
            if found:
                row = found[0]
                if (wait := _wait(row, now)) > 0:
                    raise TryLater(row["name"], wait)
                self._execute(
                    "UPDATE accounts SET wrong = wrong + 1, tried = ? WHERE name = ?",
                    rows.iso(now),
                    row["name"],
                )
        # Somebody unknown takes as long as somebody known.
        right = passwords.fits(found[0]["secret"] if found else _nobody(), password)
        if not (right and found and found[0]["active"]):
            raise told
        self._right(found[0])
        return self.accounts()[found[0]["name"]]

    def _right(self, row: dict[str, Any]) -> None:
        with self._writing():
            self._execute(
                "UPDATE accounts SET wrong = 0, tried = NULL WHERE name = ? AND secret = ?",
                row["name"],
                row["secret"],
            )

    def _enter_account(self, what: str, name: str, secret: str | None, by: str, at: str) -> None:
        content = {"what": what, "person": name} | ({"secret": _mark(secret)} if secret else {})
        chain.append(self._db, visit=None, kind="account", who=by, at=at, content=content)

    def _verify_people(self) -> Iterator[str]:
        """People, roles and passwords that are not what the history says."""
        said = self._last_said("person")
        there = {
            row["name"]: {"role": row["role"], "active": bool(row["active"])}
            for row in self._rows("SELECT name, role, active FROM people")
        }
        told = {n: {"role": c["role"], "active": c["active"]} for n, c in said.items()}
        for name in sorted(there.keys() | told.keys()):
            if there.get(name) != told.get(name):
                yield f"{name}: their role is not what the history says"
        kept = {row["name"]: _mark(row["secret"]) for row in self._rows("SELECT name, secret FROM accounts")}
        marks = {n: c["secret"] for n, c in self._last_said("account").items() if "secret" in c}
        for name in sorted(kept.keys() | marks.keys()):
            if kept.get(name) != marks.get(name):
                yield f"{name}: their password is not the one the history says"

    def _last_said(self, kind: str) -> dict[str, dict[str, Any]]:
        """What the history said last of each person, in the spelling of the table of people."""
        spelled = {row["name"].casefold(): row["name"] for row in self._rows("SELECT name FROM people")}
        out = {}
        for row in self._rows(
            "SELECT content FROM entries WHERE kind = ? AND content IS NOT NULL ORDER BY seq", kind
        ):
            content = json.loads(row["content"])
            out[spelled.get(content["person"].casefold(), content["person"])] = content
        return out


def _wait(row: dict[str, Any], now: datetime) -> float:
    """Seconds until the next try is looked at."""
    if row["wrong"] < FREE_TRIES or row["tried"] is None:
        return 0.0
    whole: float = min(FIRST_WAIT_SECONDS * 2.0 ** min(row["wrong"] - FREE_TRIES, 30), LONGEST_WAIT_SECONDS)
    past = (now - datetime.fromisoformat(row["tried"])).total_seconds()
    return whole - max(past, 0.0)


def _mark(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _nobody() -> str:
    """A hash of the usual cost that no password fits."""
    return "$argon2id$v=19$m=65536,t=3,p=4$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
