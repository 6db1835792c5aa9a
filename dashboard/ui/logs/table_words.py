"""What the texts of a table mean: each once, and chosen for all its rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import streamlit as st

from dashboard import queries
from dashboard.formatting import counted
from dashboard.text.foreign_tables import COLUMNS
from dashboard.ui import layout, page_data
from dashboard.ui.logs.likely_choices import begins, likely_of, match_in_words
from dashboard.ui.logs.waiting_tables import WaitingTable
from dashboard.ui.logs.word_choices import AT_ONCE, Chooser, codes_of_new, is_spoken_of, meaning_of
from ingest.foreign import memory
from ingest.foreign.preview import words_in
from ingest.foreign.reading import missing
from ingest.foreign.words import Studio, Word, a_new_work
from ingest.studio.spellings import KINDS, Kind, Spelling
from ingest.values.spelling import folded

_SPELLED: Mapping[Kind, str] = {"technique": "techniques", "person": "people", "phase": "phases"}


def words_of(table: WaitingTable) -> list[Word]:
    """The texts of a table, those that nobody knows first, as they were before anything was said of them."""
    if missing(table.reading):
        return []
    return table.once(
        "words",
        (table.sheet.name, table.row, table.reading.to_json(), len(table.files), page_data.store().changes()),
        lambda: words_in(
            page_data.store().cursor(),
            table.sheets(),
            table.reading,
            {},
            table_heads=memory.signature(table.book, table.sheet, table.row, table.reading),
        ),
    )


def is_open(table: WaitingTable, word: Word) -> bool:
    """It is still to say what it means: its rows would be rejected, or a choice is not made to its end."""
    return meaning_of(table, word) is None and (word.known is None or is_spoken_of(table, word))


def may_be_a_phase(table: WaitingTable, word: Word) -> bool:
    """Nothing was said of it, so that it is read as a technique, and the others of its column are phases."""
    return word.either and meaning_of(table, word) is None and not word.likely[0].meaning.values["technique"]


def show(table: WaitingTable) -> None:
    words = words_of(table)
    if not words:
        layout.say("The texts of works, phases, techniques and people are asked about here, each once.")
        return
    _take_the_likelier(table, words)
    head = st.container()  # filled in last: it counts what is said below
    unsaid = [word for word in words if is_open(table, word)]
    chooser = Chooser(table)
    to_say = [word for word in words if word.known is None or word.either or is_spoken_of(table, word)]
    only_open = len(to_say) > AT_ONCE and st.checkbox("Only those not said yet", key=table.key("only open"))
    chooser.show_some(unsaid if only_open else to_say, "to say")
    known = [word for word in words if word.known and word not in to_say]
    if known:
        with st.expander(
            f"Known by the studio: {counted(len(known), 'text')}", key=table.key("known"), on_change="rerun"
        ) as opened:
            if opened.open:
                chooser.show_some(known, "known")
    with head:
        _show_head(table, words)
    _as_spellings(table)
    if undone := [f"{item.written} ({item.name})" for item in spellings_undone(table)]:
        layout.say(
            f"Brought in so, {counted(len(undone), 'spelling')} of the studio that came with a table"
            f" {'is' if len(undone) == 1 else 'are'} undone: {', '.join(undone)}."
        )


def _take_the_likelier(table: WaitingTable, words: Sequence[Word]) -> None:
    """A text that is the name both of a phase and of a technique means what is likelier in its column, in
    sight, until something else is chosen; in a table that is known already, what it meant before.
    """
    if table.remembered is not None:
        return
    for word in words:
        key = (word.column, folded(word.text))
        if word.either and key not in table.meanings and key not in table.choices:
            table.meanings[key] = word.likely[0].meaning


def half_chosen(table: WaitingTable) -> set[tuple[str, str]]:
    """The texts that the studio knows and of which something else was chosen, and not yet which word it is:
    by our column and the text, folded.
    """
    return {
        (word.column, folded(word.text)) for word in words_of(table) if word.known and is_open(table, word)
    }


def spellings_undone(table: WaitingTable) -> list[Spelling]:
    """The spellings that came with a table and of which the texts are said otherwise now."""
    con, changes = page_data.store().cursor(), page_data.store().changes()
    studio = table.once("studio", changes, lambda: Studio.of(con))
    came_with_tables = table.once(
        "spellings",
        changes,
        lambda: {
            (kind, folded(text)) for kind in KINDS for text in queries.spelling_origins(con, kind)["written"]
        },
    )
    return [
        Spelling(kind=kind, name=studio.in_own_words(word.known).values[kind], written=word.text)
        for word in words_of(table)
        for kind in KINDS
        if kind == word.column
        and word.known
        and (kind, folded(word.text)) in came_with_tables
        and (word_meaning := meaning_of(table, word))
        and studio.in_own_words(word_meaning) != studio.in_own_words(word.known)
    ]


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
    _all_new_works(table, unsaid)


def _likeliest(table: WaitingTable, unsaid: Sequence[Word]) -> None:
    """All the likeliest matches in one press, shown before they count."""
    matched = [(word, next(iter(likely.values()))) for word in unsaid if (likely := likely_of(table, word))]
    titles = page_data.titles(page_data.works(page_data.today()))
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
        [
            [
                f"{word.text} ({COLUMNS[word.column]})",
                f"{word.rows:,}",
                match_in_words(table, word, match, titles),
            ]
            for word, match in matched
        ],
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


def _all_new_works(table: WaitingTable, unsaid: Sequence[Word]) -> None:
    """All works that are not known as new ones in one press, shown before they count."""
    words, others = _surely_new(table, [word for word in unsaid if word.column == "object"])
    if not words:
        table.shows_new_works = False
        return
    if not table.shows_new_works:
        if st.button("All of these are new works …", key=table.key("new works")):
            table.shows_new_works = True
            st.rerun()
        return
    works = [(word, code, word.text) for word, code in zip(words, codes_of_new(table, words), strict=True)]
    layout.table(
        "New works",
        ["text", "rows", "would be the new work"],
        [[word.text, f"{word.rows:,}", f"{code} {title}"] for word, code, title in works],
        words=(0, 2),
    )
    if others:
        layout.say(
            f"Not among them, as {'it' if len(others) == 1 else 'each'} may be a work that is known, or"
            f" another of these: {', '.join(word.text for word in others)}."
        )
    with st.container(horizontal=True):
        taken = st.button(
            f"Take these {len(works)} as new works", type="primary", key=table.key("take new works")
        )
        left = st.button("Take none as a new work", key=table.key("no new works"))
    if taken:
        table.meanings |= {
            ("object", folded(word.text)): a_new_work(code, title) for word, code, title in works
        }
        table.turn += 1
    if taken or left:
        table.shows_new_works = False
        st.rerun()


def _surely_new(table: WaitingTable, words: Sequence[Word]) -> tuple[list[Word], list[Word]]:
    """The texts of works that are like nothing known, and those that have a likely match or begin another of
    these texts.
    """
    in_order = sorted({folded(word.text) for word in words})
    begin_others = {text for text, after in pairwise(in_order) if begins(text, after)}
    others = [word for word in words if likely_of(table, word) or folded(word.text) in begin_others]
    return [word for word in words if word not in others], others


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
