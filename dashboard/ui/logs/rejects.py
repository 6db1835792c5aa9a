"""Rejected rows, mended on a sheet or by fields, brought in or left out."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.formatting import counted, plain
from dashboard.ui import fields, layout, page_data
from dashboard.ui.logs import importing
from ingest.importing import pending_rejects
from ingest.importing.pending_rejects import RejectDraft
from ingest.importing.rejects import Rejects


def download(rejected: Rejects, key: str) -> None:
    content = rejected.as_text().encode()
    layout.download("Download them, with reasons", content, rejected.name, key=f"download {key}")


def show() -> None:
    for mending in pending_rejects.read_drafts(page_data.store().cursor()):
        what, file = mending.what, mending.rejects.file
        st.header(plain(f"To mend: {counted(len(mending.cells), 'row')} of {file}"))
        cells_key = f"cells {what}"
        if fields.changed_elsewhere(
            what, mending.autosaved.at, mending.autosaved.by, fresh=cells_key not in st.session_state
        ):
            st.warning(
                "These rows were mended in another window. What you type here is not kept until you take them"
                " up again."
            )
            if st.button("Show them as they are now", key=f"again {what}"):
                st.session_state.pop(cells_key, None)
                st.rerun()
            continue
        cells = _sheet(mending, cells_key)
        _row_fields(mending, cells, cells_key)
        left = mending.left(cells)
        if left:
            lines = ", ".join(f"{mending.rejects.rows[number].line}" for number in left)
            layout.say(
                f"Not to be brought in as it stands, as its cells do not fit the columns: line {lines}."
                " Move each cell to its column, and empty those beyond the last."
            )
        with st.container(horizontal=True):
            bring = st.button(
                "Bring in the mended rows",
                key=f"mended {what}",
                type="primary",
                disabled=len(left) == len(cells),
            )
            download(mending.rejects, what)
            leave = st.button(
                "Leave these rows out",
                key=f"leave {what}",
                help=(
                    "They stay out, and are not offered again when their file comes again. Also for rows that"
                    " you mended elsewhere."
                ),
            )
        if bring:
            importing.bring_in(
                [(mending.rejects.name, mending.as_text(cells).encode())],
                stored=True,
                mended=(mending, cells),
            )
            outcome = st.session_state["reports"][0][0].outcome
            still = outcome.rejected + len(left)
            layout.done(
                f"Of the mended rows {outcome.rows - outcome.rejected} came"
                f" in{f', {still} still to mend' if still else ''}; what became of each stands below."
            )
        if leave:
            pending_rejects.leave_out(page_data.store(), mending, page_data.visit())
            st.session_state.pop("reports", None)
            layout.done(f"Left out: {counted(len(cells), 'row')} of {file}.")


def _sheet(mending: RejectDraft, cells_key: str) -> importing.Cells:
    """The rejected rows to mend; every cell is kept as soon as it is left."""
    layout.say(
        "Each cell is kept as soon as you leave it. What is wrong and the mend stand at the sides of each"
        " row and are not brought in."
    )
    names = _names(mending)
    # As with the sheet of an estimate: given the same rows again and again, until another page was shown in
    # between.
    if cells_key not in st.session_state:
        remarks = pd.DataFrame(
            [
                {
                    "line": f"{row.line}",
                    "reason": f"{row.column}: {row.reason}" if row.column else row.reason,
                    "mend": row.mend,
                }
                for row in mending.rejects.rows
            ]
        )
        st.session_state[f"rows of {cells_key}"] = pd.concat(
            [
                remarks[["line", "reason"]],
                pd.DataFrame(mending.cells, columns=list(names)),
                remarks[["mend"]],
            ],
            axis=1,
        )
    shown: pd.DataFrame = st.data_editor(
        st.session_state[f"rows of {cells_key}"],
        key=cells_key,
        hide_index=True,
        disabled=["line", "reason", "mend"],
        column_config={
            "line": "line",
            "reason": "what is wrong",
            "mend": "the mend",
            **{name: st.column_config.TextColumn(head) for name, head in names.items()},
        },
        alt="The rejected rows, to mend",
    )
    cells: importing.Cells = shown[list(names)].fillna("").to_numpy().tolist()
    if cells != mending.cells:
        pending_rejects.keep_cells(page_data.store(), mending, cells, page_data.visit())
    return cells


def _names(mending: RejectDraft) -> dict[str, str]:
    """A name for each cell of a row, and the head over it: heads may be empty, or twice the same."""
    heads = [
        *mending.rejects.header,
        *["beyond the last column"] * (len(mending.cells[0]) - len(mending.rejects.header)),
    ]
    return {f"c{number}": head or "no name" for number, head in enumerate(heads)}


def _row_fields(mending: RejectDraft, cells: importing.Cells, cells_key: str) -> None:
    """One row by fields, with what is wrong above them: for a phone, where the sheet shows two columns."""
    with st.expander("Mend one row by fields", key=f"fields {mending.what}", on_change="rerun") as opened:
        if not opened.open:
            return
        names = {
            number: f"line {row.line}: {row.column} {row.reason}"
            for number, row in enumerate(mending.rejects.rows)
        }
        number = st.selectbox("Row", list(names), format_func=names.__getitem__, key=f"row {mending.what}")
        layout.say(mending.rejects.rows[number].mend)
        with st.form(f"row form {mending.what} {number}", border=False):
            typed = [
                # a head of our own reads the same with and without marks escaped, and only without is it
                # heard as it reads
                st.text_input(
                    head if head.replace("_", "").isalnum() else plain(head),
                    cell,
                    key=f"field {mending.what} {number} {name}",
                )
                for (name, head), cell in zip(_names(mending).items(), cells[number], strict=True)
            ]
            if not st.form_submit_button("Keep this row so"):
                return
        pending_rejects.keep_cells(
            page_data.store(), mending, [*cells[:number], typed, *cells[number + 1 :]], page_data.visit()
        )
        st.session_state.pop(cells_key, None)
        layout.done(
            f"Line {mending.rejects.rows[number].line} is kept as it stands now; it comes in with the mended"
            " rows."
        )
