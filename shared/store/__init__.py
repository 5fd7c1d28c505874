"""The clinic's own store: recordings, transcripts and visit records in one SQLite file.

Everything in it can be read with any SQLite tool; `checking_tables` draws the tables. Nothing leaves the
machine.
"""

from shared.store.base import data_folder
from shared.store.rows import (
    Change,
    Counts,
    Edit,
    Entry,
    Hit,
    Kept,
    Page,
    Person,
    Recording,
    RecordingRow,
    Signature,
    StoredVisit,
    Verified,
    VisitRow,
)
from shared.store.store import Store

__all__ = [
    "Change",
    "Counts",
    "Edit",
    "Entry",
    "Hit",
    "Kept",
    "Page",
    "Person",
    "Recording",
    "RecordingRow",
    "Signature",
    "Store",
    "StoredVisit",
    "Verified",
    "VisitRow",
    "data_folder",
]
