"""Where visits are worked on: the reading kept ready, one change at a time."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from desk import own_words
from shared.errors import EarsideError
from shared.store import Store
from shared.vocabulary import Vocabulary

if TYPE_CHECKING:
    from desk.checkbook import Checkbook
    from desk.rereading import Rereader


class Bench:
    """The reading with the clinic's own words, loaded once, for the store in `folder`."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._rereader: Rereader | None = None
        self._lock = threading.RLock()

    def warm(self) -> None:
        """Load the reading in the background, so that the first change does not wait for it."""
        threading.Thread(target=self._load, daemon=True).start()

    def renew(self) -> None:
        """Load the reading again when it is next used, as the vocabulary has changed."""
        with self._lock:
            self._rereader = None

    @contextmanager
    def checkbook(self, store: Store) -> Iterator[Checkbook]:
        """Everything that can be done to the visits of a store; whoever comes meanwhile waits."""
        from desk.checkbook import Checkbook  # noqa: PLC0415  (slow to import)

        with self._lock:
            yield Checkbook(store, self.rereader())

    def rereader(self) -> Rereader:
        """The reading, ready for use. Raises BadVocabulary."""
        from desk.rereading import Rereader  # noqa: PLC0415
        from extract.reader import Reader  # noqa: PLC0415

        with self._lock:
            if self._rereader is None:
                self._rereader = Rereader(Reader(own_words.vocabulary(None, data=self._folder)))
            return self._rereader

    def with_words(self, vocabulary: Vocabulary) -> Rereader:
        """The reading as it would be with another vocabulary."""
        from desk.rereading import Rereader  # noqa: PLC0415
        from extract.reader import Reader  # noqa: PLC0415

        return Rereader(Reader(vocabulary))

    def _load(self) -> None:
        with contextlib.suppress(EarsideError):  # whoever needs it is told
            self.rereader()
