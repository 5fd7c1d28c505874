"""The clinic's own store: recordings, transcripts and visit records in one SQLite file.

Everything in it can be read with any SQLite tool; `schema` draws the tables. Nothing leaves the machine.
"""

from shared.store.rows import Hit, Kept, Recording, StoredVisit, VisitRow
from shared.store.store import Store, data_folder

__all__ = ["Hit", "Kept", "Recording", "Store", "StoredVisit", "VisitRow", "data_folder"]
