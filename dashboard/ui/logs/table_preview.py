"""How the first rows of a table would be kept, through the one check."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import streamlit as st

from dashboard.formatting import counted, plain
from dashboard.text.foreign_tables import COLUMNS, STATUSES, place_word
from dashboard.ui import layout, page_data
from dashboard.ui.logs import table_columns
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign.convert import NOT_SAID
from ingest.foreign.preview import Preview, preview
from ingest.foreign.reading import ReadingError, missing
from ingest.values.line_names import line_name
from ingest.values.parsing import folded

_ROWS = 12
_LONGEST = 60  # characters of a cell that are shown


def show(table: WaitingTable) -> bool:
    """The rows, and what is wrong with each; false where too little was said to read any."""
    with st.container(key="kept"):
        st.subheader("How the first rows would be kept")
        if lacking := missing(table.reading):
            empty = [table_columns.of_all_rows(name) for name in lacking if name in table.fixed_unsaid]
            others = [COLUMNS[name] for name in lacking if name not in table.fixed_unsaid]
            layout.say(
                f"Still to fill in: {'; '.join(empty)}." if empty else "",
                f"Still to say: {_listed(others)}. Choose a column, or what it is for all rows."
                if others
                else "",
            )
            return False
        try:
            result = table.once(
                "preview",
                (
                    table.sheet.name,
                    table.row,
                    table.reading.to_json(),
                    repr(table.meanings),
                    page_data.store().changes(),
                ),
                lambda: preview(
                    page_data.store(),
                    table.book,
                    table.sheet,
                    table.row,
                    table.reading,
                    table.meanings,
                    rows=_ROWS,
                ),
            )
        except ReadingError as error:
            st.warning(plain(str(error)))
            return False
        _show_rows(table, result)
        return True


def _listed(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else words[0]


def _show_rows(table: WaitingTable, result: Preview) -> None:
    files, sheets = len(table.files), len(table.sheets())
    others = [
        f"{counted(result.left_out, 'row')} left out" if result.left_out else "",
        f"{counted(sheets, 'sheet')} of {counted(files, 'file')} read alike" if sheets > 1 else "",
    ]
    layout.say(
        ", ".join(
            filter(
                None,
                (
                    f"The first {len(result.rows)} of {counted(result.all_rows, 'row')}"
                    if len(result.rows) < result.all_rows
                    else counted(result.all_rows, "row"),
                    *others,
                ),
            )
        )
        + ". Nothing is brought in yet."
    )
    if result.rows.empty:
        return
    frame = result.rows if table.reading.rows == "objects" else _with_lines_named(result.rows)
    columns = [
        name
        for name in frame.columns
        if name not in ("line", "status", "reason", "mend") and (frame[name] != "").any()
    ]
    wrong = _what_is_wrong(result)
    rows = [
        [
            f"{row['line']}",
            STATUSES[row["status"]],
            *([wrong.get(number, "")] if wrong else []),
            *(row[name][:_LONGEST] for name in columns),
        ]
        for number, row in enumerate(frame.to_dict("records"))
    ]
    heads = [
        place_word(table.book.path.name),
        "status",
        *(["what is wrong"] if wrong else []),
        *(COLUMNS[name] for name in columns),
    ]
    layout.table("The first rows as they would be kept", heads, rows, words=range(1, len(heads)))


def _with_lines_named(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows with the usual phase of a technique, and a name for a phase or work as a whole."""
    words = page_data.vocabulary()
    frame = rows.assign(**{name: "" for name in ("phase", "technique") if name not in rows})
    names = frame["technique"].map(lambda text: words.technique_spellings.get(folded(text), ""))
    usual = names.map(lambda name: words.techniques[name].phase if name else "")
    whole = frame["phase"].map(lambda phase: line_name(phase, ""))
    return frame.assign(
        phase=frame["phase"].where(frame["phase"] != "", usual),
        technique=frame["technique"].where(frame["technique"] != "", whole),
    )


def _what_is_wrong(result: Preview) -> dict[int, str]:
    """By row, from 0, what is wrong with its cells, and the mend."""
    unsaid: dict[int, list[str]] = {}
    others: dict[int, list[str]] = {}
    faults, problems = result.checked.faults, result.checked.problems
    for row, column, code, reason, mend in zip(
        faults["row"], faults["column"], faults["code"], problems["reason"], problems["mend"], strict=True
    ):
        name = COLUMNS.get(column, column)
        if code == NOT_SAID:
            unsaid.setdefault(row, []).append(name)
        else:
            others.setdefault(row, []).append(" ".join(filter(None, (f"{name}: {reason}.", mend))))
    return {
        row: " ".join(
            [
                *([f"{', '.join(unsaid[row])}: not said yet, under Words."] if row in unsaid else []),
                *others.get(row, []),
            ]
        )
        for row in unsaid.keys() | others.keys()
    }
