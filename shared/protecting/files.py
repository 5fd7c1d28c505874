"""Files inside a data folder, sealed or not: whoever reads one need not know which.

They lie one folder below the data folder, whose key file tells whether they are sealed. A sealed recording has
`.sealed` behind its own ending; files of lines keep their names, and each of their lines is sealed.
"""

from __future__ import annotations

import io
import os
from pathlib import Path

from shared.errors import StoreError
from shared.protecting import sealed, unlocking
from shared.protecting.vault import Vault


def is_sealed(path: str | os.PathLike[str]) -> bool:
    """Whether a file is sealed, by its name."""
    return os.fspath(path).endswith(sealed.SUFFIX)


def sealed_name(path: Path) -> Path:
    """The name of a file when it is sealed."""
    return path.with_name(path.name + sealed.SUFFIX)


def plain_name(path: Path) -> Path:
    """The name of a file when it is not sealed."""
    return path.with_name(path.name.removesuffix(sealed.SUFFIX))


def there(path: Path) -> Path | None:
    """The file as it lies on the disk, sealed or not; None if it is not there."""
    return next((p for p in (sealed_name(path), path) if p.is_file()), None)


def opened(path: str | os.PathLike[str]) -> io.BufferedReader:
    """Any file, open for reading in binary, a sealed one as if it were not.

    Raises OSError, and for a sealed one BadRecording (changed, cut off) and StoreError (no key).
    """
    place = Path(path)
    return sealed.opened(_vault(place), place) if is_sealed(place) else place.open("rb")


def size(path: Path) -> int:
    """The bytes of what is in a file. Raises as `opened`."""
    if not is_sealed(path):
        return path.stat().st_size
    with path.open("rb") as file:
        return sealed.Chunks(_vault(path), file, path).size


class Lines:
    """The lines of a file as they are written and read: sealed, if its data folder is protected."""

    def __init__(self, path: Path) -> None:
        self._vault, self._about = unlocking.vault(path.parent.parent), path.name

    def written(self, line: bytes) -> bytes:
        """A line as it goes into the file."""
        return self._vault.seal_line(line, self._about) if self._vault else line

    def read(self, line: bytes) -> bytes:
        """A line of the file as it was. Raises ValueError if it was cut off, changed, or is of another file."""
        return self._vault.open_line(line.strip(), self._about) if self._vault else line


def _vault(path: Path) -> Vault:
    vault = unlocking.vault(path.parent.parent)
    if vault is None:
        raise StoreError(
            "is sealed, and the key of its store is not here",
            where=str(path),
            remedy="Leave it in the recordings folder of its store.",
        )
    return vault
