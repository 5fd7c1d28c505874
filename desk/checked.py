"""What the commands for checking do: put right, sign, amend, look back, learn."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from desk import identity, listing, own_words, wording
from desk.lines import clean
from desk.sheet import visit_sheet
from desk.shell import say
from shared.errors import BadInput, EarsideError
from shared.store import Store, data_folder
from shared.store.rows import Role

if TYPE_CHECKING:
    from desk.checkbook import Checkbook


def correct(visit_id: int, path: str, value: str | None, *, act: str, by: str, data: Path | None) -> None:
    """Do one thing to a visit as it stands, and say what was done."""
    if act in ("correct", "add") and value is None:
        raise BadInput(f"what to {act} is missing", where="VALUE", remedy="See: earside correct --help")
    if act == "remove" and not path:
        raise BadInput("what to take out is missing", where="PATH", remedy="See: earside correct --help")
    with Store(data or data_folder()) as store:
        now, by = store.visit(visit_id), identity.proved(store, by)
        if act in ("undo", "redo"):
            (store.undo if act == "undo" else store.redo)(visit_id, by, revision=now.revision)
        else:
            book = _book(store, data)
            match act:
                case "add":
                    book.add(visit_id, path, value or "", who=by, revision=now.revision)
                case "remove":
                    book.remove(visit_id, path, who=by, revision=now.revision)
                case "accept":
                    book.accept(visit_id, path, who=by, revision=now.revision)
                case _:
                    book.correct(visit_id, path, value or "", who=by, revision=now.revision)
        say(f"Visit {visit_id}: {clean(store.history(visit_id)[-1].what)}")


def _book(store: Store, data: Path | None) -> Checkbook:
    # Slow to import, and not needed to sign or to look back.
    from desk.checkbook import Checkbook  # noqa: PLC0415
    from desk.rereading import Rereader  # noqa: PLC0415
    from extract.reader import Reader  # noqa: PLC0415

    return Checkbook(store, Rereader(Reader(own_words.vocabulary(None, data=data))))


def sign(visit_id: int, *, by: str, reason: str, data: Path | None) -> None:
    """Sign a visit."""
    with Store(data or data_folder()) as store:
        by = identity.proved(store, by)
        store.sign(visit_id, by, revision=store.visit(visit_id).revision, reason=reason)
        say(f"Visit {visit_id}: {clean(store.history(visit_id)[-1].what)}")


def amend(visit_id: int, *, by: str, reason: str, data: Path | None) -> None:
    """Open a signed visit for an amendment."""
    with Store(data or data_folder()) as store:
        by = identity.proved(store, by)
        store.amend(visit_id, by, reason, revision=store.visit(visit_id).revision)
    say(f"Visit {visit_id} is open. Put it right, then sign it again: earside sign {visit_id}")


def history(visit_id: int, *, signed: bool, data: Path | None, as_json: bool) -> None:
    """Print the entries of a visit's history; on request with the records that were signed."""
    with Store(data or data_folder()) as store:
        stored, entries, signatures = (
            store.visit(visit_id),
            store.history(visit_id),
            store.signatures(visit_id),
        )
    if as_json:
        for entry in entries:
            click.echo(json.dumps(dataclasses.asdict(entry)))
        return
    console = listing.console(width=1000)
    console.print(listing.entries(entries))
    for signature in signatures if signed else ():
        title = f"{listing.title(stored)}, {listing.signed(signature)}"
        console.print()
        console.print(visit_sheet(signature.visit, title=title, status="signed"))


def people(
    name: str | None, *, role: str | None, left: bool, password: str | None, data: Path | None
) -> None:
    """List people, add or change one. password: "set" or "drop"."""
    with Store(data or data_folder()) as store:
        if name is None:
            _list_people(store)
            return
        if password is None or role is not None:
            given = next((r for r in get_args(Role) if r == role), None) or store.person(name).role
            person = store.set_person(name, given, active=not left)
            say(f"{clean(person.name)}: " + ("does not work here any more" if left else person.role))
        if password == "set":
            first = not store.accounts()
            store.set_password(name, identity.asked(f"New password of {store.person(name).name}", twice=True))
            say(f"{clean(store.person(name).name)} has a password.")
            if first:
                say("From now on everybody signs in at the desk: give the others passwords too.")
        elif password == "drop":
            store.drop_password(name)
            none = "" if store.accounts() else " Nobody has one now: names are taken at their word again."
            say(f"{clean(store.person(name).name)} has no password.{none}")


def _list_people(store: Store) -> None:
    accounts = store.accounts()
    for person in store.people():
        told = [clean(person.name), person.role]
        told += ["left"] * (not person.active) + ["with a password"] * (person.name in accounts)
        click.echo(", ".join(told))
    if not store.people():
        say('Nobody yet. Add somebody with: earside people "NAME" --role clinician')
    elif not accounts:
        say("Nobody has a password: names are taken at their word.")


def verify(*, head: str = "", data: Path | None) -> None:
    """Check the history; fails if anything in it does not hold."""
    with Store(data or data_folder()) as store:
        found, known = store.verify(), not head or store.has_entry(head)
    for fault in found.faults:
        say(fault)
    if found.faults:
        raise EarsideError(
            f"{len(found.faults)} of the history's entries or visits do not hold",
            remedy="Stop here, copy the data folder, and compare it with a backup.",
        )
    if not known:
        raise EarsideError(
            f"entries at its end are missing: it holds up to entry {found.entries}, but {head} is not in it",
            remedy="Was earside.db copied back without the earside.db-wal beside it, or an older one? Put both back.",
        )
    for line in (*found.tombstones, *found.notes):
        click.echo(clean(line))
    click.echo(f"All {found.entries} entries hold. The last hash is {found.head}")


def learn(number: int | None, *, data: Path | None) -> None:
    """List what could be learned with what it would have changed, or learn one of them."""
    from desk import learning  # noqa: PLC0415
    from desk.rereading import Rereader  # noqa: PLC0415
    from extract.reader import Reader  # noqa: PLC0415

    with Store(data or data_folder()) as store:
        found = learning.suggestions(store)
        if number is not None and not 1 <= number <= len(found):
            raise BadInput(f"there is no number {number}", where="NUMBER", remedy="See: earside learn")
        if number is not None:
            file = learning.learn(store, found[number - 1])
            say(f"Added to {file}. What is read from now on is read with it.")
            return
        if not found:
            say("Nothing was put right the same way twice.")
            return
        before = Rereader(Reader(own_words.vocabulary(None, data=data)))
        for n, suggestion in enumerate(found, 1):
            meaning = wording.VALUES.get(suggestion.value, suggestion.value.replace("_", " "))
            click.echo(
                f"{n}. “{suggestion.phrase}” as {suggestion.kind.replace('_', ' ')}: {meaning} "
                f"(put right in {suggestion.times} visits)"
            )
            after = Rereader(Reader(learning.with_phrase(store, suggestion)))
            effects = list(learning.preview(store, suggestion, before, after))
            for effect in effects:
                changes = [f"+ {c}" for c in effect.more] + [f"- {c}" for c in effect.fewer]
                click.echo(f"   visit {effect.visit}, {effect.status}: {'; '.join(map(clean, changes))}")
            if not effects:
                click.echo("   would have changed nothing in past visits")
    say("Past visits stay as they are. To add one: earside learn NUMBER")
