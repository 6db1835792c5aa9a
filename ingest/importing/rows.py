"""Rows as text, whatever door they come by: a file, a page, a phone or the sheet of a quote.

They lie in temporary tables of the connection (`ingest.importing.temporary_tables`): `raw` as written,
`cells` as each cell is meant, `row_lines` with the line of each row.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from ingest.importing.cell_readers import READERS
from ingest.importing.csv_file import CsvFile
from ingest.importing.csv_reader import LineFault, forget_rows, read_raw
from ingest.schema.csv_columns import Form
from ingest.sql import Connection
from ingest.values.parsing import MARK_OF_SEPARATOR, DecimalMark

Row = Mapping[str, str]


@dataclass(slots=True, kw_only=True)
class Rows:
    """Rows of one form.

    Attributes
    ----------
    names : column names, of `c0`, `c1`, … in the temporary tables.
    lines : by row, from 0: the line on which it begins in its file, or what a page calls it.
    file : None where the rows were typed.
    faults : lines of the file that are no rows.
    texts : by column, its different texts, where they are few enough to be known.
    """

    names: list[str]
    lines: npt.NDArray[np.int64]
    file: CsvFile | None = None
    faults: list[LineFault] = field(default_factory=list)
    texts: dict[str, list[str]] | None = None
    has_nul: bool = False

    @property
    def typed(self) -> bool:
        """They were typed on a page or tapped on a phone: a row says all of itself, so an empty cell is
        empty, and what is said stands even if it was said before. In a file an empty cell says nothing, and
        what an earlier version said never overrides a later one.
        """
        return self.file is None

    @property
    def name(self) -> str:
        return "typed" if self.file is None else self.file.path.name

    @property
    def decimal_mark(self) -> DecimalMark:
        return "" if self.file is None else MARK_OF_SEPARATOR.get(self.file.separator, "")


def rows_of_file(con: Connection, file: CsvFile, form: Form) -> Rows:
    """The rows of a file that was looked over; beside its cells, `at_once_` with the name of a column has
    what its reader reads at once.
    """
    readers = {
        column.name: READERS[column.reading]
        for column in form.columns
        if column.name in file.names and column.reading != "text"
    }
    at_once = {
        f"at_once_{name}": reader.at_once.format(text=f"c{file.names.index(name)}")
        for name, reader in readers.items()
        if reader.at_once
    }
    lines, faults = read_raw(con, file, at_once)
    _name_lines(con, lines)
    return Rows(names=file.names, lines=lines, file=file, faults=faults, has_nul=file.has_nul)


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
