"""Tables in other words than ours: said once what they mean, then brought in; and what was said before."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import streamlit as st

from dashboard.formatting import counted, day, label, plain
from dashboard.text.foreign_tables import ROW_KINDS
from dashboard.ui import layout, page_data
from dashboard.ui.logs import (
    importing,
    table_columns,
    table_preview,
    table_rows,
    table_sheets,
    table_twice,
    table_words,
    waiting_tables,
)
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign import memory
from ingest.foreign.memory import Remembered, Unsaved
from ingest.foreign.reading import missing
from ingest.foreign.words import Meaning, Studio
from ingest.importing.rows import SaidOtherwiseAs
from ingest.studio import spellings
from ingest.studio.spellings import KINDS, Spelling
from ingest.values.spelling import folded


def show() -> None:
    """The table that is spoken of now; the others wait."""
    tables = waiting_tables.waiting()
    if not tables:
        return
    table = tables[0]
    if len(tables) > 1:
        names = {item.number: item for item in tables}
        number = st.selectbox(
            f"{len(tables)} tables wait, one after the other",
            list(names),
            format_func=_names_apart(tables).__getitem__,
            key=f"table now {table.number}",
        )
        table = names.get(number or table.number, table)
    st.header(plain(table.name))
    {"known": _show_known, "begun": _show_begun, "open": _show_open}[table.stage](table)


def _names_apart(tables: Sequence[WaitingTable]) -> dict[int, str]:
    """By their numbers, names of which no two are alike: a choice is known by what it is called."""
    times = Counter(table.name for table in tables)
    with_sheets = {
        table.number: f"{table.name}, sheet {table.sheet.name}"
        if times[table.name] > 1 and table.sheet.name
        else table.name
        for table in tables
    }
    times = Counter(with_sheets.values())
    return {
        number: f"{name} ({place})" if times[name] > 1 else name
        for place, (number, name) in enumerate(with_sheets.items(), 1)
    }


def _show_known(table: WaitingTable) -> None:
    known = table.remembered
    assert known is not None
    words = table_words.words_of(table)
    unsaid = [word for word in words if table_words.is_open(table, word)]
    either = [word.text for word in words if table_words.may_be_a_phase(table, word)]
    layout.say(
        f"Read as {known.file} was, {_said_when(known)}.",
        f"{counted(len(unsaid), 'text')} of works, techniques or people"
        f" {'is' if len(unsaid) == 1 else 'are'} new in it: rows with them are rejected until it is said what"
        " they mean."
        if unsaid
        else "",
        f"Each the name of a phase and of a technique, and read as the technique: {', '.join(either)}. Look"
        " at how it is read to say otherwise."
        if either
        else "",
    )
    twice = table_twice.found_twice(table)
    become = table_twice.ask(table, twice) if twice else None
    with st.container(horizontal=True):
        again = not twice and st.button("Bring in as last time", type="primary", key=table.key("again"))
        if st.button("Look at how it is read", key=table.key("look")):
            table.stage = "open"
            st.rerun()
        go_on = table.begun and st.button("Go on where you stopped", key=table.key("go on"))
        check = _check_button(table)
        for name in waiting_tables.sheets_unread(table):
            if st.button(label(f"Say what {name} holds"), key=table.key(f"sheet {name}")):
                table_sheets.open_sheet(table.files[0], name)
                st.rerun()
        _leave_button(table)
    if go_on:
        waiting_tables.go_on(table)
        st.rerun()
    if check:
        _only_check(table)
    if again or become:
        _import(table, said_otherwise_as=become or "ask")


def _show_begun(table: WaitingTable) -> None:
    layout.say("What its columns mean was said in part. Nothing of it is brought in yet.")
    with st.container(horizontal=True):
        if st.button("Go on where you stopped", type="primary", key=table.key("go on")):
            waiting_tables.go_on(table)
            st.rerun()
        if st.button("Begin anew", key=table.key("anew")):
            memory.forget_draft(page_data.store(), table.draft_heads)
            table.begun, table.draft_heads, table.stage = None, "", "open"
            st.rerun()
        _leave_button(table)


def _show_open(table: WaitingTable) -> None:
    if table.remembered is None:
        layout.say(
            "What is filled in here is a first guess. Nothing is brought in until you press Bring in, and"
            " what you say is kept as you say it.",
            f"It is none of our forms: {table.not_ours}" if table.not_ours else "",
        )
    with st.container():
        st.subheader("1. What a row is")
        table_rows.show(table)
        st.subheader("2. Which column is which")
        table_columns.show(table)
        st.subheader("3. Words")
        table_words.show(table)
        waiting_tables.keep(table)
        twice = table_twice.found_twice(table)
        become = table_twice.ask(table, twice) if twice else None
        with st.container(horizontal=True):
            cannot = bool(missing(table.reading)) or bool(table_words.half_chosen(table))
            bring = not twice and st.button(
                plain(f"Bring in {table.name}"), type="primary", disabled=cannot, key=table.key("bring")
            )
            check = _check_button(table, disabled=cannot)
            _leave_button(table)
        readable = table_preview.show(table)
        if readable and check:
            _only_check(table)
        if readable and (bring or become):
            _bring_in(table, become or "ask")


def _check_button(table: WaitingTable, *, disabled: bool = False) -> bool:
    return st.button(
        plain(f"Only check {table.name}"),
        disabled=disabled,
        key=table.key("check"),
        help="Reads it in the same way and stores nothing",
    )


def _only_check(table: WaitingTable) -> None:
    """What would become of each row by what is said now; nothing is kept of it."""
    heads = memory.signature(table.book, table.sheet, table.row, table.reading)
    importing.bring_in(
        [(file.name, file.content) for file in table.files],
        stored=False,
        unsaved=Unsaved(heads=heads, reading=table.reading, meanings=table.meanings),
    )
    layout.done(
        f"{table.name} was only checked: nothing of it is brought in. What would become of each row stands"
        " below."
    )


def _leave_button(table: WaitingTable) -> None:
    if st.button("Not now", key=table.key("leave"), help="The table is put away; what was said stays"):
        waiting_tables.leave(table)
        st.rerun()


def _bring_in(table: WaitingTable, said_otherwise_as: SaidOtherwiseAs) -> None:
    """Keep what was said, then import by it."""
    store, change = page_data.store(), page_data.change("brought in under Bring in logs")
    words, undone = table_words.words_of(table), table_words.spellings_undone(table)
    written = {(word.column, folded(word.text)): word.text for word in words}
    meanings = {
        (column, written[column, text]): meaning
        for (column, text), meaning in table.meanings.items()
        if (column, text) in written
    }
    heads = memory.signature(table.book, table.sheet, table.row, table.reading)
    studio, before = Studio.of(store.cursor()), memory.read_meanings(store.cursor(), heads)
    unsaid = {(word.column, word.text): studio.in_own_words(word.known) for word in words if word.known}
    # as the studio spells it again, where something else was said before
    meanings |= {
        (column, text): meaning
        for (column, text), meaning in unsaid.items()
        if (column, folded(text)) in before and (column, text) not in meanings
    }
    memory.remember(
        store,
        heads,
        table.reading,
        meanings,
        file=table.file_and_sheet,
        by=change.by,
        replacing=table.draft_heads or None,
        unsaid=unsaid,
    )
    _import(table, meanings, undone, said_otherwise_as)


def _import(
    table: WaitingTable,
    meanings: dict[tuple[str, str], Meaning] | None = None,
    undone: Sequence[Spelling] = (),
    said_otherwise_as: SaidOtherwiseAs = "ask",
) -> None:
    importing.bring_in(
        [(file.name, file.content) for file in table.files], stored=True, said_otherwise_as=said_otherwise_as
    )
    new_spellings = []
    if meanings:
        undo = page_data.change(f"said otherwise of {table.files[0].name}")
        with page_data.store().writing() as con:
            for spelling in undone:
                spellings.take_back(con, spelling.kind, spelling.written, undo)
            new_spellings = spellings.keep(
                con,
                _spellings(table, meanings),
                table.files[0].name,
                page_data.change(f"a spelling in {table.files[0].name}"),
            )
    waiting_tables.leave(table)
    layout.done(
        " ".join(
            filter(
                None,
                (
                    f"{table.name} was read; what became of each row stands below.",
                    f"{counted(len(new_spellings), 'text')} kept as other spellings, listed under Studio."
                    if new_spellings
                    else "",
                    f"{counted(len(undone), 'spelling')} undone:"
                    f" {', '.join(item.written for item in undone)}."
                    if undone
                    else "",
                ),
            )
        )
    )


def _spellings(table: WaitingTable, meanings: dict[tuple[str, str], Meaning]) -> list[Spelling]:
    """Texts that mean nothing but one word of their own column."""
    return [
        Spelling(kind=kind, name=meaning.values[kind], written=text)
        for (column, text), meaning in meanings.items()
        for kind in KINDS
        if kind == column
        and table.as_spellings[kind]
        and [*meaning.values] == [kind]
        and meaning.values[kind]
    ]


def show_remembered() -> None:
    """Tables of which was said how they are read, to be forgotten."""
    tables = memory.read_tables(page_data.store().cursor())
    if not tables:
        return
    half = [table for table in tables if table.draft is not None]
    if half and not waiting_tables.waiting():
        names = ", ".join(sorted({table.file for table in half}))
        layout.say(f"Half said: {names}. Choose the file again to go on where you stopped.")
    times = Counter(table.file for table in tables)
    with st.expander(f"Tables that are known: {len(tables)}"):
        for number, table in enumerate(tables):
            what = ROW_KINDS[table.reading.rows] if table.reading else "said in part"
            heads = ", ".join(memory.named_in(table.heads))
            layout.say(f"{table.file}: {what}, {_said_when(table)}. Heads: {heads}")
            # two sheets of one file, of which it was not kept yet which they are
            apart = f", with the heads {heads}," if times[table.file] > 1 else ""
            if st.button(
                plain(f"Forget how {table.file}{apart} is read"), key=f"forget {number} {table.heads}"
            ):
                memory.forget(page_data.store(), table.heads)
                layout.done(f"How {table.file} is read is forgotten; what came in by it stays.")


def _said_when(table: Remembered) -> str:
    by = "the principal" if table.by == "principal" else table.by
    return f"as said on {day(table.at)}{f' by {by}' if by else ''}"
