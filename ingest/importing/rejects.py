"""Rejected rows, written to a file in the input's own form."""

from __future__ import annotations

import csv
import io
import itertools
import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ingest.errors import FileError
from ingest.faults import sentence, worded
from ingest.importing.rows import Rows
from ingest.schema.csv_columns import REJECT_COLUMNS
from ingest.sql import Connection
from ingest.values.csv_injection import defused, defused_again, defused_line


@dataclass(frozen=True, slots=True, kw_only=True)
class RejectedRow:
    """A row that did not come in.

    Attributes
    ----------
    line : on which it stood in its file.
    column, reason, mend : as remarks have them; of several faults, with ` / ` between.
    cells : as written, without what an earlier rejects file put before them.
    is_row : false for a line whose cells do not fit the header.
    text : such a line as it lies; empty where it is too long to keep.
    origin : of a row of a table in other words than ours, as of `ingest.importing.rows.Rows`; else empty.
    """

    line: int
    column: str
    reason: str
    mend: str
    cells: list[str]
    is_row: bool = True
    text: str = ""
    origin: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejects:
    """The rejected rows of one file, in the order of their lines, with what is needed to write them as it was
    written.
    """

    file: str
    header: list[str]
    separator: str
    encoding: str
    rows: list[RejectedRow]

    @property
    def name(self) -> str:
        """File name for these rows."""
        return f"{stem(self.file)}.rejects.csv"

    def as_text(self) -> str:
        """The rows as CSV, each with its line and what to mend in front."""
        lines = [csv_line([*REJECT_COLUMNS, *self.header], self.separator)]
        for row in self.rows:
            front = [row.line, row.column, defused(row.reason), defused(row.mend)]
            lines.append(
                csv_line([*front, *map(defused_again, row.cells)], self.separator)
                if row.is_row
                else self.separator.join(
                    (csv_line(front, self.separator), defused_line(row.text, self.separator))
                )
            )
        return "\r\n".join(lines) + "\r\n"


def rejects_of(con: Connection, rows: Rows, faults: pd.DataFrame) -> Rejects:
    """The rejected rows of the file that was checked last in this connection, and the lines that are no rows;
    `faults` as `ingest.importing.check.Checked` has them.
    """
    file = rows.file
    assert file is not None
    # a file that came back keeps one set of remarks
    own = [number for number, name in enumerate(file.names) if name not in REJECT_COLUMNS]
    came_back = len(own) < len(file.header)
    cells = ", ".join(f"coalesce(raw.c{number}, '')" for number in own)
    texts = con.execute(
        f"""SELECT "row", l.line, [{cells}] FROM raw JOIN row_lines AS l USING ("row")
        WHERE "row" IN (SELECT "row" FROM faults)"""
    ).fetchall()
    remarks: dict[int, list[tuple[str, str, str]]] = {}
    # by row and not by line: of a table with a column a day several rows stand on one line
    for row, *remark in worded(faults.dropna(subset=["row"]))[["row", "column", "reason", "mend"]].itertuples(
        index=False, name=None
    ):
        remarks.setdefault(row, []).append(tuple(remark))
    rejected = []
    for row, line, text in texts:
        column, reason, mend = map(" / ".join, zip(*remarks[row], strict=True))
        origin = str(rows.origins[row]) if rows.origins is not None else ""
        rejected.append(
            RejectedRow(line=line, column=column, reason=reason, mend=mend, cells=text, origin=origin)
        )
    for fault in rows.faults:
        parts = list(fault.cells[len(REJECT_COLUMNS) :] if came_back else fault.cells)
        text = csv_line(parts, file.separator) if came_back else fault.text
        reason, mend = sentence(fault.code, fault.details)
        rejected.append(
            RejectedRow(
                line=fault.line, column="", reason=reason, mend=mend, cells=parts, is_row=False, text=text
            )
        )
    return Rejects(
        file=file.path.name,
        header=[file.header[number] for number in own],
        separator=file.separator,
        encoding=file.encoding,
        rows=sorted(rejected, key=lambda row: row.line),
    )


def write(rejects: Rejects, beside: Path) -> Path:
    """Write `NAME.rejects.csv` beside a file, or where that may not be, in the working or a temporary folder;
    the place.
    """
    body = rejects.as_text().encode(rejects.encoding, errors="replace")
    for folder in (beside.parent, Path.cwd(), Path(tempfile.gettempdir())):
        try:
            return _write_new(folder, stem(rejects.file), body)
        except OSError:
            continue  # a folder that may not be written: the next one will do
    raise FileError(
        f"the rejects of {rejects.file} can be written nowhere", "Free some disk space, then try again."
    )


def _write_new(folder: Path, stem: str, body: bytes) -> Path:
    """Write under a name of its own: an earlier rejects file may be half mended and is never written over."""
    for number in itertools.count(1):
        place = folder / f"{stem}.rejects{'' if number == 1 else f'-{number}'}.csv"
        try:
            with place.open("xb") as out:
                out.write(body)
            return place
        except FileExistsError:
            if place.read_bytes() == body:
                return place
    raise AssertionError  # itertools.count has no end


def stem(file: str) -> str:
    """The name of a file without its ending; a file of rejects has that of the file from which they came."""
    return re.sub(r"\.rejects(-\d+)?$", "", Path(file).stem)


def csv_line(cells: Sequence[object], separator: str) -> str:
    """Cells as a line of a CSV file, without its end."""
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator="").writerow(cells)
    return out.getvalue()
