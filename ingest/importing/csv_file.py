"""A CSV file on disk: its encoding, separator and header, and a clean copy for DuckDB where one is needed.

DuckDB needs clean UTF-8 with one kind of line end, and loses an overlong line without an error.
"""

from __future__ import annotations

import codecs
import csv
import io
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TextIO

import numpy as np

from ingest.errors import FileError, why
from ingest.schema.csv_columns import EXPORT_FORMS, IN_ORDER, header_name

LONGEST_LINE_BYTES = 1_000_000
_LONGEST_EXPORTED = 64 * LONGEST_LINE_BYTES  # in an export a sheet of many long notes is one cell
MOST_COLUMNS = 300
_CHUNK = LONGEST_LINE_BYTES // 2
_SEPARATORS = (",", ";", "\t")
_BLANK = " \t\r,;"  # characters of a line with nothing in it


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
    """Result of one pass over the bytes."""

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
    """Inspect a file; a clean copy, where one is needed, is written into `folder`."""
    try:
        scan = _scan(path)
    except OSError as error:
        raise FileError(
            f"{path.name} cannot be read ({why(error)})", "See that the file is there and may be read."
        ) from error
    if not scan.size:
        raise FileError(f"{path.name} is empty", "Save it again with a header and at least one row.")
    encoding = _encoding(scan)
    plain = (
        encoding == "utf-8"
        and not scan.long_line
        # a break inside a cell becomes one newline
        and (scan.returns == 0 or (scan.returns == scan.pairs == scan.newlines and not scan.quotes))
        and scan.head.split(b"\n", 1)[0].strip(_BLANK.encode()) != b""
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
            longest = _LONGEST_EXPORTED
        lines, above = _copy_clean(path, encoding, clean, overlong, longest)
    header, separator = _header(clean, path.name)
    return CsvFile(
        path=path,
        clean=clean,
        encoding=encoding,
        separator=separator,
        header=header,
        names=distinct_names(header),
        lines=lines,
        has_quotes=scan.quotes,
        has_nul=scan.nul,
        has_apostrophes=scan.apostrophes,
        longest=longest,
        overlong=overlong,
        blank_lines_above=above,
    )


def encoding_of(path: Path) -> str:
    """The Python codec by which the text of a file is read."""
    return _encoding(_scan(path))


def _scan(path: Path) -> _Scan:
    scan = _Scan()
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            scan.head = scan.head or chunk[:4096]
            # five times as fast as to count bytes in Python
            newlines = int(np.count_nonzero(np.frombuffer(chunk, dtype=np.uint8) == 10))
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
        if (
            len(head) >= 4
            and column.count(0) > 0.8 * len(column)
            and head[1 - offset :: 2].count(0) < 0.1 * len(column) + 1
        ):
            return name
    return "utf-8" if scan.utf8 else "cp1252"


def _was_exported(head: bytes, encoding: str) -> bool:
    """The first row is that of a file which only an export writes."""
    first = head.decode(encoding, errors="replace").splitlines()[0]
    names = {header_name(name) for name in first.split(",")}
    return any(names.issuperset(form.stars) for form in EXPORT_FORMS)


def _copy_clean(
    path: Path, encoding: str, clean: Path, overlong: dict[int, int], longest: int
) -> tuple[int, int]:
    """Write the file as UTF-8 with plain line ends and nothing above the header; overlong lines become empty.

    Returns the number of lines written and of blank lines left out at the top.
    """
    number, above = 1, 0
    length = 0
    pieces: list[str] = []

    def finish(out: TextIO, end: str) -> None:
        nonlocal number, above, length, pieces
        if length > longest:
            overlong[number] = length
            pieces = []
        text = "".join(pieces)
        if number == above + 1 and not text.strip(_BLANK) and number not in overlong:
            above += 1
        else:
            out.write(text + end)
        pieces, length, number = [], 0, number + 1

    with clean.open("w", encoding="utf-8", newline="") as out:
        try:
            for chunk in _text_chunks(path, encoding):
                *finished, rest = chunk.split("\n")
                for piece in finished:
                    pieces.append(piece)
                    length += len(piece)
                    finish(out, "\n")
                length += len(rest)
                if length <= longest:
                    pieces.append(rest)
                else:
                    pieces.clear()
            if length:
                finish(out, "")
        except UnicodeDecodeError as error:
            raise FileError(
                f"{path.name} is neither UTF-8, UTF-16 nor cp1252 (near line {number}: {error.reason})",
                "Save it again as UTF-8.",
            ) from error
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
    column_names = {column for form in IN_ORDER for column in form.names}
    with clean.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        head = file.read(LONGEST_LINE_BYTES)
    if "\0" in head.split("\n", 1)[0]:
        raise FileError(
            f"{name} has NUL bytes in its first row",
            "It is not a CSV file, or it is damaged: save it again as CSV.",
        )
    best: list[str] = []
    best_score = (-1, -1)
    separator = ","
    for candidate in _SEPARATORS:
        with any_field_size():
            rows = csv.reader(io.StringIO(head, newline=""), delimiter=candidate)
            row = next((row for row in rows if any(cell.strip() for cell in row)), [])
        score = (len(column_names.intersection(map(header_name, row))), len(row))
        if score > best_score:
            best, best_score, separator = row, score, candidate
    if not best:
        raise FileError(f"{name} has no header", "The first row must name the columns.")
    if len(best) > MOST_COLUMNS:
        raise FileError(
            f"{name} has {len(best):,} columns",
            "It is not one of the known forms; the columns of each are in the Guide, under CSV files.",
        )
    return best, separator


class any_field_size:
    """Lift the csv module's limit on cell length, which is global to the process, for a while."""

    def __enter__(self) -> None:
        self.before = csv.field_size_limit(sys.maxsize)

    def __exit__(self, *_: object) -> None:
        csv.field_size_limit(self.before)


def distinct_names(header: Sequence[str]) -> list[str]:
    """Heads as they are compared, made different where they repeat or are empty."""
    names: list[str] = []
    for number, text in enumerate(header, start=1):
        name = header_name(text) or f"column_{number}"
        names.append(name if name not in names else f"{name}_{number}")
    return names
