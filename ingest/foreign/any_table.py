"""By what any file is known: our own forms in CSV as ever, and everything else by what was said of it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from ingest.errors import FileError
from ingest.importing.files import Recognizer, RowSource, recognize
from ingest.importing.rows import SaidOtherwiseAs
from ingest.schema.csv_columns import IN_ORDER
from ingest.store import Store
from ingest.tables.audit_log import utc_now

if TYPE_CHECKING:
    from ingest.foreign.memory import Unsaved

ENDINGS = (".csv", ".txt", ".tsv", ".xlsx", ".xls", ".ods", ".ics")
"""Of the names of files that may be tables."""
_PACKED = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_CALENDAR = b"BEGIN:VCALENDAR"


def any_table(
    store: Store,
    now: datetime | None = None,
    said_otherwise_as: SaidOtherwiseAs = "ask",
    unsaved: Unsaved | None = None,
) -> Recognizer:
    """What `ingest.importing.files` knows files by: our forms in CSV; a workbook whose sheets have the heads
    of our forms; any table of which it was said how it is read.

    Raises `FileError` where nothing was said, with the page that asks.

    Parameters
    ----------
    said_otherwise_as : what becomes of rows of tables that are held by other words.
    unsaved : what is said of a table and not kept yet, to see what would become of its rows.
    """

    def recognized(paths: Sequence[Path], folder: Path) -> list[list[RowSource]]:
        together = [
            part
            for path in paths
            for part in _parts(store, path, folder, now or utc_now(), said_otherwise_as, unsaved)
        ]
        order = {form.kind: number for number, form in enumerate(IN_ORDER)}
        return sorted(together, key=lambda part: max(order[item.form.kind] for item in part))

    return recognized


def _parts(
    store: Store,
    path: Path,
    folder: Path,
    now: datetime,
    said_otherwise_as: SaidOtherwiseAs,
    unsaved: Unsaved | None,
) -> list[list[RowSource]]:
    not_ours: FileError | None = None
    if not is_no_csv(path):
        try:
            return [[item] for item in recognize([path], folder)]
        except FileError as error:
            not_ours = error
    from ingest.foreign.bring_in import parts_of  # noqa: PLC0415  files of ours need not wait for it

    return parts_of(store, path, not_ours, now, said_otherwise_as, unsaved)


def is_no_csv(path: Path) -> bool:
    """A workbook or a calendar."""
    try:
        with path.open("rb") as file:
            head = file.read(32)
    except OSError:
        return False
    return head.startswith(_PACKED) or _CALENDAR in head.upper()
