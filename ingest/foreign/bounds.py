"""How large a table may be that is looked at, and why one is not read."""

from __future__ import annotations

MOST_ROWS = 200_000
MOST_COLUMNS = 1_000
MOST_CELLS = 3_000_000
LARGEST_FILE_BYTES = 100_000_000
LARGEST_UNPACKED_BYTES = 250_000_000
MOST_PACKED_FILES = 5_000
MOST_OCCURRENCES = 20_000  # of one event that repeats
LARGEST_CELL_BYTES = 100_000
MEMORY_BYTES = 500_000_000  # of the process that reads a file
SECONDS = 8.0


class Refused(Exception):
    """A file that is not read; `code` is a key of `REFUSALS`."""

    def __init__(self, code: str) -> None:
        self.code = code
        super().__init__(code)


_SMALLER = (
    f"Save the one sheet with the hours as CSV or as a workbook of its own: at most {MOST_ROWS:,} rows,"
    f" {MOST_COLUMNS:,} columns and {MOST_CELLS:,} cells are read."
)

REFUSALS = {
    "too_large": ("would take more room than a table of hours needs", _SMALLER),
    "too_long": ("took too long to read", _SMALLER),
    "too_many_cells": ("has more cells than a table of hours needs", _SMALLER),
    "locked": ("is locked with a password", "Save it without one."),
    "not_a_workbook": (
        "cannot be read as a workbook",
        "Open it in the program that wrote it and save it again, as XLSX, ODS or CSV.",
    ),
    "not_a_calendar": (
        "cannot be read as a calendar",
        "Export it again from the calendar, as an iCalendar file.",
    ),
    "endless": (
        f"has an event that repeats more than {MOST_OCCURRENCES:,} times",
        "Give that event an end in the calendar, or leave it out, and export again.",
    ),
    "changed_from_then_on": (
        "has a repeated event that is changed from one day on",
        "End that event in the calendar and begin it anew from that day, then export again.",
    ),
    "not_a_table": (
        "is no table",
        "Save it as CSV, XLSX, XLS or ODS, or export a calendar as an iCalendar file.",
    ),
    "empty": ("is empty", "Save it again with a row of heads and at least one row below."),
}
"""By code: what is wrong with a file, and what to do."""
