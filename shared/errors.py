"""Every failure Earside expects. Each message fits one screen: what, where, what to do.

EarsideError
├── BadInput            what was given cannot be used
│   ├── BadRecording    not sound, empty, cut off, or silent
│   ├── BadText         not text, or too large
│   ├── BadVocabulary   a vocabulary file does not follow its schema
│   └── NotAllowed      this person, or this state of the visit, does not permit it
├── WeightsError        the recogniser's weights are missing, damaged or cannot be prepared
└── StoreError          the data folder or the database cannot be used
    └── Conflict        somebody changed the visit in the meantime; nothing was saved
"""


class EarsideError(Exception):
    """Base of all expected failures.

    what: the fault in a few words. where: the file, row or field it was met in.
    remedy: what the reader can do about it.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what, self.where, self.remedy = what, where, remedy
        super().__init__(self.line)

    @property
    def line(self) -> str:
        """The failure as one line: `where: what. remedy`."""
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head.rstrip('.')}. {self.remedy}" if self.remedy else head


class BadInput(EarsideError):
    """What was given cannot be used."""


class BadRecording(BadInput):
    """A recording that is not sound, is empty, or is cut off."""


class BadText(BadInput):
    """A text that is not text, or is too large to be a dictation."""


class BadVocabulary(BadInput):
    """A vocabulary file that does not follow its schema; names the file and the entry."""


class NotAllowed(BadInput):
    """What this person may not do, or what the state of the visit does not permit."""


class WeightsError(EarsideError):
    """The recogniser's weights are missing, damaged, or cannot be prepared."""


class StoreError(EarsideError):
    """The data folder or its database cannot be used."""


class Conflict(StoreError):
    """Somebody changed the visit since it was opened; nothing was saved."""
