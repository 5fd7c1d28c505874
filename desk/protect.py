"""`earside protect`: a passphrase for everything that is kept, and what can be done with it later."""

from __future__ import annotations

import os
from pathlib import Path

import click

from desk.progress import bar
from desk.shell import say
from dictate import journals
from shared.errors import BadInput
from shared.protecting import key_file, staging, unlocking
from shared.protecting.vault import Vault
from shared.store import Store, protecting

LISTENING = "listening"
_KEEP_IT = """
The recovery key, shown this once. Whoever has lost the passphrase opens the store with it:

    {key}

Write it down and keep it locked away from this computer. Without passphrase and recovery key nobody, nor we,
can read what is kept here."""
_DONE = """
Protected: the database, the recordings, and all that a dictation or an import leaves on the disk. Every command
asks for the passphrase once; the desk when it starts. Known limits:

- Deleted files were overwritten once, but on an SSD, a journalling or copying file system, a snapshot or a backup,
  old blocks may stay readable. Full-disk encryption guards against that, and against what the system itself writes
  (swap, hibernation): use both.
- What you saved elsewhere (letters, exports, older backups, the recordings you imported) is as it was.
- While a command or the desk runs, whoever controls this computer can read what it shows."""


def protect(folder: Path, *, passphrase_file: Path | None) -> None:
    """Protect a data folder. Raises BadInput, StoreError; then nothing has changed."""
    if key_file.is_there(folder):
        _again(folder)
        return
    _refuse_while_listening(folder)
    Store(folder).close()  # made or upgraded, and what a crash left is cleared up
    passphrase = _new(passphrase_file)
    total = sum(path.stat().st_size for path, _ in staging.plain(folder))
    done = 0
    with bar("Sealing") as step:

        def progress(size: int) -> None:
            nonlocal done
            done += size
            if step:
                step(done, total)

        def show(recovery: str) -> None:
            _refuse_while_listening(folder)  # one may have begun meanwhile, unsealed
            _show(recovery)

        left = protecting.protect(folder, passphrase, show=show, progress=progress)
    say(_DONE)
    _tell_left(left)
    _tell_others(folder)


def change(folder: Path, *, passphrase_file: Path | None) -> None:
    """Another passphrase; the recovery key stays."""
    text, vault = _opened(folder)
    _save(folder, key_file.with_passphrase(text, vault, _new(passphrase_file)))
    say("The passphrase is changed; the recovery key is the same. A copy of the old key file, as backups hold "
        "it, still opens with the old passphrase.")  # fmt: skip


def recover(folder: Path, *, passphrase_file: Path | None) -> None:
    """Another passphrase, by the recovery key, which then gives way to a new one."""
    _protected(folder)
    text, where = unlocking.read_key_file(folder), folder / key_file.NAME
    given = click.prompt("Recovery key", err=True)
    vault = key_file.open_with_recovery(text, given, where)
    text = key_file.with_passphrase(text, vault, _new(passphrase_file))
    _renewed(folder, text, vault)
    say("The passphrase is changed, and the recovery key with it.")


def new_recovery_key(folder: Path) -> None:
    """Another recovery key; the passphrase stays."""
    text, vault = _opened(folder)
    _renewed(folder, text, vault)
    say("The old recovery key opens nothing any more but older copies of the key file.")


def keyring(folder: Path) -> None:
    """Keep the passphrase in the system's keyring."""
    _protected(folder)
    given = click.prompt("Passphrase", hide_input=True, err=True)
    key_file.open_with_passphrase(unlocking.read_key_file(folder), given, folder / key_file.NAME)
    unlocking.put_in_keyring(folder, given)
    say("Kept. Whoever is logged in as you on this computer can now open the store.")


def _refuse_while_listening(folder: Path) -> None:
    if journals.being_written(folder / LISTENING):
        raise BadInput("is listening at present", where=str(folder), remedy="End the dictation first.")


def _new(file: Path | None) -> str:
    if file:
        if os.name == "posix" and file.exists() and file.stat().st_mode & 0o077:
            say(
                f"Caution: {file} can be read by others on this computer. Let only yourself read it (chmod 600)."
            )
        passphrase = unlocking.passphrase_in(file)
    else:
        say(f"A passphrase has at least {key_file.SHORTEST} characters. Four or five words that have nothing to "
            "do with each other make a good one.")  # fmt: skip
        passphrase = click.prompt("New passphrase", hide_input=True, confirmation_prompt=True, err=True)
    key_file.check_passphrase(passphrase)
    return passphrase


def _protected(folder: Path) -> None:
    if not key_file.is_there(folder):
        raise BadInput("is not protected", where=str(folder), remedy="To protect it: earside protect")


def _opened(folder: Path) -> tuple[bytes, Vault]:
    _protected(folder)
    vault = unlocking.vault(folder)
    assert vault
    return unlocking.read_key_file(folder), vault


def _renewed(folder: Path, text: bytes, vault: Vault) -> None:
    text, recovery = key_file.with_new_recovery(text, vault)
    _show(recovery)
    _save(folder, text)


def _save(folder: Path, text: bytes) -> None:
    with protecting.alone(folder):
        protecting.put_key_file(folder, text)


def _show(recovery: str) -> None:
    click.echo(_KEEP_IT.format(key=recovery))


def _again(folder: Path) -> None:
    with Store(folder):  # asks, and clears up what an interrupted protecting left
        left = [path for path, lined in staging.plain(folder) if not lined]
    say(f"{folder} is protected already. To change the passphrase: earside protect --change")
    _tell_left(left)


def _tell_left(left: list[Path]) -> None:
    for path in left:
        say(f"{path}: still lies there unprotected. Close what uses it, then run this again, or remove it.")


def _tell_others(folder: Path) -> None:
    ours = {
        key_file.NAME,
        protecting.LOCK,
        "recordings",
        LISTENING,
        "importing",
        "vocabulary.yaml",
        "desk.secret",
    }
    others = sorted(p.name for p in folder.iterdir() if p.name not in ours and "-protected." not in p.name)
    if others:
        say(f"Left as they are, in {folder}: {', '.join(others)}")
