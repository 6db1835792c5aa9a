"""Safe keeping: when the last backup was made, whether the record holds together, everything out, and the way back."""

from __future__ import annotations

import io
import tempfile
import zipfile
from datetime import datetime
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import streamlit as st

from dashboard import frame, held
from dashboard.keeping import holds, last_backup
from dashboard.words import counted, day, plain
from ingest import backup
from ingest.backup import Copy
from ingest.errors import BenchHoursError
from ingest.export import export
from ingest.store import Store

UPLOADED = "a file from elsewhere"


def body() -> None:
    if held.shows_invented():
        st.write(
            "The invented studio is made anew whenever it is looked at, so there is nothing of it to keep. It can be taken out as CSV, to see what that looks like."
        )
    else:
        _how_it_is()
        _back_up()
    _take_out()
    if not held.shows_invented():
        _go_back()


def _how_it_is() -> None:
    st.write(plain(last_backup(held.store().cursor())))
    faults = held.faults()
    if not faults:
        frame.say(["The record holds together: every entry is on a line, every sum is that of its parts, and nothing is gone without a word."])
        return
    st.warning(f"The record does not hold together in {counted(len(faults), 'thing')}. Nothing is hidden or changed; this is what is wrong, and what to do:")
    frame.list_out([str(fault) for fault in faults])


def _back_up() -> None:
    st.header("Make a backup")
    folder = Path(held.store().path).parent / backup.FOLDER
    frame.say([f"A copy of everything is written to {folder}, opened again, counted and compared. A disk can fail: keep a copy somewhere else too."])
    with st.container(horizontal=True):
        if st.button("Back up now", type="primary"):
            try:
                with st.spinner("Writing and looking at the backup …"):
                    copy = backup.back_up(held.store())
            except BenchHoursError as error:
                frame.refuse(f"Not backed up: {error}")
            else:
                frame.done(f"Backed up, and found equal: {holds(copy)}. It is {copy.file.name}, in the folder {copy.file.parent}.")
        st.download_button(
            "Take a copy with you",
            partial(_as_file, held.store()),
            f"{Path(held.store().path).stem}-backup.duckdb",
            "application/octet-stream",
            on_click="ignore",
        )


def _as_file(store: Store) -> bytes:
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        return backup.back_up(store, Path(folder) / "copy.duckdb", noted=False).file.read_bytes()


def _take_out() -> None:
    st.header("Take everything out as CSV")
    private = st.checkbox("With titles, owners and addresses, and what is half written", key="private")
    frame.say(
        [
            "For your own keeping: hand these files to nobody."
            if private
            else "Titles, owners and addresses stay here. Notes leave as they are: read them before you share the files.",
            f"Unpacked, and brought into a new studio under Bring in logs, all together, they are the same studio again{'' if private else ' but for what stays here'}.",
        ]
    )
    # The button says which of the two it gives: pressed before the page has followed the tick, it gives what it says.
    what, name = ("All files with titles and owners, in one zip", "studio-csv-private.zip") if private else ("All files, in one zip", "studio-csv.zip")
    st.download_button(what, partial(_zipped, held.store(), private), name, "application/zip", on_click="ignore")


def _zipped(store: Store, private: bool) -> bytes:
    packed = io.BytesIO()
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as name, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        for one in export(store, Path(name) / "out", private=private):
            out.write(Path(name) / "out" / one.file, one.file)
    return packed.getvalue()


def _go_back() -> None:
    st.header("Go back to a backup")
    files = {_named(file): file for file in backup.those_beside(Path(held.store().path))}
    turn = st.session_state.setdefault("went back", 0)
    chosen = st.selectbox("Backup", [*files, UPLOADED], index=None, placeholder="Choose one to see what it holds", key=f"backup {turn}")
    if chosen is None:
        return
    if chosen != UPLOADED:
        _offer(chosen, files[chosen], turn)
        return
    given = st.file_uploader("A backup kept elsewhere", type=["duckdb"], key=f"backup file {turn}")
    if given is not None:
        with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
            file = Path(folder) / "backup.duckdb"
            file.write_bytes(given.getvalue())
            _offer(Path(given.name).name, file, turn)


def _named(file: Path) -> str:
    said = file.stat()
    there = datetime.fromtimestamp(said.st_mtime, ZoneInfo(held.settings().zone))
    before = ", of what a restore replaced" if file.stem.endswith("before-restore") else ""
    return f"{day(there)}, {there:%H:%M:%S}{before} ({said.st_size / 1e6:,.1f} MB)"


def _offer(name: str, file: Path, turn: int) -> None:
    """Say what a backup holds beside what is held now, and put it in its place if that is wanted."""
    copy = _looked_at(name, file)
    now = held.holdings()
    frame.say([f"It holds {holds(copy)}. The studio now holds {counted(now['objects'], 'work')} and {counted(now['entries'], 'entry', 'entries')}."])
    for fault in copy.faults:
        st.warning(plain(f"It does not hold together: {fault}"))
    sure = st.checkbox("Put it in the place of everything held now; that is backed up first", key=f"sure {turn}")
    if st.button("Go back to it", disabled=not sure):
        with st.spinner("Putting it in place …"):
            restored, kept = backup.bring_back(held.store(), file)
        st.session_state["went back"] = turn + 1
        frame.done(f"The studio is as it was in that backup: {holds(restored)}. What was here before is kept in {kept.file}.")


def _looked_at(name: str, file: Path) -> Copy:
    with st.spinner(f"Looking at {name} …"):
        return backup.look(file, called=Path(name))


frame.show("Safe keeping", body)
