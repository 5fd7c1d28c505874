"""A damaged data folder becomes a new one beside it, with what can be read; the damaged one stays as it is."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from desk import saving
from desk.safekeeping.archive import files_of
from shared.store import mending
from shared.store.faults import faults
from shared.store.mending import Mended


def mend(data: Path, to: Path) -> Mended:
    """Save what can be saved of `data` into the new folder `to`: database, recordings and all that lies with them.

    Raises BadInput if there is something at `to`, StoreError if nothing can be saved or the disk is full.
    """
    to = to.absolute()
    saving.refuse_there(to, "Choose a new folder.")
    with faults(to.parent):
        to.parent.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(dir=to.parent, prefix=".earside-mending-"))
        try:
            done = mending.mend(data, made)
            for place in files_of(data):
                copy = made / place.relative_to(data)
                copy.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
                if not copy.exists():
                    shutil.copy2(place, copy)
            made.rename(to)
        except BaseException:
            shutil.rmtree(made, ignore_errors=True)
            raise
    return done
