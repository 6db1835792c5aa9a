"""Rows typed on a page: the checks of a file and the write of a file, all rows or none.

A page says all of a row, so an empty cell is empty; and what is said now stands, even where an earlier
version once said the same.
"""

from __future__ import annotations

import csv
import re
import tempfile
from collections.abc import Mapping, Sequence
from itertools import accumulate
from pathlib import Path

import duckdb
import pandas as pd

from ingest.errors import BenchHoursError
from ingest.history import Change
from ingest.imports import Report, bring_in_file, look_over
from ingest.outcome import Fate
from ingest.records import FORMS, Form
from ingest.store import Store

Row = Mapping[str, str]
_COLUMNS = re.compile(rf"\b({'|'.join(sorted({name for form in FORMS for name in form.names if '_' in name}))})\b")


class RowsRefused(BenchHoursError):
    """Rows that cannot be stored as they are.

    Attributes
    ----------
    problems : frame with `row` (from 1), `column`, `value`, `reason`, `mend`.
    """

    def __init__(self, problems: pd.DataFrame, rows: int, called: Mapping[str, str]) -> None:
        self.problems = problems
        said = [
            f"{f'line {row}, ' if rows > 1 else ''}{_cell(column, value, called)} {as_called(f'{reason}. {mend}', called)}"
            for row, column, value, reason, mend in problems.itertuples(index=False)
        ]
        super().__init__(" ".join(dict.fromkeys(said)).removesuffix("."), "")

    def __str__(self) -> str:
        return f"{self.what}."


def _cell(column: str, value: object, called: Mapping[str, str]) -> str:
    words = called.get(column, column.replace("_", " "))
    return f'{words} "{value}"' if isinstance(value, str) and value.strip() else words


def as_called(sentence: str, called: Mapping[str, str]) -> str:
    """A sentence about columns in the words by which a page calls them; those of one plain word are left, as they may be meant as words."""
    return _COLUMNS.sub(lambda found: called.get(found[0], found[0].replace("_", " ")), sentence)


def store_rows(store: Store, form: Form, rows: Sequence[Row], change: Change, called: Mapping[str, str] | None = None) -> Report:
    """Store rows of a form in a transaction of their own; raises `RowsRefused` and stores nothing if one has a fault."""
    with store.writing() as con:
        return put_rows(con, form, rows, change, called=called)


def put_rows(
    con: duckdb.DuckDBPyConnection,
    form: Form,
    rows: Sequence[Row],
    change: Change,
    *,
    all_or_none: bool = True,
    numbers: Sequence[int] | None = None,
    called: Mapping[str, str] | None = None,
) -> Report:
    """The same inside the caller's transaction.

    Parameters
    ----------
    rows : column name to text, as a file would have it; columns that no row has are not said.
    all_or_none : raise if a row has a fault; else the faulty rows are left out and stand in the report's `problems`, whose column `row` tells them (as that of `warnings` does).
    numbers : what the page calls each row; 1, 2, 3 … where not given.
    called : what the page calls a column, where that is another word.
    """
    names = [name for name in form.names if any(name in row for row in rows)]
    numbers = numbers or range(1, len(rows) + 1)
    rows = [{name: row.get(name, "").replace("\r\n", "\n").replace("\r", "\n") for name in names} for row in rows]
    of_line = dict(zip(begin_on(rows), numbers, strict=True))
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        path = Path(folder) / "typed.csv"
        with path.open("w", encoding="utf-8", newline="") as out:
            writer = csv.writer(out, lineterminator="\n")
            writer.writerow(names)
            writer.writerows(row.values() for row in rows)
        told = look_over([path], Path(folder))[0]
        fate = Fate(con, file="typed", change=change, typed=True)
        report = bring_in_file(con, told, fate, "new")
    report.problems = report.problems.assign(row=report.problems["line"].map(of_line))
    report.warnings = report.warnings.assign(row=report.warnings["line"].map(of_line))
    if all_or_none and len(report.problems):
        raise RowsRefused(own_faults(report.problems)[["row", "column", "value", "reason", "mend"]], len(rows), called or {})
    return report


def begin_on(rows: Sequence[Row]) -> list[int]:
    """On which line of a file, the header on its first, each of some rows begins: a note may run over several."""
    lengths = [1 + sum(cell.replace("\r\n", "\n").replace("\r", "\n").count("\n") for cell in row.values()) for row in rows]
    return [2 + before for before in accumulate([0, *lengths[:-1]])] if rows else []


def own_faults(problems: pd.DataFrame) -> pd.DataFrame:
    """Problems without those that only say that another row of the same version has one."""
    own = problems[problems["column"] != "version"]
    return own if len(own) else problems
