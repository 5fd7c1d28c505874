"""The command that encrypts what is kept; `desk.protect` does the work."""
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path

import click

from desk import options


@click.command()
@click.option("--change", "task", flag_value="change", help="Change the passphrase.")
@click.option(
    "--recover",
    "task",
    flag_value="recover",
    help="Set a new passphrase with the recovery key, which is renewed.",
)
@click.option("--new-recovery-key", "task", flag_value="renew", help="Make another recovery key.")
@click.option("--keyring", "task", flag_value="keyring", help="Keep the passphrase in the system's keyring.")
@click.option(
    "--passphrase-file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Take the new passphrase from the first line of FILE. Whoever can read FILE can read the store.",
)
@options.data
def protect(*, task: str | None, passphrase_file: Path | None, data: Path | None) -> None:
    """Encrypt what is kept.

    Asks for a passphrase and encrypts the database and the recordings with it, and whatever is kept from then
    on. The plain files are removed. Prints a recovery key, once. Without passphrase and recovery key nobody can
    read the store again. Close the desk first.

    Every command then asks for the passphrase; for scripts, EARSIDE_PASSPHRASE_FILE names a file whose first
    line it is, which is as secret as the store.

    \b
    Example:
      earside protect
      earside protect --change
    """
    from desk import protect as protecting
    from shared.store import data_folder

    folder = data or data_folder()
    if task == "change":
        protecting.change(folder, passphrase_file=passphrase_file)
    elif task == "recover":
        protecting.recover(folder, passphrase_file=passphrase_file)
    elif task == "renew":
        protecting.new_recovery_key(folder)
    elif task == "keyring":
        protecting.keyring(folder)
    else:
        protecting.protect(folder, passphrase_file=passphrase_file)


COMMANDS = (protect,)
