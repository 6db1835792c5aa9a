"""Rows as text, whatever door they come by: a file, a page, a phone or the sheet of a quote.

They lie in temporary tables of the connection (`ingest.importing.temporary_tables`): `raw` as written,
`cells` as each cell is meant, `row_lines` with the line of each row.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from ingest.importing.cell_readers import READERS
from ingest.importing.csv_file import LONGEST_LINE_BYTES, CsvFile
from ingest.importing.csv_reader import LineFault, forget_rows, read_raw
from ingest.schema.csv_columns import Form
from ingest.sql import Connection
from ingest.values.numbers import MARK_OF_SEPARATOR, DecimalMark

Row = Mapping[str, str]


SaidOtherwiseAs = Literal["ask", "correction", "left out"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidOtherwise:
    """Rows that are held by other words: their table was brought in before, when its texts meant something
    else.

    Attributes
    ----------
    entries : frame of `row` (from 0) and the `entry` in which it is held; none where that was corrected or
        taken back since, which stands.
    become : what becomes of them: kept aside, the entry is corrected, or it stays as it was for good.
    """

    entries: pd.DataFrame
    become: SaidOtherwiseAs = "ask"


@dataclass(slots=True, kw_only=True)
class Rows:
    """Rows of one form.

    Attributes
    ----------
    names : column names, of `c0`, `c1`, … in the temporary tables.
    lines : by row, from 0: the line on which it begins in its file, or what a page calls it.
    file : None where the rows were typed.
    faults : lines of the file that are no rows.
    cell_faults : of a table in other words than ours, what could not be turned into ours: frame of `row`
        (from 0), `column_name` (ours), `code` and `details` (as JSON), see `ingest.faults`.
    sheet : of a workbook with several, where the rows stand.
    left_out : rows of the file that are no rows of the form, as a rule says: totals, other years.
    not_read : columns of such a table, as written, of which nobody has said what they are.
    said_otherwise : of such a table, the rows that are held by other words.
    sheets_not_read : of a workbook, the other sheets of which nothing is known.
    origins, origins_left_out : of a table in other words than ours, what its rows say in these words, as
        digests: by row, and of those that are none, as a rule says.
    made_of_table : works that rows of a table are of, and no rows of the file.
    texts : by column, its different texts, where they are few enough to be known.
    """

    names: list[str]
    lines: npt.NDArray[np.int64]
    file: CsvFile | None = None
    faults: list[LineFault] = field(default_factory=list)
    cell_faults: pd.DataFrame | None = None
    sheet: str = ""
    left_out: int = 0
    not_read: tuple[str, ...] = ()
    said_otherwise: SaidOtherwise | None = None
    sheets_not_read: tuple[str, ...] = ()
    origins: npt.NDArray[np.str_] | None = None
    origins_left_out: npt.NDArray[np.str_] | None = None
    texts: dict[str, list[str]] | None = None
    has_nul: bool = False
    made_of_table: bool = False

    @property
    def typed(self) -> bool:
        """They were typed on a page or tapped on a phone: a row says all of itself, so an empty cell is
        empty, and what is said stands even if it was said before. In a file an empty cell says nothing, and
        what an earlier version said never overrides a later one.
        """
        return self.file is None

    @property
    def name(self) -> str:
        if self.file is None:
            return "typed"
        name = self.file.path.name
        if self.made_of_table:
            return f"{name}, works made from this table"
        return f"{name}, sheet {self.sheet}" if self.sheet else name

    @property
    def decimal_mark(self) -> DecimalMark:
        return "" if self.file is None else MARK_OF_SEPARATOR.get(self.file.separator, "")


def rows_of_file(con: Connection, file: CsvFile, form: Form) -> Rows:
    """The rows of a file that was looked over; beside its cells, `at_once_` with the name of a column has
    what its reader reads at once.
    """
    lines, faults = read_raw(con, file, _read_at_once(form, file.names))
    _name_lines(con, lines)
    return Rows(names=file.names, lines=lines, file=file, faults=faults, has_nul=file.has_nul)


def _read_at_once(form: Form, names: Sequence[str]) -> dict[str, str]:
    readers = {
        column.name: READERS[column.reading]
        for column in form.columns
        if column.name in names and column.reading != "text"
    }
    return {
        f"at_once_{name}": reader.at_once.format(text=f"c{names.index(name)}")
        for name, reader in readers.items()
        if reader.at_once
    }


def rows_of_table(
    con: Connection,
    form: Form,
    cells: pd.DataFrame,
    lines: npt.NDArray[np.int64],
    *,
    path: Path,
    separator: str = ",",
    sheet: str = "",
    left_out: int = 0,
    not_read: tuple[str, ...] = (),
    cell_faults: pd.DataFrame | None = None,
) -> Rows:
    """Rows of a file that is no CSV of ours, once they are in our form.

    Parameters
    ----------
    cells : texts, empty where there is nothing; its columns are named as those of the form (others are
        reported as not read).
    lines : by row, its number in the file as it lies.
    path : the file; rejected rows are written beside it in our form.
    separator : between the cells of rejected rows; with it goes how the file writes decimals.
    """
    names = list(cells.columns)
    forget_rows(con)
    table = pa.Table.from_pandas(
        cells.set_axis([f"c{place}" for place in range(len(names))], axis=1), preserve_index=False
    )
    con.register("table_cells", table.append_column("row", pa.array(np.arange(len(cells)))))
    columns = "".join(f", nullif(c{place}::VARCHAR, '') AS c{place}" for place in range(len(names)))
    also = "".join(f", {value} AS {name}" for name, value in _read_at_once(form, names).items())
    con.execute(
        f"""CREATE TEMP TABLE raw_rows AS
        SELECT *{also}
        FROM (SELECT "row"{columns} FROM table_cells)"""
    )
    con.unregister("table_cells")
    con.execute("CREATE TEMP VIEW raw AS SELECT * FROM raw_rows")
    con.execute("CREATE TEMP VIEW cells AS SELECT *, []::VARCHAR[] AS emptied FROM raw")
    _name_lines(con, lines)
    file = CsvFile(
        path=path,
        clean=path,
        encoding="utf-8-sig",
        separator=separator,
        header=names,
        names=names,
        lines=len(lines) + 1,
        has_quotes=False,
        has_nul=False,
        has_apostrophes=False,
        longest=LONGEST_LINE_BYTES,
    )
    return Rows(
        names=names,
        lines=lines,
        file=file,
        cell_faults=cell_faults,
        sheet=sheet,
        left_out=left_out,
        not_read=not_read,
    )


def rows_typed(
    con: Connection, form: Form, rows: Sequence[Row], numbers: Sequence[int] | None = None
) -> Rows:
    """Rows that were typed, column name to text; columns that no row has are not said.

    Parameters
    ----------
    numbers : what the page calls each row; 1, 2, 3 … where not given.
    """
    names = [name for name in form.names if any(name in row for row in rows)]
    cells = [
        [
            row.get(name, "").replace("\r\n", "\n").replace("\r", "\n").encode(errors="replace").decode()
            for name in names
        ]
        for row in rows
    ]
    forget_rows(con)
    columns = "".join(f", nullif(cells[{place}], '') AS c{place - 1}" for place in range(1, len(names) + 1))
    con.execute(
        f"""CREATE TEMP TABLE raw_rows AS
        SELECT place - 1 AS "row"{columns}
        FROM (
            SELECT unnest(rows) AS cells, generate_subscripts(rows, 1) AS place
            FROM (SELECT from_json(?, '[["VARCHAR"]]') AS rows)
        )""",
        [json.dumps(cells)],
    )
    con.execute("CREATE TEMP VIEW raw AS SELECT * FROM raw_rows")
    con.execute("CREATE TEMP VIEW cells AS SELECT *, []::VARCHAR[] AS emptied FROM raw")
    lines = np.fromiter(numbers or range(1, len(rows) + 1), dtype=np.int64, count=len(rows))
    _name_lines(con, lines)
    texts = {name: sorted({row[place] for row in cells} - {""}) for place, name in enumerate(names)}
    return Rows(names=names, lines=lines, texts=texts, has_nul="\0" in "".join(map("".join, cells)))


def _name_lines(con: Connection, lines: npt.NDArray[np.int64]) -> None:
    con.register("row_lines", pd.DataFrame({"row": np.arange(len(lines)), "line": lines}))
