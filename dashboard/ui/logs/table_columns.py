"""Which column of a table is which."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import streamlit as st

from dashboard import queries
from dashboard.formatting import label
from dashboard.text.foreign_tables import COLUMNS
from dashboard.ui import fields, layout, page_data
from dashboard.ui.logs import table_notation
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign.long_rows import wide_columns
from ingest.foreign.reading import FROM_TO, Reading, RowKind, Source
from ingest.foreign.sheets import heads
from ingest.importing.csv_file import distinct_names
from ingest.schema.csv_columns import CHARGES, CONDITIONS, MODES, SHAPES, UNITS

_MAIN: Mapping[RowKind, tuple[str, ...]] = {
    "time entries": (*("date", "object", "phase", "technique", "person", "hours", "note"),),
    "estimates": (
        *("object", "version", "made_on", "approved_on", "phase", "technique", "hours"),
        *("price", "currency", "tax_in_price", "note"),
    ),
    "objects": ("object", "title", "maker", "owner", "height_cm", "width_cm", "received_on", "note"),
}
_WIDE: Mapping[RowKind, tuple[str, ...]] = {
    "time entries": ("date", "weekday", "person", "object", "phase", "technique"),
    "estimates": ("object", "phase", "technique"),
    "objects": (),
}
_IN_THE_CELLS = ("hours", "started_at", "ended_at", FROM_TO)
_OF_WORDS = {
    "mode": MODES,
    "charge": CHARGES,
    "unit": UNITS,
    "shape": SHAPES,
    "structure_condition": CONDITIONS,
    "discovery": ("yes", "no"),
    "tax_in_price": ("yes", "no"),
}
_EXAMPLE = 28  # characters of a text that are shown


class Columns:
    """The columns of a table by name: their heads as written, and two texts of each."""

    def __init__(self, table: WaitingTable) -> None:
        written = heads(table.sheet, table.row, table.reading.head_rows)
        self.names = distinct_names(written)
        cells = table.sheet.cells.iloc[table.row + table.reading.head_rows :].set_axis(self.names, axis=1)
        self.examples = {
            name: [text[:_EXAMPLE] for text in cells[name][cells[name] != ""].head(500).unique()[:2]]
            for name in self.names
        }
        self.heads = {
            name: text or f"column {place}"
            for place, (name, text) in enumerate(zip(self.names, written, strict=True), 1)
        }
        self.filled = [
            name for name, text in zip(self.names, written, strict=True) if text or self.examples[name]
        ]
        self.written = written

    def worded(self, name: str) -> str:
        return ": ".join(filter(None, (self.heads[name], " / ".join(self.examples[name]))))


def show(table: WaitingTable) -> None:
    """Which column is which, how days and hours are written, and which rows are none: from then on the
    reading is as it is chosen here.
    """
    columns = Columns(table)
    reading = table.reading
    place = st.container()  # filled in last: it says how each column is read
    wide_of = _wide_of(table)
    wide_names = _wide_names(table, columns, wide_of) if wide_of else []
    sources = _sources(table, columns, wide_of, wide_names)
    if reading.rows == "estimates" and "approved_on" not in sources:
        layout.say("A version with no day on which it was approved is not approved, and the pages say so.")
    named = {source.text for source in sources.values() if source.origin == "column"}
    new_reading = replace(
        reading,
        sheets=_sheets(table),
        columns=sources,
        wide_of=wide_of,
        not_read=tuple(
            name for name in columns.names if name in columns.filled and name not in {*named, *wide_names}
        ),
        filled_down=tuple(name for name in reading.filled_down if name in named),
    )
    new_reading = table_notation.how_written(table, new_reading)
    table.reading = table_notation.left_out(table, new_reading, columns.filled, columns.heads)
    with place:
        layout.table(
            "Columns of the table",
            ["head", "for example", "read as"],
            [
                [
                    columns.heads[name],
                    " / ".join(columns.examples[name]),
                    _read_as(table.reading, name, columns),
                ]
                for name in columns.filled
            ],
            words=range(3),
        )


def _sheets(table: WaitingTable) -> tuple[str, ...]:
    """The sheets that are read; none: each that has these heads."""
    name = table.sheet.name
    if len(table.book.sheets) == 1:
        return table.reading.sheets
    only = st.checkbox(
        label(f"Only sheets called {name}, not others with these heads"),
        bool(table.reading.sheets),
        key=table.key("only sheet"),
    )
    return (name,) if only else ()


def _read_as(reading: Reading, name: str, columns: Columns) -> str:
    uses = [
        COLUMNS[column]
        for column, source in reading.columns.items()
        if source.origin == "column" and source.text == name
    ]
    if uses:
        return ", ".join(uses)
    if reading.wide_of and columns.names.index(name) in wide_columns(columns.written, reading):
        return f"hours of one {COLUMNS[reading.wide_of]}"
    return "not read"


def _wide_of(table: WaitingTable) -> str | None:
    choices = _WIDE[table.reading.rows]
    if not choices:
        return None
    options = ["", *choices]
    chosen = st.selectbox(
        "A column for each",
        options,
        index=options.index(table.reading.wide_of or ""),
        format_func=lambda name: COLUMNS.get(name, "none: a row says all of itself"),
        key=table.key("wide"),
        help="Where each day, person or work has a column of its own, with hours in it",
    )
    return chosen or None


def _wide_names(table: WaitingTable, columns: Columns, wide_of: str) -> list[str]:
    reading = table.reading
    now = (
        [columns.names[place] for place in wide_columns(columns.written, reading)]
        if reading.wide_of == wide_of
        else []
    )
    return st.multiselect(
        "Columns with the hours",
        columns.filled,
        default=[name for name in now if name in columns.filled],
        format_func=columns.heads.__getitem__,
        key=table.key(f"wide columns {wide_of}"),
    )


def _sources(
    table: WaitingTable, columns: Columns, wide_of: str | None, wide_names: Sequence[str]
) -> dict[str, Source]:
    reading = table.reading
    main = _MAIN[reading.rows]
    first = [name for name in main if not wide_of or name not in (wide_of, *_IN_THE_CELLS)]
    times = ["started_at", "ended_at", FROM_TO] if reading.rows == "time entries" else []
    others = [*times, *(name for name in reading.form.names if name not in (*main, *times))]
    further = [name for name in others if not wide_of or name not in (wide_of, *_IN_THE_CELLS)]
    used = [*first, *(name for name in further if name in reading.columns)]
    sources = _side_by_side(table, columns, used, wide_names)
    named = ", ".join(COLUMNS[name] for name in further[:4])
    with st.expander(f"Further columns: {named} …", key=table.key("further"), on_change="rerun") as opened:
        if opened.open:
            unused = [name for name in further if name not in reading.columns]
            sources |= _side_by_side(table, columns, unused, wide_names)
    return sources


def _side_by_side(
    table: WaitingTable, columns: Columns, names: Sequence[str], wide_names: Sequence[str]
) -> dict[str, Source]:
    """Where the texts of these columns of ours come from; what is the same for all rows is asked below."""
    with st.container(horizontal=True):
        chosen = {name: _choose_source(table, columns, name, wide_names) for name in names}
    return {name: source for name in names if (source := _source(table, name, chosen[name]))}


def _choose_source(table: WaitingTable, columns: Columns, name: str, wide_names: Sequence[str]) -> str:
    now = table.reading.columns.get(name)
    options = ["", *(f"column {item}" for item in columns.filled if item not in wide_names), "fixed"]
    if table.sheet.name:
        options.append("sheet")
    if now and now.origin == "head":
        options.append("head")
    words = {
        "": "not in the table",
        "fixed": "the same for all rows …",
        "sheet": f"the name of the sheet: {table.sheet.name}",
        "head": "the head of each column",
    }
    before = "" if now is None else f"column {now.text}" if now.origin == "column" else now.origin
    return st.selectbox(
        COLUMNS[name].capitalize(),
        options,
        index=options.index(before) if before in options else 0,
        format_func=lambda option: words.get(option) or columns.worded(option.removeprefix("column ")),
        key=table.key(f"column {name}"),
        width=fields.SIDE_BY_SIDE,
    )


def _source(table: WaitingTable, name: str, chosen: str) -> Source | None:
    """What was chosen as the source of a column of ours, and what it is where it is the same for all rows."""
    now = table.reading.columns.get(name)
    table.fixed_unsaid.discard(name)
    if not chosen:
        return None
    if chosen == "fixed":
        text = _fixed(table, name, now.text if now and now.origin == "fixed" else "")
        if not text:
            table.fixed_unsaid.add(name)
        return Source(origin="fixed", text=text) if text else None
    if chosen == "sheet":
        return Source(origin="sheet")
    if chosen == "head":
        return Source(origin="head")
    return Source(origin="column", text=chosen.removeprefix("column "))


def of_all_rows(name: str) -> str:
    """What the field is called in which a column is said for all rows."""
    return f"{COLUMNS[name].capitalize()}, of all rows"


def _fixed(table: WaitingTable, name: str, text: str) -> str:
    """What a column is for all rows: in our own words where it must be one of them."""
    question, key = of_all_rows(name), table.key(f"fixed {name}")
    words = page_data.vocabulary()
    if name == "object":
        titles = page_data.titles(page_data.works(page_data.today()))
        chosen = st.selectbox(
            question,
            list(titles),
            index=list(titles).index(text) if text in titles else None,
            format_func=lambda code: f"{code}  {titles[code]}".strip(),
            key=key,
            placeholder="Type a code or part of a title",
        )
        return chosen or ""
    if name == "person":
        people = _people()
        if not text and len(people) == 1:
            text = people[0]
        options = people if not text or text in people else [*people, text]
        chosen = st.selectbox(
            question,
            options,
            index=options.index(text) if text else None,
            accept_new_options=True,
            key=key,
            placeholder="Choose a name, or type a new one",
        )
        return (chosen or "").strip()
    if name in ("phase", "technique"):
        return fields.choose(
            question,
            list(words.phases) if name == "phase" else fields.in_use(words),
            text,
            key,
            empty="choose",
        )
    if name in _OF_WORDS:
        return fields.choose(question, _OF_WORDS[name], text, key, empty="choose")
    return st.text_input(question, text, key=key).strip()


def _people() -> list[str]:
    return list(queries.people(page_data.store().cursor())["person"])
