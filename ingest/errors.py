"""Errors that say what is wrong, where, and the mend."""

from __future__ import annotations

from ingest.faults import sentence

_PLAIN = {
    "No space left on device": "the disk is full",
    "Read-only file system": "the disk may only be read",
    "Permission denied": "permission denied",
    "File too large": "the file would be too large for this disk",
    "Could not read enough bytes": "the file is cut short",
    "Disk quota exceeded": "your share of the disk is full",
}


def why(error: Exception) -> str:
    """Short reason of a failure of the system or the database."""
    text = str(error)
    for message, plain in _PLAIN.items():
        if message in text:
            return plain
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return text.splitlines()[0] if text else type(error).__name__


def unwritten(what: str, error: Exception, mend: str = "") -> BenchHoursError:
    """The error of what a full disk, or a folder that may not be written, leaves undone."""
    return BenchHoursError(
        f"{what} ({why(error)})", f"See that the disk has room and the folder may be written{mend}."
    )


class BenchHoursError(Exception):
    """An action that failed, and what to do about it.

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
    """A text that cannot be read as the value it should be.

    Attributes
    ----------
    code, details : the fault, of which `ingest.faults` makes the sentences.
    """

    def __init__(self, code: str, /, **details: object) -> None:
        self.code, self.details = code, details
        super().__init__(*sentence(code, details))


class FileError(BenchHoursError):
    """A file that cannot be read as one of the CSV forms."""


class StoreError(BenchHoursError):
    """A database that cannot be opened or written.

    Attributes
    ----------
    locked : another process has it open.
    other_file : the mend is to name another file.
    """

    def __init__(self, what: str, mend: str = "", *, locked: bool = False, other_file: bool = False) -> None:
        self.locked, self.other_file = locked, other_file
        super().__init__(what, mend)
