"""Rows typed on a page or tapped on a phone: the check and the store of any row.

A page says all of a row, so an empty cell is empty; and what is said stands, even where an earlier version
once said the same.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import pandas as pd

from ingest.errors import BenchHoursError
from ingest.faults import worded
from ingest.importing.cell_readers import Context
from ingest.importing.check import Checked, check, store
from ingest.importing.rows import Row, rows_typed
from ingest.schema.csv_columns import FORMS, Form
from ingest.sql import Connection
from ingest.store import Store
from ingest.tables.audit_log import Change

_COLUMNS = re.compile(
    rf"\b({'|'.join(sorted({name for form in FORMS for name in form.names if '_' in name}))})\b"
)


class RowsRefused(BenchHoursError):
    """Rows that cannot be stored as they are.

    Attributes
    ----------
    problems : frame with `line` (what the page calls the row), `column`, `value`, `reason`, `mend`.
    """

    def __init__(self, problems: pd.DataFrame, rows: int, labels: Mapping[str, str]) -> None:
        self.problems = problems
        sentences = [
            f"{f'line {line}, ' if rows > 1 else ''}{_cell(column, value, labels)}"
            f" {with_labels(f'{reason}. {mend}', labels)}"
            for line, column, value, reason, mend in problems.itertuples(index=False)
        ]
        super().__init__(" ".join(dict.fromkeys(sentences)).removesuffix("."), "")

    def __str__(self) -> str:
        return f"{self.what}."


def _cell(column: str, value: object, labels: Mapping[str, str]) -> str:
    words = labels.get(column, column.replace("_", " "))
    return f'{words} "{value}"' if isinstance(value, str) and value.strip() else words


def with_labels(sentence: str, labels: Mapping[str, str]) -> str:
    """A sentence about columns in the words by which a page calls them; those of one plain word are left, as
    they may be meant as words.
    """
    return _COLUMNS.sub(lambda match: labels.get(match[0], match[0].replace("_", " ")), sentence)


def check_typed(
    con: Connection,
    form: Form,
    rows: Sequence[Row],
    context: Context | None = None,
    numbers: Sequence[int] | None = None,
) -> Checked:
    """Check rows of a form as they were typed, column name to text; columns that no row has are not said.

    Parameters
    ----------
    context : that of the present moment where not given.
    numbers : what the page calls each row; 1, 2, 3 … where not given.
    """
    return check(con, form, rows_typed(con, form, rows, numbers), context or Context.of(con), "new")


def store_rows(
    to: Store, form: Form, rows: Sequence[Row], change: Change, labels: Mapping[str, str] | None = None
) -> Checked:
    """Store rows of a form in a transaction of their own; raises `RowsRefused` and stores nothing if one has
    a fault.
    """
    with to.writing() as con:
        return put_rows(con, form, rows, change, labels=labels)


def put_rows(
    con: Connection,
    form: Form,
    rows: Sequence[Row],
    change: Change,
    *,
    all_or_none: bool = True,
    numbers: Sequence[int] | None = None,
    labels: Mapping[str, str] | None = None,
) -> Checked:
    """The same inside the caller's transaction.

    Parameters
    ----------
    all_or_none : raise if a row has a fault; else the faulty rows are left out and stand in the report.
    numbers : what the page calls each row, in the column `line` of the report; 1, 2, 3 … where not given.
    labels : what the page calls a column, where that is another word.
    """
    checked = check_typed(con, form, rows, Context.of(con, now=change.at), numbers)
    if all_or_none and len(checked.faults):
        raise RowsRefused(
            worded(own_faults(checked.faults))[["line", "column", "value", "reason", "mend"]],
            len(rows),
            labels or {},
        )
    store(con, checked, change)
    return checked


def own_faults(faults: pd.DataFrame) -> pd.DataFrame:
    """Faults without those that only say that another row of the same version has one."""
    own = faults[faults["column"] != "version"]
    return own if len(own) else faults
