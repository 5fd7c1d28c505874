"""What the commands for patients' rights and the practice's rules do."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import cast

import click

from desk import identity
from desk.lines import clean
from desk.shell import say
from shared.errors import BadInput
from shared.store import Store, data_folder
from shared.store.agreements import Answer


def policy(
    *,
    recordings: str | None,
    lock_after: int | None,
    notice: str | None,
    apply: bool,
    by: str,
    data: Path | None,
) -> None:
    """Show or change the practice's rules; carry out what they say of recordings."""
    with Store(data or data_folder()) as store:
        if any(given is not None for given in (recordings, lock_after, notice)):
            who = store.person(identity.proved(store, by))
            if who.role != "clinician":
                raise BadInput(
                    f"{who.name} is here as {who.role}", where="policy", remedy="A clinician changes it."
                )
            if recordings is not None:
                store.set_keep_days(_days(recordings), by=who.name)
            if lock_after is not None:
                store.set_lock_minutes(lock_after, by=who.name)
            if notice is not None:
                store.set_standing_notice(notice, by=who.name)
        if apply:
            say(f"{_count(store.delete_due_sounds(), 'recording')} deleted.")
            return
        for line in told(store):
            click.echo(line)
        if due := store.due_sounds():
            say(f"{_count(len(due), 'recording')} to be deleted, at the desk's next start or now: "
                "earside policy --apply")  # fmt: skip


def told(store: Store) -> list[str]:
    """The practice's rules, one line each."""
    days = store.keep_days()
    kept = (
        "kept after signing"
        if days is None
        else f"deleted {_count(days, 'day')} after signing"
        if days
        else "deleted at signing"
    )
    notice = store.standing_notice()
    return [
        f"Recordings are {kept}; never before every visit in them is signed.",
        f"The desk locks after {_count(store.lock_minutes(), 'minute')} without anybody at it"
        + ("." if store.accounts() else ", once somebody has a password."),
        f"The standing notice on recording is “{clean(notice)}”."
        if notice
        else "There is no standing notice.",
    ]


def agreement(visit: int, answer: str | None, *, by: str, data: Path | None) -> None:
    """Show what stands, or put down what the patient said to being recorded."""
    with Store(data or data_folder()) as store:
        store.visit(visit)
        if answer:
            store.set_agreement(visit, cast(Answer, answer), identity.proved(store, by))
        found = store.agreement(visit)
        said = {
            "agreed": "the patient agreed to being recorded",
            "declined": "the patient does not want to be recorded",
            "notice": f"recorded under the standing notice “{clean(found.notice or '') if found else ''}”",
        }
        line = said.get(found.what if found else "", "not asked whether the patient agrees to being recorded")
        who = f", {clean(found.who)}, {found.at[:10]}" if found and found.what in said else ""
        click.echo(f"Visit {visit}: {line}{who}")


def held(reference: str, *, to: Path, data: Path | None) -> None:
    """Write everything that is held on a patient."""
    from desk import held as everything  # noqa: PLC0415  (slow to import)

    with Store(data or data_folder()) as store:
        count = everything.write(store, reference, to)
    say(f"{to}: {_count(count, 'visit')}. It holds a patient's data unprotected: keep it safe.")


def erase(reference: str, *, everything: bool, reason: str, yes: bool, by: str, data: Path | None) -> None:
    """Erase a patient's recordings, or everything of theirs, once that is confirmed."""
    with Store(data or data_folder()) as store:
        found = store.held(reference)
        what = "everything of" if everything else "the sound of"
        visits = f"{_count(len(found.visits), 'visit')} ({', '.join(map(str, found.visits))})"
        say(f"This erases {what} {visits} for good.")
        if found.others:
            say(
                f"Visit {', '.join(map(str, found.others))}, of others in the same recordings, will lose the sound."
            )
        who = identity.proved(store, by)
        if not yes:
            _confirmed(reference)
        done = (store.erase_patient if everything else store.erase_recordings)(reference, who, reason)
    say(f"Erased: {_count(len(done.visits), 'visit')}, {_count(len(done.recordings), 'recording')}.")
    for line in done.left:
        say(f"Not erased: {clean(line)}")
    say("Backups and papers made before still hold it. Erase those by hand.")


def _confirmed(reference: str) -> None:
    if not sys.stdin.isatty():
        raise BadInput("nobody is here to confirm it", where="erase", remedy="Say it in the call: --yes")
    typed = click.prompt("Type the patient reference again", err=True)
    if typed.split() != reference.split():
        raise BadInput("that is another reference", where="erase", remedy="Nothing was erased.")


def _days(given: str) -> int | None:
    if given == "keep":
        return None
    if given == "at-signing":
        return 0
    if not (given.isascii() and given.isdigit() and 0 < int(given[:9]) <= 36_500):
        raise BadInput(
            f"{given!r} is not understood",
            where="--recordings",
            remedy="It can be: keep, at-signing, or days (30).",
        )
    return int(given)


def _count(number: int, name: str) -> str:
    return f"{number:,} {name}{'' if number == 1 else 's'}"
