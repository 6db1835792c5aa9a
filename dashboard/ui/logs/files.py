"""CSV files that are brought in or checked."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from dashboard.ui import layout, page_data
from ingest.errors import BenchHoursError
from ingest.importing import rejects
from ingest.importing.check import Checked
from ingest.importing.files import check_files, import_files, recognize
from ingest.importing.rejects import RejectDraft
from ingest.schema.csv_columns import FORMS

Cells = list[list[str]]


def show() -> None:
    turn = st.session_state.setdefault("files turn", 0)
    files = st.file_uploader(
        "CSV files from any spreadsheet: phases, techniques, objects, estimates, time entries, milestones",
        type=["csv", "txt", "tsv"],
        accept_multiple_files=True,
        key=f"files {turn}",
    )
    with st.expander("What the files look like"):
        layout.say(
            "The kind of a file is told by the columns marked *. Every row is stored, or held already, or"
            " held back, or rejected with its reason and mend."
        )
        layout.table(
            "The forms",
            ["kind", "columns"],
            [
                [
                    form.kind,
                    ", ".join(f"{column.name}{'*' if column.star else ''}" for column in form.columns),
                ]
                for form in FORMS
            ],
            words=range(2),
        )
        _empty_files()
    with st.container(horizontal=True):
        bring = st.button("Bring in", type="primary", disabled=not files)
        check = st.button(
            "Only check", disabled=not files, help="Reads the files in the same way and stores nothing"
        )
    if files and (bring or check):
        # Named by themselves alone: a browser's file name may hold a path of that machine.
        bring_in([(Path(file.name).name, file.getvalue()) for file in files], stored=bring)
        if bring:
            st.session_state["files turn"] = turn + 1  # what is brought in lies there no more
        st.rerun()


def _empty_files() -> None:
    """A file of each kind with its columns and no row, to be filled in."""
    layout.say("A file of each kind to fill in, with all its columns; those without * may go:")
    with st.container(horizontal=True):
        for form in FORMS:
            layout.download(
                form.kind.capitalize(), ",".join(form.names) + "\n", f"{form.kind.replace(' ', '_')}.csv"
            )


def bring_in(
    files: Sequence[tuple[str, bytes]], *, stored: bool, mended: tuple[RejectDraft, Cells] | None = None
) -> None:
    """Import or check, with words on how it goes; the reports stay with the visit, rejected rows until they
    are mended.

    `mended`: the rejected rows from which the file was made, and their cells.
    """
    with (
        tempfile.TemporaryDirectory(prefix="bench-hours-") as folder,
        st.status("Reading the files …") as status,
    ):
        paths = []
        for number, (name, content) in enumerate(files):  # two files of one name are two files
            place = Path(folder) / str(number)
            place.mkdir()
            paths.append(place / name)
            paths[-1].write_bytes(content)
        reports: list[tuple[Checked, bool]] = []
        try:
            if not stored:
                reports = [(report, False) for report in check_files(page_data.store(), paths)]
            for path in _in_order(paths) if stored else []:
                status.update(label=f"{path.name}: bringing in …")
                # No word to the page from here until the rejected rows are kept: a visit may end at any of
                # them.
                report = import_files(page_data.store(), [path], by="principal", write_rejects=False)[0]
                st.session_state["reports"] = reports = [*reports, (report, True)]
                if mended:
                    rejects.brought_in(page_data.store(), *mended, report.rejected, page_data.visit())
                elif report.rejected:
                    rejects.keep(page_data.store(), report.rejected, page_data.visit())
        except BenchHoursError:
            status.update(
                label="Nothing more was brought in." if reports else "Nothing was brought in.", state="error"
            )
            raise
        status.update(label="Done", state="complete")
        st.session_state["reports"] = reports


def _in_order(paths: list[Path]) -> list[Path]:
    """All files looked over first; then one after the other, in the order in which one may name what another
    brings.
    """
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        return [checked.file.path for checked in recognize(paths, Path(folder))]
