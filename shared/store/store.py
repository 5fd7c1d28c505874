"""The store as a whole: what is read goes in, people change and sign it, lists find it again."""

from __future__ import annotations

from shared.store.audit import Audit
from shared.store.erasure import Erasure
from shared.store.recalls import Recalls


class Store(Recalls, Audit, Erasure):
    """The database in one data folder. A context manager; one per thread.

    Keeping readings and recordings is in `readings`, people in `people` and `accounts`, the practice's rules in
    `rules`, changes, undo, signing and amending in `changes`, agreement to recording in `agreements`, deleting
    sounds in `retention`, erasing in `erasure`, looking back in `history`, lists in `lists`, recalls in `recalls`,
    counts over many visits in `audit`. All of it raises StoreError if the folder or its database cannot be used.
    """
