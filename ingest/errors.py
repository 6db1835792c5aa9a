"""Errors that say what is wrong, where, and the mend."""

from __future__ import annotations


class BenchHoursError(Exception):
    """What could not be done, and what to do about it.

    Attributes
    ----------
    what : one sentence without a full stop.
    mend : what to do next; may be empty.
    """

    def __init__(self, what: str, mend: str = "") -> None:
        self.what = what
        self.mend = mend
        super().__init__(f"{what}. {mend}" if mend else what)


class NotationError(BenchHoursError):
    """A text that cannot be read as the value it should be."""


class FileError(BenchHoursError):
    """A file that cannot be read as one of the CSV forms."""


class StoreError(BenchHoursError):
    """A database that cannot be opened or written."""
