"""Tables in other words than ours that wait in this visit: looked over when they are chosen, files of the
same heads together, and what was said of them kept.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, TypeVar

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from dashboard.ui import layout, page_data
from ingest.errors import BenchHoursError
from ingest.foreign import memory
from ingest.foreign.arrivals import Arrival, look_over
from ingest.foreign.bring_in import form_sheets
from ingest.foreign.guess import guess, guess_at
from ingest.foreign.memory import Remembered
from ingest.foreign.reading import LeaveOut, Reading, RowKind
from ingest.foreign.reading_drafts import ReadingDraft
from ingest.foreign.sheets import Book, Sheet
from ingest.foreign.words import Meaning, Studio
from ingest.studio.spellings import Kind
from ingest.tables.audit_log import utc_now

_WAITING = "tables waiting"
_LOOKED_AT = "files looked at"
_T = TypeVar("_T")


@dataclass(slots=True)
class TableFile:
    """A file as it was chosen, and as it was read."""

    name: str
    content: bytes
    book: Book


@dataclass(slots=True, kw_only=True)
class WaitingTable:
    """A table of which something must be said, of one file or of several with the same heads.

    Attributes
    ----------
    number : by which its fields are known.
    sheet, row : where the heads stand; the row from 0.
    meanings : by our column and the text, folded.
    stage : what the page shows of it: the offer to read it as last time, the offer to go on where somebody
        stopped, or the sheet on which it is said.
    remembered : of a known table, what was said; begun : what was half said.
    rows_said : what a row is, once somebody has chosen it.
    not_ours : why it is no CSV file of ours, in words.
    offered_rules : rules for rows that are none, which the page offers to take back.
    turn : counts up where fields must be drawn afresh.
    draft, draft_heads : as last kept, and under which heads; None and empty where nothing is.
    fixed_unsaid : columns that are the same for all rows, and nobody has said yet what they are.
    choices : of a text, by our column and the text, folded, what was chosen last; a text that was known
        stays in the list once something else was chosen.
    as_spellings : whether what texts mean is kept as spellings of the studio.
    words_shown : how many texts are shown, by list.
    shows_likeliest, shows_new_works : the likeliest matches, or the texts as new works, are shown, to be
        taken or not.
    """

    number: int
    files: list[TableFile]
    sheet: Sheet
    row: int
    reading: Reading
    meanings: dict[tuple[str, str], Meaning] = field(default_factory=dict)
    stage: Literal["known", "begun", "open"] = "open"
    remembered: Remembered | None = None
    begun: ReadingDraft | None = None
    rows_said: RowKind | None = None
    not_ours: str = ""
    offered_rules: tuple[LeaveOut, ...] = ()
    turn: int = 0
    draft: dict[str, Any] | None = None
    draft_heads: str = ""
    fixed_unsaid: set[str] = field(default_factory=set)
    choices: dict[tuple[str, str], str] = field(default_factory=dict)
    as_spellings: dict[Kind, bool] = field(
        default_factory=lambda: {"technique": True, "person": True, "phase": False}
    )
    words_shown: dict[str, int] = field(default_factory=dict)
    shows_likeliest: bool = False
    shows_new_works: bool = False
    computed: dict[str, tuple[object, Any]] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Its files, in words."""
        first, others = self.files[0].name, len(self.files) - 1
        return f"{first} and {others} more" if others else first

    @property
    def file_and_sheet(self) -> str:
        """Its first file, and which of its sheets where it has several."""
        name = self.files[0].name
        return f"{name}, sheet {self.sheet.name}" if len(self.book.sheets) > 1 else name

    @property
    def book(self) -> Book:
        return self.files[0].book

    def key(self, field_name: str) -> str:
        """Under which the state of a field is kept."""
        return f"table {self.number} {self.turn} {field_name}"

    def once(self, name: str, inputs: object, compute: Callable[[], _T]) -> _T:
        """A result, computed again only where its inputs are others."""
        known = self.computed.get(name)
        if known is None or known[0] != inputs:
            known = self.computed[name] = (inputs, compute())
        value: _T = known[1]
        return value

    def sheets(self) -> list[tuple[Sheet, int]]:
        """All sheets of all its files that are read alike, each with the row of its heads."""
        return self.once(
            "sheets",
            (self.sheet.name, self.row, self.reading.to_json(), len(self.files)),
            lambda: _alike(self),
        )

    def begin_at(self, sheet: Sheet, row: int, rows: RowKind | None, head_rows: int) -> None:
        """Guess anew, where the heads stand elsewhere or the rows are something else."""
        studio = Studio.of(page_data.store().cursor())
        begun = guess_at(self.book, studio, sheet, row, rows=rows, head_rows=head_rows)
        self.take_up(begun.sheet, begun.row, begun.reading)

    def take_up(self, sheet: Sheet, row: int, reading: Reading) -> None:
        """Go on from a reading, with fields drawn afresh."""
        self.sheet, self.row, self.reading = sheet, row, reading
        self.offered_rules = reading.left_out
        self.turn += 1


def _alike(table: WaitingTable) -> list[tuple[Sheet, int]]:
    heads = memory.signature(table.book, table.sheet, table.row, table.reading)
    sheets = [item for file in table.files for item in memory.sheets_with(file.book, heads, table.reading)]
    return sheets or [(table.sheet, table.row)]


def waiting() -> list[WaitingTable]:
    tables: list[WaitingTable] = st.session_state.setdefault(_WAITING, [])
    return tables


def leave(table: WaitingTable) -> None:
    """It waits no more; with the last, what was chosen is put away too, but for our own forms."""
    st.session_state[_WAITING] = [other for other in waiting() if other.number != table.number]
    turn: int = st.session_state["files turn"]
    if not waiting() and not without_tables(st.session_state.get(f"files {turn}") or []):
        st.session_state["files turn"] = turn + 1


def take(files: Sequence[UploadedFile]) -> None:
    """Look over the files that were just chosen: tables wait from now on; what cannot be read is said."""
    looked_at: dict[str, str | bool] = st.session_state.setdefault(_LOOKED_AT, {})
    for file in files:
        if file.file_id not in looked_at:
            with st.spinner("Looking at the file …"):
                looked_at[file.file_id] = _look_at(Path(file.name).name, file.getvalue())
        if isinstance(error := looked_at[file.file_id], str):
            layout.refuse(error)


def without_tables(files: Sequence[UploadedFile]) -> list[UploadedFile]:
    """Those of the files that hold our own forms."""
    looked_at = st.session_state.get(_LOOKED_AT, {})
    return [file for file in files if looked_at.get(file.file_id) is True]


def _look_at(name: str, content: bytes) -> str | bool:
    """True of our own forms, false of a table, and of what cannot be read why."""
    with tempfile.TemporaryDirectory(prefix="bench-hours-") as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        try:
            arrival = look_over(page_data.store(), path, utc_now())
        except BenchHoursError as error:
            return str(error)
    if arrival is None:
        return True
    _add(TableFile(name, content, arrival.book), arrival)
    return False


def _add(file: TableFile, arrival: Arrival) -> None:
    table = _begin(file, arrival)
    heads = memory.signature(file.book, table.sheet, table.row, table.reading)
    for other in waiting():
        of_other = memory.signature(other.book, other.sheet, other.row, other.reading)
        if of_other == heads and other.stage == table.stage and not table.begun:
            other.files.append(file)
            return
    waiting().append(table)


def _begin(file: TableFile, arrival: Arrival) -> WaitingTable:
    number = next_number()
    begun, draft_heads = None, ""
    if arrival.begun:
        begun, draft_heads = arrival.begun[0], arrival.begun[1].heads
    if known := arrival.known:
        con = page_data.store().cursor()
        return WaitingTable(
            number=number,
            files=[file],
            sheet=known.sheet,
            row=known.row,
            reading=known.reading,
            meanings=memory.read_meanings(con, known.table.heads),
            stage="known",
            remembered=known.table,
            begun=begun,
            draft_heads=draft_heads,
            offered_rules=known.reading.left_out,
        )
    first = guess(arrival.book, Studio.of(page_data.store().cursor()))
    return WaitingTable(
        number=number,
        files=[file],
        sheet=first.sheet,
        row=first.row,
        reading=first.reading,
        stage="begun" if begun else "open",
        begun=begun,
        draft_heads=draft_heads,
        not_ours=str(arrival.not_ours or ""),
        offered_rules=first.reading.left_out,
    )


def put_first(table: WaitingTable) -> None:
    """It waits from now on, before all others."""
    st.session_state[_WAITING] = [table, *waiting()]


def sheets_unread(table: WaitingTable) -> list[str]:
    """The other sheets of its first file of which nothing is known."""
    if len(table.book.sheets) < 2:
        return []
    tables = memory.read_tables(page_data.store().cursor())
    read = {item.sheet.name for item in memory.known_sheets(table.book, tables)}
    of_forms = {item.sheet.name for item in form_sheets(table.book)}
    return [sheet.name for sheet in table.book.sheets if sheet.name not in read | of_forms]


def next_number() -> int:
    number: int = st.session_state.get("tables so far", 0) + 1
    st.session_state["tables so far"] = number
    return number


def go_on(table: WaitingTable) -> None:
    """Take up what was half said."""
    begun = table.begun
    assert begun is not None
    sheet = next(sheet for sheet in table.book.sheets if sheet.name == begun.sheet)
    table.take_up(sheet, begun.row, begun.reading)
    table.meanings = {**table.meanings, **begun.meanings}
    table.draft, table.stage = begun.to_draft(), "open"


def keep(table: WaitingTable) -> None:
    """Keep what was said so far, where anything was said since the first guess."""
    draft = ReadingDraft(
        sheet=table.sheet.name, row=table.row, reading=table.reading, meanings=table.meanings
    ).to_draft()
    if table.draft is None:
        table.draft = draft  # the first guess is nobody's word
    if draft == table.draft:
        return
    heads = memory.signature(table.book, table.sheet, table.row, head_rows=table.reading.head_rows)
    store, by = page_data.store(), page_data.change("").by
    if table.draft_heads and table.draft_heads != heads:
        memory.forget_draft(store, table.draft_heads)
    memory.keep_draft(store, heads, draft, file=table.file_and_sheet, by=by)
    table.draft, table.draft_heads = draft, heads
