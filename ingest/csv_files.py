"""Reading a CSV file as it lies: its encoding, separator, header, rows, and the line each row stands on.

DuckDB reads the rows. It needs clean UTF-8 with one kind of line end and loses an overlong line without a
word, so a file that is not so is first copied clean. What was read is counted against the lines of
the file: a row can be rejected, never lost.
"""

from __future__ import annotations

import codecs
import csv
import io
import sys
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TextIO

import duckdb
import numpy as np
import numpy.typing as npt

from ingest.errors import FileError, why
from ingest.formulas import restored_sql
from ingest.records import IN_ORDER, KEPT_FORMS, header_name
from ingest.sql import quoted

LONGEST_LINE_BYTES = 1_000_000
_LONGEST_KEPT = 64 * LONGEST_LINE_BYTES  # what an export wrote: a sheet of many long notes is one cell there
MOST_COLUMNS = 300
_CHUNK = LONGEST_LINE_BYTES // 2
_SEPARATORS = (",", ";", "\t")
_NOTHING = " \t\r,;"  # what a line with nothing in it may have


@dataclass(slots=True)
class CsvFile:
    """A file ready to be read.

    Attributes
    ----------
    path : the file as named; `clean` is what DuckDB reads (the same, or a clean copy).
    encoding : Python codec of the file as it lies, for writing rejects in its own form.
    header : column names as written; `names` as compared, made different where they repeat.
    lines : lines of `clean`, the header among them.
    overlong : line number to length, of lines no row can have; they are empty in `clean`.
    longest : no line of `clean` has more characters.
    blank_lines_above : empty lines before the header, left out of `clean`.
    """

    path: Path
    clean: Path
    encoding: str
    separator: str
    header: list[str]
    names: list[str]
    lines: int
    has_quotes: bool
    has_nul: bool
    has_apostrophes: bool
    longest: int
    overlong: dict[int, int] = field(default_factory=dict)
    blank_lines_above: int = 0


@dataclass(slots=True)
class _Scan:
    """What one pass over the bytes tells."""

    size: int = 0
    ascii: bool = True
    utf8: bool = True
    returns: int = 0
    newlines: int = 0
    pairs: int = 0
    quotes: bool = False
    apostrophes: bool = False
    nul: bool = False
    long_line: bool = False
    last: int = 10
    head: bytes = b""


def open_csv(path: Path, folder: Path) -> CsvFile:
    """Look a file over; a clean copy, where one is needed, is written into `folder`."""
    try:
        scan = _scan(path)
    except OSError as error:
        raise FileError(f"{path.name} cannot be read ({why(error)})", "See that the file is there and may be read.") from error
    if not scan.size:
        raise FileError(f"{path.name} is empty", "Save it again with a header and at least one row.")
    encoding = _encoding(scan)
    plain = (
        encoding == "utf-8"
        and not scan.long_line
        and (scan.returns == 0 or (scan.returns == scan.pairs == scan.newlines and not scan.quotes))  # a break inside a cell becomes one newline
        and scan.head.split(b"\n", 1)[0].strip(_NOTHING.encode()) != b""
        and not set(str(path)) & set("*?[")  # DuckDB would take the name for a pattern
    )
    overlong: dict[int, int] = {}
    above, longest = 0, LONGEST_LINE_BYTES
    if plain:
        clean, lines = path, scan.newlines + (scan.last != 10)
    else:
        with tempfile.NamedTemporaryFile(dir=folder, suffix=".csv", delete=False) as copy:
            clean = Path(copy.name)
        if scan.long_line and _was_exported(scan.head, encoding):
            longest = _LONGEST_KEPT
        lines, above = _copy_clean(path, encoding, clean, overlong, longest)
    header, separator = _header(clean, path.name)
    return CsvFile(
        path=path, clean=clean, encoding=encoding, separator=separator, header=header, names=_different(header), lines=lines,
        has_quotes=scan.quotes, has_nul=scan.nul, has_apostrophes=scan.apostrophes, longest=longest, overlong=overlong, blank_lines_above=above,
    )  # fmt: skip


def _scan(path: Path) -> _Scan:
    scan = _Scan()
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            scan.head = scan.head or chunk[:4096]
            newlines = int(np.count_nonzero(np.frombuffer(chunk, dtype=np.uint8) == 10))  # five times as fast as to count bytes in Python
            scan.long_line |= len(chunk) == _CHUNK and not newlines
            scan.newlines += newlines
            if b"\r" in chunk or scan.last == 13:
                scan.returns += chunk.count(b"\r")
                scan.pairs += chunk.count(b"\r\n") + (scan.last == 13 and chunk[:1] == b"\n")
            scan.quotes |= b'"' in chunk
            scan.apostrophes |= b"'" in chunk
            scan.nul |= b"\0" in chunk
            if scan.utf8 and not (scan.ascii and chunk.isascii()):
                scan.ascii = False
                try:
                    decoder.decode(chunk)
                except UnicodeDecodeError:
                    scan.utf8 = False
            scan.size += len(chunk)
            scan.last = chunk[-1]
    if scan.utf8 and not scan.ascii:
        try:
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            scan.utf8 = False
    return scan


def _encoding(scan: _Scan) -> str:
    head = scan.head
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if head.startswith(codecs.BOM_UTF8) and scan.utf8:
        return "utf-8-sig"
    # Without a mark, text in UTF-16 shows a NUL at every other byte.
    for offset, name in ((1, "utf-16-le"), (0, "utf-16-be")):
        column = head[offset::2]
        if len(head) >= 4 and column.count(0) > 0.8 * len(column) and head[1 - offset :: 2].count(0) < 0.1 * len(column) + 1:
            return name
    return "utf-8" if scan.utf8 else "cp1252"


def _was_exported(head: bytes, encoding: str) -> bool:
    """The first row is that of a file which only an export writes."""
    first = head.decode(encoding, errors="replace").splitlines()[0]
    names = {header_name(name) for name in first.split(",")}
    return any(names.issuperset(form.stars) for form in KEPT_FORMS)


def _copy_clean(path: Path, encoding: str, clean: Path, overlong: dict[int, int], longest: int) -> tuple[int, int]:
    """Write the file as UTF-8 with plain line ends and nothing above the header; overlong lines become empty.

    Returns the number of lines written and of blank lines left out at the top.
    """
    number, above = 1, 0
    held = 0
    pieces: list[str] = []

    def finish(out: TextIO, end: str) -> None:
        nonlocal number, above, held, pieces
        if held > longest:
            overlong[number] = held
            pieces = []
        text = "".join(pieces)
        if number == above + 1 and not text.strip(_NOTHING) and number not in overlong:
            above += 1
        else:
            out.write(text + end)
        pieces, held, number = [], 0, number + 1

    with clean.open("w", encoding="utf-8", newline="") as out:
        try:
            for chunk in _text_chunks(path, encoding):
                *finished, rest = chunk.split("\n")
                for piece in finished:
                    pieces.append(piece)
                    held += len(piece)
                    finish(out, "\n")
                held += len(rest)
                if held <= longest:
                    pieces.append(rest)
                else:
                    pieces.clear()
            if held:
                finish(out, "")
        except UnicodeDecodeError as error:
            raise FileError(f"{path.name} is neither UTF-8, UTF-16 nor cp1252 (near line {number}: {error.reason})", "Save it again as UTF-8.") from error
    return number - 1 - above, above


def _text_chunks(path: Path, encoding: str) -> Iterator[str]:
    newlines = io.IncrementalNewlineDecoder(codecs.getincrementaldecoder(encoding)(), translate=True)
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            if text := newlines.decode(chunk):
                yield text
    if text := newlines.decode(b"", final=True):
        yield text


def _header(clean: Path, name: str) -> tuple[list[str], str]:
    """The first row with anything in it, split at the separator that shows the most known column names."""
    known = {column for form in IN_ORDER for column in form.names}
    with clean.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        head = file.read(LONGEST_LINE_BYTES)
    if "\0" in head.split("\n", 1)[0]:
        raise FileError(f"{name} has NUL bytes in its first row", "It is not a CSV file, or it is damaged: save it again as CSV.")
    best: list[str] = []
    best_score = (-1, -1)
    separator = ","
    for candidate in _SEPARATORS:
        with _any_field_size():
            rows = csv.reader(io.StringIO(head, newline=""), delimiter=candidate)
            row = next((row for row in rows if any(cell.strip() for cell in row)), [])
        score = (len(known.intersection(map(header_name, row))), len(row))
        if score > best_score:
            best, best_score, separator = row, score, candidate
    if not best:
        raise FileError(f"{name} has no header", "The first row must name the columns.")
    if len(best) > MOST_COLUMNS:
        raise FileError(f"{name} has {len(best):,} columns", "It is not one of the known forms; the columns of each are in the README.")
    return best, separator


class _any_field_size:
    """Let the csv module take long cells for a while: its limit is one of the whole process."""

    def __enter__(self) -> None:
        self.before = csv.field_size_limit(sys.maxsize)

    def __exit__(self, *_: object) -> None:
        csv.field_size_limit(self.before)


def _different(header: list[str]) -> list[str]:
    names: list[str] = []
    for number, text in enumerate(header, start=1):
        name = header_name(text) or f"column_{number}"
        names.append(name if name not in names else f"{name}_{number}")
    return names


@dataclass(frozen=True, slots=True)
class LineFault:
    """A line that is no row: where it stands, why (a code of `ingest.faults` and its details), its text (empty where it is too long to keep) and what cells it has."""

    line: int
    code: str
    details: Mapping[str, object]
    text: str
    cells: tuple[str, ...] = ()


def forget_rows(con: duckdb.DuckDBPyConnection) -> None:
    """Let go of the rows that were read last in this connection."""
    con.execute(
        "DROP VIEW IF EXISTS cells; DROP VIEW IF EXISTS raw; DROP TABLE IF EXISTS raw_rows; DROP TABLE IF EXISTS reject_errors; DROP TABLE IF EXISTS reject_scans"
    )


def read_raw(con: duckdb.DuckDBPyConnection, file: CsvFile, at_once: Mapping[str, str]) -> tuple[npt.NDArray[np.int64], list[LineFault]]:
    """Read all rows as text into the temporary views `raw`, as they are written (`row` from 0, `c0` … in file order), and `cells`, as they are meant: of each cell
    what it stands for (`ingest.formulas`), and `emptied`, the columns that say that there is nothing.

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
        raise FileError(f"{file.path.name} cannot be read as CSV ({str(error).splitlines()[0]})", "Save it again as CSV in UTF-8.") from error
    # Row ids follow the file; inside a transaction they do not begin at 0.
    looked_for = [f"coalesce(bool_or(starts_with({name}, '''')), false)" for name in names] if file.has_apostrophes else []
    rows, first, last, *begin_so = con.execute(
        f"SELECT {', '.join(['count(*)', 'coalesce(min(rowid), 0)', 'coalesce(max(rowid), -1)', *looked_for])} FROM raw_rows"
    ).fetchall()[0]
    if last - first + 1 != rows:
        raise FileError(f"{file.path.name} cannot be read in its own order", "Report this, with the version of DuckDB.")
    con.execute(f'CREATE TEMP VIEW raw AS SELECT rowid - {first} AS "row", * FROM raw_rows')
    begin_with_apostrophe = [number for number, begins_so in enumerate(begin_so) if begins_so]
    restored = ", ".join(f"{restored_sql(f'c{number}')} AS c{number}" for number in begin_with_apostrophe)
    emptied = ", ".join(f"CASE WHEN c{number} = '''' THEN {quoted(file.names[number])} END" for number in begin_with_apostrophe)
    con.execute(f"CREATE TEMP VIEW cells AS SELECT *{f' REPLACE ({restored})' if restored else ''}, [{emptied}]::VARCHAR[] AS emptied FROM raw")
    found = con.execute(
        "SELECT line, any_value(error_type), any_value(csv_line), any_value(error_message) FROM reject_errors GROUP BY line ORDER BY line"
    ).fetchall()
    rejected = np.array([record for record, *_ in found], dtype=np.int64)
    records, starts = _records(file, rows + len(rejected) + 1)
    row_lines = starts[~np.isin(records, rejected)][1:]
    line_of = dict(zip(records[np.isin(records, rejected)].tolist(), starts[np.isin(records, rejected)].tolist(), strict=True))
    above = file.blank_lines_above
    faults = []
    for record, kind, said, message in found:
        text = str(said or "").lstrip("\r\n")
        with _any_field_size():
            cells = tuple(next(csv.reader(io.StringIO(text, newline=""), delimiter=file.separator), []))
        faults.append(LineFault(line_of[record] + above, *_fault(str(kind), len(cells), str(message), file), text=text, cells=cells))
    faults += [LineFault(line, "line_too_long", {"length": length, "most": LONGEST_LINE_BYTES}, "") for line, length in file.overlong.items()]
    return row_lines + above, faults


def _read_rows(con: duckdb.DuckDBPyConnection, file: CsvFile, names: dict[str, str], at_once: Mapping[str, str]) -> None:
    also = "".join(f", {value} AS {name}" for name, value in at_once.items())
    con.execute(
        f"""CREATE TEMP TABLE raw_rows AS SELECT *{also} FROM read_csv(?, delim = ?, header = true, quote = '"', escape = '"', auto_detect = false,
        columns = ?, nullstr = '', store_rejects = true, rejects_limit = 0, strict_mode = true, null_padding = false, max_line_size = ?)""",
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
    with file.clean.open(encoding="utf-8", newline="") as lines_in, _any_field_size():
        reader = csv.reader(lines_in, delimiter=file.separator)
        for row in reader:
            record += 1
            if row or one_column:
                numbers.append(record)
                starts.append(before + 1)
            before = reader.line_num
    if len(numbers) != expected:
        raise FileError(
            f"{file.path.name} cannot be split into rows for certain ({len(numbers) - 1:,} by one count, {expected - 1:,} by another)",
            "Quotes in it do not pair up: save it again as CSV from the spreadsheet.",
        )
    return np.array(numbers, dtype=np.int64), np.array(starts, dtype=np.int64)


def _fault(kind: str, cells: int, message: str, file: CsvFile) -> tuple[str, dict[str, object]]:
    """Code and details of what DuckDB says of a line."""
    expected = len(file.header)
    match kind:
        case "MISSING COLUMNS" | "TOO MANY COLUMNS":
            return ("one_cell" if cells == 1 else "too_few_cells" if cells < expected else "too_many_cells"), {"cells": cells, "expected": expected}
        case "UNQUOTED VALUE":
            return "quote_not_closed", {}
        case "LINE SIZE OVER MAXIMUM":
            return "row_too_long", {"most": LONGEST_LINE_BYTES}
    return "unreadable_line", {"message": message}
