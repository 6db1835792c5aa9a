"""What the texts of a table mean: each once, and chosen for all its rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

from dashboard.formatting import counted
from dashboard.text.foreign_tables import COLUMNS
from dashboard.ui import layout, page_data
from dashboard.ui.logs.waiting_tables import WaitingTable
from dashboard.ui.logs.word_choices import AT_ONCE, Chooser, meaning_of
from ingest.foreign.preview import words_in
from ingest.foreign.reading import missing
from ingest.foreign.words import Word
from ingest.studio.spellings import Kind
from ingest.values.parsing import folded

_SPELLED: Mapping[Kind, str] = {"technique": "techniques", "person": "people", "phase": "phases"}


def words_of(table: WaitingTable) -> list[Word]:
    """The texts of a table, those that nobody knows first, as they were before anything was said of them."""
    if missing(table.reading):
        return []
    return table.once(
        "words",
        (table.sheet.name, table.row, table.reading.to_json(), len(table.files), page_data.store().changes()),
        lambda: words_in(page_data.store().cursor(), table.sheets(), table.reading, {}),
    )


def is_open(table: WaitingTable, word: Word) -> bool:
    """Its rows would be rejected."""
    return word.known is None and meaning_of(table, word) is None


def show(table: WaitingTable) -> None:
    words = words_of(table)
    if not words:
        layout.say("The texts of works, phases, techniques and people are asked about here, each once.")
        return
    head = st.container()  # filled in last: it counts what is said below
    unsaid = [word for word in words if is_open(table, word)]
    chooser = Chooser(table)
    to_say = [word for word in words if word.known is None or meaning_of(table, word)]
    only_open = len(to_say) > AT_ONCE and st.checkbox("Only those not said yet", key=table.key("only open"))
    chooser.show_some(unsaid if only_open else to_say, "to say")
    known = [word for word in words if word.known and not meaning_of(table, word)]
    if known:
        with st.expander(
            f"Known by the studio: {counted(len(known), 'text')}", key=table.key("known"), on_change="rerun"
        ) as opened:
            if opened.open:
                chooser.show_some(known, "known")
    with head:
        _show_head(table, words)
    _as_spellings(table)


def _show_head(table: WaitingTable, words: Sequence[Word]) -> None:
    """How many texts are still to say, and the likeliest matches of these."""
    unsaid = [word for word in words if is_open(table, word)]
    count = counted(len(unsaid), "text")
    layout.say(
        f"{count} of {len(words):,} still to say. What is said of a text holds for all its rows, and for the"
        " next file of this form."
        if unsaid
        else f"All {len(words):,} texts are said or known."
    )
    _likeliest(table, unsaid)


def _likeliest(table: WaitingTable, unsaid: Sequence[Word]) -> None:
    """All the likeliest matches in one press, shown before they count."""
    matched = [(word, word.likely[0]) for word in unsaid if word.likely]
    if not matched:
        table.shows_likeliest = False
        return
    if not table.shows_likeliest:
        if st.button("Take all the likeliest …", key=table.key("likeliest")):
            table.shows_likeliest = True
            st.rerun()
        return
    layout.table(
        "The likeliest matches",
        ["text", "rows", "would mean"],
        [[f"{word.text} ({COLUMNS[word.column]})", f"{word.rows:,}", match.shown] for word, match in matched],
        words=(0, 2),
    )
    with st.container(horizontal=True):
        taken = st.button(f"Take these {len(matched)}", type="primary", key=table.key("take likeliest"))
        left = st.button("Take none of them", key=table.key("no likeliest"))
    if taken:
        table.meanings |= {(word.column, folded(word.text)): match.meaning for word, match in matched}
        table.turn += 1
    if taken or left:
        table.shows_likeliest = False
        st.rerun()


def _as_spellings(table: WaitingTable) -> None:
    columns = {column for column, _ in table.meanings} & _SPELLED.keys()
    if not columns:
        return
    layout.say(
        "What was said can also be kept as other spellings, understood wherever the studio reads them:"
    )
    with st.container(horizontal=True):
        for kind, words in _SPELLED.items():
            if kind in columns:
                table.as_spellings[kind] = st.checkbox(
                    f"Keep as spellings of {words}", table.as_spellings[kind], key=table.key(f"keep {kind}")
                )
