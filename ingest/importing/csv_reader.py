"""Rows of a CSV file, read by DuckDB, and the line that each row stands on.

What was read is counted against the lines of the file: a row can be rejected, never lost.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import duckdb
import numpy as np
import numpy.typing as npt

from ingest.errors import FileError
from ingest.importing.csv_file import LONGEST_LINE_BYTES, CsvFile, any_field_size
from ingest.sql import Connection, quoted
from ingest.values.csv_injection import restored_sql


@dataclass(frozen=True, slots=True)
class LineFault:
    """A line that is no row.

    Attributes
    ----------
    line : its number in the file.
    code, details : of the fault, see `ingest.faults`.
    text : empty where it is too long to keep.
    cells : as far as they can be told.
    """

    line: int
    code: str
    details: Mapping[str, object]
    text: str
    cells: tuple[str, ...] = ()


def forget_rows(con: Connection) -> None:
    """Drop the rows that were read last in this connection."""
    con.execute("DROP VIEW IF EXISTS cells; DROP VIEW IF EXISTS raw; DROP TABLE IF EXISTS raw_rows")
    con.execute("DROP TABLE IF EXISTS reject_errors; DROP TABLE IF EXISTS reject_scans")


def read_raw(
    con: Connection, file: CsvFile, at_once: Mapping[str, str]
) -> tuple[npt.NDArray[np.int64], list[LineFault]]:
    """Read all rows as text into the temporary views `raw`, as they are written (`row` from 0, `c0` … in file
    order), and `cells`, as they are meant: of each cell what it stands for (`ingest.values.csv_injection`),
    and `emptied`, the columns that say that there is nothing.

    Parameters
    ----------
    at_once : further columns of both, by name: SQL over `c0` …, reckoned while the file is read.

    Returns
    -------
    The line in the file, header included, on which each row begins; and the lines that are no rows.
    """
    names = {f"c{number}": "VARCHAR" for number in range(len(file.header))}
    forget_rows(con)
    try:
        _read_rows(con, file, names, at_once)
    except duckdb.Error as error:
        raise FileError(
            f"{file.path.name} cannot be read as CSV ({str(error).splitlines()[0]})",
            "Save it again as CSV in UTF-8.",
        ) from error
    rows = _create_views(con, file, names)
    rejects = con.execute(
        """SELECT line, any_value(error_type), any_value(csv_line), any_value(error_message)
        FROM reject_errors
        GROUP BY line ORDER BY line"""
    ).fetchall()
    rejected = np.array([record for record, *_ in rejects], dtype=np.int64)
    records, starts = _records(file, rows + len(rejected) + 1)
    is_reject = np.isin(records, rejected)
    line_of = dict(zip(records[is_reject].tolist(), starts[is_reject].tolist(), strict=True))
    above = file.blank_lines_above
    faults = []
    for record, kind, line, message in rejects:
        text = str(line or "").lstrip("\r\n")
        with any_field_size():
            cells = tuple(next(csv.reader(io.StringIO(text, newline=""), delimiter=file.separator), []))
        code, details = _fault(str(kind), len(cells), str(message), file)
        faults.append(LineFault(line_of[record] + above, code, details, text=text, cells=cells))
    faults += [
        LineFault(line, "line_too_long", {"length": length, "most": LONGEST_LINE_BYTES}, "")
        for line, length in file.overlong.items()
    ]
    return starts[~is_reject][1:] + above, faults


def _create_views(con: Connection, file: CsvFile, names: Iterable[str]) -> int:
    """Create the views `raw` and `cells` over the rows read, and return their number."""
    # Row ids follow the file; inside a transaction they do not begin at 0.
    looked_for = (
        [f"coalesce(bool_or(starts_with({name}, '''')), false)" for name in names]
        if file.has_apostrophes
        else []
    )
    rows, first, last, *begin_so = con.execute(
        f"""SELECT
            {", ".join(["count(*)", "coalesce(min(rowid), 0)", "coalesce(max(rowid), -1)", *looked_for])}
        FROM raw_rows"""
    ).fetchall()[0]
    if last - first + 1 != rows:
        raise FileError(
            f"{file.path.name} cannot be read in its own order", "Report this, with the version of DuckDB."
        )
    con.execute(f'CREATE TEMP VIEW raw AS SELECT rowid - {first} AS "row", * FROM raw_rows')
    begin_with_apostrophe = [number for number, begins_so in enumerate(begin_so) if begins_so]
    restored = ", ".join(f"{restored_sql(f'c{number}')} AS c{number}" for number in begin_with_apostrophe)
    emptied = ", ".join(
        f"CASE WHEN c{number} = '''' THEN {quoted(file.names[number])} END"
        for number in begin_with_apostrophe
    )
    con.execute(
        f"""CREATE TEMP VIEW cells AS
        SELECT *{f" REPLACE ({restored})" if restored else ""}, [{emptied}]::VARCHAR[] AS emptied
        FROM raw"""
    )
    return int(rows)


def _read_rows(con: Connection, file: CsvFile, names: dict[str, str], at_once: Mapping[str, str]) -> None:
    also = "".join(f", {value} AS {name}" for name, value in at_once.items())
    con.execute(
        f"""CREATE TEMP TABLE raw_rows AS
        SELECT *{also}
        FROM read_csv(
            ?, delim = ?, header = true, quote = '"', escape = '"', auto_detect = false, columns = ?,
            nullstr = '', store_rejects = true, rejects_limit = 0, strict_mode = true, null_padding = false,
            max_line_size = ?
        )""",
        [str(file.clean), file.separator, names, file.longest * 2],
    )


def _records(file: CsvFile, expected: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Number (blank ones counted) and first line of every record that is not blank, the header first.

    Nothing may be lost between the file and the table: `expected` is what DuckDB made of it, and is held
    against the lines of the file or, where quotes or blank lines make these differ, against Python's own
    reading of the records.
    """
    if not file.has_quotes and expected == file.lines:
        lines = np.arange(1, expected + 1, dtype=np.int64)
        return lines, lines
    numbers, starts = [], []
    before, record = 0, 0
    one_column = len(file.header) == 1  # there a blank line is an empty cell
    with file.clean.open(encoding="utf-8", newline="") as lines_in, any_field_size():
        reader = csv.reader(lines_in, delimiter=file.separator)
        for row in reader:
            record += 1
            if row or one_column:
                numbers.append(record)
                starts.append(before + 1)
            before = reader.line_num
    if len(numbers) != expected:
        raise FileError(
            f"{file.path.name} cannot be split into rows for certain ({len(numbers) - 1:,} by one count,"
            f" {expected - 1:,} by another)",
            "Quotes in it do not pair up: save it again as CSV from the spreadsheet.",
        )
    return np.array(numbers, dtype=np.int64), np.array(starts, dtype=np.int64)


def _fault(kind: str, cells: int, message: str, file: CsvFile) -> tuple[str, dict[str, object]]:
    """Code and details of what DuckDB says of a line."""
    expected = len(file.header)
    match kind:
        case "MISSING COLUMNS" | "TOO MANY COLUMNS":
            return (
                "one_cell" if cells == 1 else "too_few_cells" if cells < expected else "too_many_cells"
            ), {"cells": cells, "expected": expected}
        case "UNQUOTED VALUE":
            return "quote_not_closed", {}
        case "LINE SIZE OVER MAXIMUM":
            return "row_too_long", {"most": LONGEST_LINE_BYTES}
    return "unreadable_line", {"message": message}
