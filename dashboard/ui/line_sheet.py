"""A sheet of lines on a page: plain text in every cell, given back as it was left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd
import streamlit as st

from dashboard.formatting import UNITS
from dashboard.ui import fields, layout, page_data
from ingest.values.line_names import AS_A_WHOLE

EMPTY_LINES = 3
Columns = Mapping[str, tuple[str, int]]
"""Column of the form: its head on the sheet, and how wide it stands, so that no head is cut."""

# What columns are called on a sheet, where not by their name in the form.
_HEADS = {
    "phase": "phase, if not usual",
    "low_hours": "low, h",
    "high_hours": "high, h",
    "unattended_hours": "unattended, h",
}
# What cells are called in what is said of them.
LABELS = {"low_hours": "low", "high_hours": "high", "unattended_hours": "unattended"}


def sheet(heads: Mapping[str, str], **widths: int) -> Columns:
    """The columns of a sheet by their widths, some of them with a head of their own."""
    return {name: ({**_HEADS, **heads}.get(name, name), width) for name, width in widths.items()}


def edit(
    name: str,
    lines: Sequence[Mapping[str, str]],
    columns: Columns,
    turn: int,
    alt: str,
    empty_lines: int = EMPTY_LINES,
) -> list[dict[str, str]]:
    """The lines as a sheet; what it holds after the last committed cell.

    Parameters
    ----------
    name : of the sheet in the session; `turn` : raised whenever it is to begin anew from `lines`.
    empty_lines : below those written, to go on in.
    """
    # The sheet keeps its own account of what was typed since it was first shown, so it is given the same rows
    # again and again. That account is gone once another page was shown in between: then it begins anew, from
    # what is kept.
    cells_key, rows_key = f"{name} cells {turn}", f"{name} rows {turn}"
    if cells_key not in st.session_state:
        st.session_state[rows_key] = pd.DataFrame(
            [{column: line.get(column, "") for column in columns} for line in [*lines, *[{}] * empty_lines]]
        )
    # Plain text in every column: a cell that offers choices forgets what fits none of them, and takes the
    # first for half a word.
    edited = st.data_editor(
        st.session_state[rows_key],
        key=cells_key,
        num_rows="dynamic",
        hide_index=True,
        column_config={
            column: st.column_config.TextColumn(head, width=width)
            for column, (head, width) in columns.items()
        },
        placeholder="",
        alt=alt,
    )
    rows = [
        {column: cell.strip() for column, cell in row.items() if isinstance(cell, str) and cell.strip()}
        for row in edited.to_dict("records")
    ]
    while rows and not rows[-1]:
        rows.pop()
    st.html('<p class="beside narrow-only">The sheet goes on to the right.</p>')
    return rows


def is_fresh(name: str, turn: int) -> bool:
    """The sheet is shown first since the visit began, another page was shown, or it began anew."""
    return f"{name} cells {turn}" not in st.session_state


def forget(name: str) -> None:
    """Let everything of it go that the session keeps."""
    for key in [key for key in st.session_state if isinstance(key, str) and key.startswith(f"{name} ")]:
        del st.session_state[key]


def line_by_choosing(name: str, key: str, *, hours_or_quantity: bool) -> dict[str, str] | None:
    """A line put together by choosing its technique, or a phase as a whole, for a phone or where its name is
    not at hand; None until it is to be added.

    Parameters
    ----------
    name : of the place where it opens;
    key : in front of the keys of its fields.
    hours_or_quantity : the line must say one of them.
    """
    words = page_data.vocabulary()
    with st.expander("Add a line by choosing its technique", key=name, on_change="rerun") as opened:
        if not opened.open:
            return None
        # called otherwise than elsewhere: whoever types a technique must not find its phase before it
        wholes = {
            f"phase {AS_A_WHOLE}: {phase}": phase for phase, position in words.phases.items() if position > 0
        }
        technique = st.selectbox(
            "Technique",
            [*fields.in_use(words), *wholes],
            index=None,
            format_func=lambda item: item if item in wholes else f"{item} ({words.techniques[item].phase})",
            placeholder="Type a part of its name",
            key=f"{key} technique",
        )
        unit = words.techniques[technique].unit if technique and technique not in wholes else None
        line = {"phase": wholes[technique]} if technique in wholes else {"technique": technique or ""}
        with st.container(horizontal=True, key="added"):
            line["part"] = st.text_input("Part (may stay empty)", key=f"{key} part", width=190)
            line["hours"] = st.text_input(
                "Hours" if hours_or_quantity else "Own hours (may stay empty)",
                key=f"{key} hours",
                width=110 if hours_or_quantity else 190,
            )
            if unit:
                line["quantity"] = st.text_input(f"Quantity, {UNITS[unit]}", key=f"{key} quantity", width=130)
        if not st.button("Add it to the sheet"):
            return None
        if not technique:
            layout.refuse("Not added: choose the technique first.")
            return None
        if hours_or_quantity and not (line["hours"].strip() or line.get("quantity", "").strip()):
            layout.refuse(
                f"Not added: give its hours{' or its quantity' if unit else ''}. What you chose is still"
                " here."
            )
            return None
        return {column: cell for column, cell in line.items() if cell}
