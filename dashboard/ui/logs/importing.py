"""Files brought in or checked, with words on how it goes."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from dashboard.ui import page_data
from ingest.errors import BenchHoursError
from ingest.foreign.any_table import any_table
from ingest.foreign.memory import Unsaved
from ingest.importing import pending_rejects
from ingest.importing.check import Checked
from ingest.importing.files import check_files, import_files
from ingest.importing.pending_rejects import RejectDraft
from ingest.importing.rows import SaidOtherwiseAs

Cells = list[list[str]]


def bring_in(
    files: Sequence[tuple[str, bytes]],
    *,
    stored: bool,
    mended: tuple[RejectDraft, Cells] | None = None,
    said_otherwise_as: SaidOtherwiseAs = "ask",
    unsaved: Unsaved | None = None,
) -> None:
    """Import or check, with words on how it goes; the reports stay with the visit, rejected rows until they
    are mended.

    `mended`: the rejected rows from which the file was made, and their cells. `said_otherwise_as`:
    what becomes of rows that are held by other words. `unsaved`: what is said of a table and not kept yet,
    where it is only checked.
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
        recognizer = any_table(page_data.store(), None, said_otherwise_as, unsaved)
        reports: list[tuple[Checked, bool]] = []
        try:
            if not stored:
                checked = check_files(page_data.store(), paths, recognizer=recognizer)
                reports = [(report, False) for report in checked]
            for path in _in_order(paths) if stored else []:
                status.update(label=f"{path.name}: bringing in …")
                # No word to the page from here until the rejected rows are kept: a visit may end at any of
                # them.
                of_file = import_files(
                    page_data.store(),
                    [path],
                    by="principal",
                    write_rejects=False,
                    settles_rejects=mended is None,
                    recognizer=recognizer,
                )
                st.session_state["reports"] = reports = [*reports, *((report, True) for report in of_file)]
                if mended:
                    pending_rejects.brought_in(
                        page_data.store(), *mended, of_file[0].rejected, page_data.visit()
                    )
                    continue
                for report in of_file:
                    if report.rejected:
                        pending_rejects.keep(page_data.store(), report.rejected, page_data.visit())
        except BenchHoursError:
            status.update(
                label="Nothing more was brought in." if reports else "Nothing was brought in.", state="error"
            )
            raise
        status.update(label="Done", state="complete")
        st.session_state["reports"] = reports
        with_more = {
            report.rows.file.path.name
            for report, _ in reports
            if report.rows.file and report.rows.sheets_not_read
        }
        st.session_state["books reported"] = {name: content for name, content in files if name in with_more}


def _in_order(paths: list[Path]) -> list[Path]:
    """All files looked over first; then one after the other, in the order in which one may name what another
    brings.
    """
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        recognized = any_table(page_data.store())(paths, Path(folder))
        return list(dict.fromkeys(item.path for together in recognized for item in together))
