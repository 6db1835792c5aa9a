"""Status of the rows of one file."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import counted, label, plain, text
from dashboard.text import html_blocks
from dashboard.text.foreign_tables import place_word
from dashboard.text.rejected_rows import faults_by_row, versions_kept_out
from dashboard.ui import layout, page_data
from dashboard.ui.logs import rejects as rejects_part
from dashboard.ui.logs import table_sheets
from ingest.importing.check import Checked
from ingest.importing.pending_rejects import MOST_KEPT, waiting_of
from ingest.values.calendar_days import EITHER_ORDER
from ingest.values.spelling import folded, nearest

SHOWN_REMARKS = 50


def show(report: Checked, stored: bool) -> None:
    """Figures of the import of one file, its faults and notes."""
    st.header(plain(report.file if report.rows.made_of_table else f"{report.file}: {report.kind}"))
    o = report.outcome
    layout.figures(
        ("stored" if stored else "would be stored", f"{o.stored + o.corrected:,}"),
        ("held already", f"{o.already_held:,}"),
        ("held back: correction or new?", f"{o.held_back:,}", o.held_back > 0),
        ("rejected", f"{o.rejected:,}", o.rejected > 0),
    )
    notes = [_rows_in_the_file(report)]
    if o.corrected:
        notes.append(
            f"{counted(o.corrected, 'of them corrects', 'of them correct')} what was held; the earlier"
            " version is kept."
        )
    if report.unknown_columns:
        notes.append(f"Not read, as no such column is known: {', '.join(report.unknown_columns)}.")
    if report.held_by_other_words:
        notes.append(
            f"{counted(report.held_by_other_words, 'row')} held back came in before, when the table was"
            " read otherwise or its words meant something else: as new ones they would count twice."
        )
    if report.settled:
        notes.append(
            f"{counted(report.settled, 'row')} under To mend settled, as this file brought them in or leaves"
            " them out."
        )
    if report.rows.sheets_not_read:
        notes.append(
            f"Sheets not read, as nobody has said what they hold: {', '.join(report.rows.sheets_not_read)}."
        )
    if report.new_people:
        notes.append(
            f"New people: {', '.join(_beside_the_nearest(report.new_people))}. A name spelt otherwise is"
            " another person; join the two under Studio if it is not."
        )
    layout.say(*notes)
    _unread_sheets(report)
    if report.kind == "time entries" and stored and not o.rejected and not o.held_back:
        layout.link("where_the_hours_went", "See where the hours went")
    if len(report.problems):
        st.subheader("What was rejected, and the mend")
        st.html(_remarks("Faults", faults_by_row(report), report.file, versions_kept_out(report)))
        if report.faults["code"].eq(EITHER_ORDER).any():
            layout.link("studio", "Say in which order this studio writes its dates")
        _where_they_wait(report, stored)
    if len(report.warnings):
        with st.expander(f"Kept, but look at it: {counted(len(report.warnings), 'note')}"):
            st.html(_remarks("Notes", report.warnings, report.file))


def _rows_in_the_file(report: Checked) -> str:
    """How many rows the file has, and how many of these are left out; a sentence."""
    rows, left_out = report.outcome.rows, report.rows.left_out
    if report.rows.made_of_table:
        return f"{counted(rows, 'work')} that rows of the table are of, each made once."
    if left_out:
        return (
            f"{counted(rows + left_out, 'row')} in the file: {rows:,} read, and {left_out:,} left out by what"
            " was said of the table."
        )
    return f"{counted(rows, 'row')} in the file." if rows else "The file has a header and no rows."


def _unread_sheets(report: Checked) -> None:
    """A press for each sheet of which nobody has said what it holds; it is spoken of above."""
    file = report.rows.file
    content = st.session_state.get("books reported", {}).get(file.path.name) if file else None
    if file is None or content is None:
        return
    with st.container(horizontal=True):
        for name in report.rows.sheets_not_read:
            if st.button(label(f"Say what {name} holds"), key=f"sheet {report.file} {name}"):
                table_sheets.open_sheet_of(file.path.name, content, name)
                st.rerun()


def _beside_the_nearest(new: list[str]) -> list[str]:
    """New people, each beside somebody of nearly that name."""
    names = {
        folded(name): name for name in queries.people(page_data.store().cursor())["person"] if name not in new
    }
    return [f"{name} (near to {near})" if (near := nearest(name, names)) else name for name in new]


def _remarks(name: str, remarks: pd.DataFrame, file: str, after: pd.DataFrame | None = None) -> str:
    """A table of the first remarks, and all of those that come `after` them."""
    rows = _rows(remarks.head(SHOWN_REMARKS))
    if len(remarks) > SHOWN_REMARKS:
        rows.append(
            [
                "",
                "",
                "",
                f"and {len(remarks) - SHOWN_REMARKS:,} more",
                "all of them are in the file of rejects",
            ]
        )
    rows += [] if after is None else _rows(after)
    return html_blocks.ledger(
        name, [place_word(file), "column", "it says", "what is wrong", "the mend"], rows, words=range(1, 5)
    )


def _rows(remarks: pd.DataFrame) -> list[list[str]]:
    return [
        [f"{line}", column, text(value)[:60], reason, mend]
        for line, column, value, reason, mend in remarks.itertuples(index=False)
    ]


def _where_they_wait(report: Checked, stored: bool) -> None:
    """Ways to mend the rejected rows of a file."""
    if not stored or report.rejected is None:
        layout.say("Bring the file in, and the rejected rows can be mended here or downloaded.")
    elif wait := waiting_of(page_data.store().cursor(), report.rejected):
        layout.say(
            f"{'They wait' if wait == len(report.rejected.rows) else f'{wait:,} of them wait'} below, under"
            " To mend, until they are mended or left out; what was mended or left out before is not offered"
            " again."
        )
    elif len(report.rejected.rows) <= MOST_KEPT:
        layout.say("None of them waits under To mend: there they were mended or left out before.")
    else:
        layout.say(
            f"More than {MOST_KEPT} are too many to mend here: download them, mend them there,"
            " and bring that file in."
        )
        rejects_part.download(report.rejected, report.file)
