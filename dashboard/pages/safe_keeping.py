"""Safe keeping: backups, faults of the record, export of everything, restore."""

from __future__ import annotations

import io
import tempfile
import zipfile
from datetime import datetime
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard.formatting import counted, day, plain
from dashboard.text.backup import content, last_backup
from dashboard.ui import layout, page_data
from ingest.errors import BenchHoursError
from ingest.safekeeping import backup, restore
from ingest.safekeeping.backup import Copy
from ingest.safekeeping.export import export
from ingest.store import Store
from ingest.studio.settings import read_settings

UPLOADED = "a file from elsewhere"


def body() -> None:
    if page_data.shows_invented():
        st.write(
            "The invented studio is made anew whenever it is looked at, so there is nothing of it to keep. It"
            " can be taken out as CSV, to see what that looks like."
        )
    else:
        _how_it_is()
        _back_up()
    _take_out()
    if not page_data.shows_invented():
        _go_back()


def _how_it_is() -> None:
    con = page_data.store().cursor()
    st.write(plain(last_backup(backup.last(con), read_settings(con).zone)))
    faults = page_data.faults()
    if not faults:
        layout.say(
            "The record holds together: every entry is on a line, every sum is that of its parts, and"
            " nothing is gone without a word."
        )
        return
    st.warning(
        f"The record does not hold together in {counted(len(faults), 'thing')}. Nothing is hidden or changed;"
        " this is what is wrong, and what to do:"
    )
    layout.list_out([str(fault) for fault in faults])


def _back_up() -> None:
    st.header("Make a backup")
    folder = Path(page_data.store().path).parent / backup.FOLDER
    layout.say(
        f"A copy of everything is written to {folder}, opened again, counted and compared. A disk can"
        " fail: keep a copy somewhere else too."
    )
    with st.container(horizontal=True):
        if st.button("Back up now", type="primary"):
            try:
                with st.spinner("Writing and looking at the backup …"):
                    copy = backup.back_up(page_data.store())
            except BenchHoursError as error:
                layout.refuse(f"Not backed up: {error}")
            else:
                layout.done(
                    f"Backed up, and found equal: {content(copy)}. It is {copy.file.name}, in the folder"
                    f" {copy.file.parent}."
                )
        layout.download(
            "Take a copy with you",
            partial(_as_file, page_data.store()),
            f"{Path(page_data.store().path).stem}-backup.duckdb",
        )


def _as_file(store: Store) -> bytes:
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        return backup.back_up(store, Path(folder) / "copy.duckdb", noted=False).file.read_bytes()


def _take_out() -> None:
    st.header("Take everything out as CSV")
    private = st.checkbox("With titles, owners and addresses, and what is half written", key="private")
    layout.say(
        "For your own keeping: hand these files to nobody."
        if private
        else (
            "Titles, owners and addresses stay here. Notes leave as they are: read them before you"
            " share the files."
        ),
        "Unpacked, and brought into a new studio under Bring in logs, all together, they are the"
        f" same studio again{'' if private else ' but for what stays here'}.",
    )
    # The button says which of the two it gives: pressed before the page has followed the tick, it gives what
    # it says.
    what, name = (
        ("All files with titles and owners, in one zip", "studio-csv-private.zip")
        if private
        else ("All files, in one zip", "studio-csv.zip")
    )
    layout.download(what, partial(_zipped, page_data.store(), private), name)


def _zipped(store: Store, private: bool) -> bytes:
    packed = io.BytesIO()
    with (
        tempfile.TemporaryDirectory(prefix="bench-hours-") as name,
        zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out,
    ):
        for item in export(store, Path(name) / "out", private=private):
            out.write(Path(name) / "out" / item.file, item.file)
    return packed.getvalue()


def _go_back() -> None:
    st.header("Go back to a backup")
    files = {_named(file): file for file in backup.list_backups(Path(page_data.store().path))}
    turn = st.session_state.setdefault("went back", 0)
    chosen = st.selectbox(
        "Backup",
        [*files, UPLOADED],
        index=None,
        placeholder="Choose one to see what it holds",
        key=f"backup {turn}",
    )
    if chosen is None:
        return
    if chosen != UPLOADED:
        _offer(chosen, files[chosen], turn)
        return
    uploaded = st.file_uploader("A backup kept elsewhere", type=["duckdb"], key=f"backup file {turn}")
    if uploaded is not None:
        with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
            file = Path(folder) / "backup.duckdb"
            file.write_bytes(uploaded.getvalue())
            _offer(Path(uploaded.name).name, file, turn)


def _named(file: Path) -> str:
    status = file.stat()
    there = datetime.fromtimestamp(status.st_mtime, ZoneInfo(page_data.settings().zone))
    before = ", of what a restore replaced" if file.stem.endswith("before-restore") else ""
    return f"{day(there)}, {there:%H:%M:%S}{before} ({status.st_size / 1e6:,.1f} MB)"


def _offer(name: str, file: Path, turn: int) -> None:
    """Compare a backup with the studio, and restore it if that is wanted."""
    copy = _looked_at(name, file)
    current = page_data.holdings()
    layout.say(
        f"It holds {content(copy)}. The studio now holds {counted(current['objects'], 'work')} and"
        f" {counted(current['entries'], 'entry', 'entries')}."
    )
    for fault in copy.faults:
        st.warning(plain(f"It does not hold together: {fault}"))
    sure = st.checkbox(
        "Put it in the place of everything held now; that is backed up first", key=f"sure {turn}"
    )
    if st.button("Go back to it", disabled=not sure):
        with st.spinner("Putting it in place …"):
            restored, replaced = restore.restore_into(page_data.store(), file)
        st.session_state["went back"] = turn + 1
        layout.done(
            f"The studio is as it was in that backup: {content(restored)}. What was here before is kept in"
            f" {replaced.file}."
        )


def _looked_at(name: str, file: Path) -> Copy:
    with st.spinner(f"Looking at {name} …"):
        return restore.inspect_backup(file, path=Path(name))


layout.show("Safe keeping", body)
