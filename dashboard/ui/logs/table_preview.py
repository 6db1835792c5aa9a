"""What would become of the rows of a table, through the one check."""

from __future__ import annotations

import json
from collections.abc import Sequence

import pandas as pd
import streamlit as st

from dashboard.formatting import counted, plain
from dashboard.text.foreign_tables import COLUMNS, OUTCOMES, STATUSES, place_word, rule
from dashboard.ui import layout, page_data
from dashboard.ui.logs import table_columns, table_words
from dashboard.ui.logs.waiting_tables import WaitingTable
from ingest.foreign import memory
from ingest.foreign.convert import NOT_SAID
from ingest.foreign.preview import Preview, preview
from ingest.foreign.reading import ReadingError, missing
from ingest.foreign.sheets import heads
from ingest.foreign.waiting_rows import KEPT_OUT_BY_OTHERS
from ingest.importing.csv_file import distinct_names
from ingest.importing.estimates import VERSION_HAS_FAULT
from ingest.values.line_names import line_name
from ingest.values.spelling import folded

_ROWS = 12
_MORE = 25
_LONGEST = 60  # characters of a cell that are shown


def show(table: WaitingTable) -> bool:
    """How many rows would become what, in sight beside what is being said, and below the rows of each, with
    what is wrong; false where too little was said to read any.
    """
    st.subheader("4. What becomes of its rows")
    with st.container(key="counts"):
        result = _result(table)
        if result is not None:
            layout.say(_counts(table, result))
    if result is None:
        return False
    _show_rows(table, result)
    return True


def _result(table: WaitingTable) -> Preview | None:
    """What would become of the rows; None, and what is lacking said, where too little was said."""
    if lacking := missing(table.reading):
        empty = [table_columns.of_all_rows(name) for name in lacking if name in table.fixed_unsaid]
        others = [COLUMNS[name] for name in lacking if name not in table.fixed_unsaid]
        layout.say(
            f"Still to fill in: {'; '.join(empty)}." if empty else "",
            f"Still to say: {_listed(others)}. Choose a column, or what it is for all rows."
            if others
            else "",
        )
        return None
    half_chosen = table_words.half_chosen(table)
    try:
        return table.once(
            "preview",
            (
                table.sheet.name,
                table.row,
                table.reading.to_json(),
                repr(table.meanings),
                *(sorted(half_chosen), page_data.store().changes()),
            ),
            lambda: preview(
                page_data.store(),
                table.book,
                table.sheet,
                table.row,
                table.reading,
                table.meanings,
                table_heads=memory.signature(table.book, table.sheet, table.row, table.reading),
                half_chosen=half_chosen,
            ),
        )
    except ReadingError as error:
        st.warning(plain(str(error)))
        return None


def _listed(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else words[0]


def _show_rows(table: WaitingTable, result: Preview) -> None:
    outcomes = [outcome for outcome in OUTCOMES if result.counts[outcome]]
    outcome = ""
    if len(outcomes) > 1:
        outcome = (
            st.radio(
                "Rows that are shown",
                ["", *outcomes],
                format_func=lambda item: OUTCOMES[item].capitalize() if item else "All",
                horizontal=True,
                key=table.key("outcome"),
            )
            or ""
        )
    rows = _chosen_rows(table, result, outcome)
    if rows.empty:
        return
    shown = table.words_shown.setdefault(f"rows {outcome}", _ROWS)
    _show_table(table, rows.head(shown))
    if len(rows) > shown and st.button(
        f"Show {min(_MORE, len(rows) - shown)} more rows", key=table.key("more rows")
    ):
        table.words_shown[f"rows {outcome}"] = shown + _MORE
        st.rerun()


def _counts(table: WaitingTable, result: Preview) -> str:
    looked_at = sum(result.counts.values())
    rows = (
        f"{looked_at:,} of {result.all_rows:,} rows"
        if looked_at < result.all_rows
        else counted(looked_at, "row")
    )
    counts = ", ".join(f"{count:,} {OUTCOMES[outcome]}" for outcome, count in result.counts.items() if count)
    files, sheets = len(table.files), len(table.sheets())
    alike = (
        f" Of {counted(sheets, 'sheet')} of {counted(files, 'file')} read alike this is the first; Only check"
        " counts all."
        if sheets > 1
        else ""
    )
    return f"{rows}: {counts}. Nothing is brought in yet.{alike}" if counts else "No row to bring in."


def _chosen_rows(table: WaitingTable, result: Preview, outcome: str) -> pd.DataFrame:
    """The rows of an outcome, or all, in the order of the file, as people read them: `line`, `status`, `why`
    and the columns; of rows that are left out, what is `written` there.
    """
    rows = result.rows[result.rows["outcome"] == outcome] if outcome else result.rows
    rows = rows if table.reading.rows == "objects" else _with_lines_named(rows)
    status = rows["status"].map(STATUSES).mask(rows["outcome"] == "asked about", OUTCOMES["asked about"])
    frame = rows.assign(status=status, why=_why(table, result, rows)).drop(
        columns=["outcome", "asks", "reason", "mend"]
    )
    if outcome in ("", "left out") and len(result.left_out):
        left_out = result.left_out.assign(
            status=OUTCOMES["left out"],
            why=[
                _why_left_out(table, rule_place, words)
                for rule_place, words in zip(result.left_out["rule"], result.left_out["asks"], strict=True)
            ],
        ).drop(columns=["rule", "asks"])
        frame = pd.concat([frame, left_out]).sort_values("line", kind="stable", ignore_index=True)
    return frame.fillna("")


def _show_table(table: WaitingTable, frame: pd.DataFrame) -> None:
    names = {"why": "why", "written": "as it is written", **COLUMNS}
    columns = [
        name
        for name in ("why", *(name for name in frame.columns if name not in ("line", "status", "why")))
        if name in frame and (frame[name] != "").any()
    ]
    rows = [
        [
            f"{row['line']}",
            row["status"],
            *(row[name] if name == "why" else row[name][:_LONGEST] for name in columns),
        ]
        for row in frame.to_dict("records")
    ]
    shown_heads = [place_word(table.book.path.name), "status", *(names[name] for name in columns)]
    layout.table("What becomes of the rows", shown_heads, rows, words=range(1, len(shown_heads)))


def _with_lines_named(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows with the usual phase of a technique, and a name for a phase or work as a whole."""
    words = page_data.vocabulary()
    frame = rows.assign(**{name: "" for name in ("phase", "technique") if name not in rows})
    names = frame["technique"].map(lambda text: words.technique_spellings.get(folded(text), ""))
    usual = names.map(lambda name: words.techniques[name].phase if name else "")
    whole = frame["phase"].map(lambda phase: line_name(phase, ""))
    return frame.assign(
        phase=frame["phase"].where(frame["phase"] != "", usual),
        technique=frame["technique"].where(frame["technique"] != "", whole),
    )


def _why(table: WaitingTable, result: Preview, rows: pd.DataFrame) -> list[str]:
    """By row, which words are asked about, and what is wrong with its cells, with the mend."""
    faults, problems = result.checked.faults, result.checked.problems
    others: dict[int, list[str]] = {}
    waiting = set(result.rows.index[result.rows["outcome"] == "asked about"])
    for row, column, code, details, reason, mend in zip(
        *(faults[name] for name in ("row", "column", "code", "details")),
        *(problems[name] for name in ("reason", "mend")),
        strict=True,
    ):
        if code in KEPT_OUT_BY_OTHERS and row in waiting:
            place = f"{place_word(table.book.path.name)} {json.loads(details)['line']}"
            others.setdefault(row, []).append(f"its version waits for the words of {place}.")
        elif code == VERSION_HAS_FAULT:  # with the mend it stands beside the faulty row
            others.setdefault(row, []).append(f"version {reason}.")
        elif code != NOT_SAID:
            name = COLUMNS.get(column, column)
            others.setdefault(row, []).append(" ".join(filter(None, (f"{name}: {reason}.", mend))))
    return [
        " ".join([*([f"Still to say, under Words: {_words(asks)}."] if asks else []), *others.get(row, [])])
        for row, asks in zip(rows.index, rows["asks"], strict=True)
    ]


def _why_left_out(table: WaitingTable, rule_place: int, words: Sequence[tuple[str, str]]) -> str:
    if words:
        return f"{_words(words)}: its rows are left out"
    if rule_place < 0:
        return "left out by its day"
    written = heads(table.sheet, table.row, table.reading.head_rows)
    by_name = dict(zip(distinct_names(written), written, strict=True))
    return rule(table.reading.left_out[rule_place], by_name)


def _words(words: Sequence[tuple[str, str]]) -> str:
    return _listed([f'{COLUMNS[column]} "{text}"' for column, text in words])
