"""Works from memory: the sheet on which they are told, and the list of those that were."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import counted, day, hours, money, plain
from dashboard.services import prices
from dashboard.text import html_blocks
from dashboard.text import prices as prices_text
from dashboard.text import remembered as remembered_text
from dashboard.ui import fields, layout, line_sheet, page_data
from ingest import autosave
from ingest.editing import remembered_sheet, remembered_works, struck_works
from ingest.editing.remembered_sheet import QUOTED, TAKEN, Sheet
from ingest.tables.audit_log import utc_now
from ingest.values.calendar_days import day_in_words

# a row that is added by typing loses its first cell, so more are there than are written at once
EMPTY_ROWS = 25
USUAL_PHASES = 4  # that have columns of their own to begin with
_NAME = "sheet from memory"
_WIDTHS = {"title": 180, "taken": 130, "quoted": 140, "when": 150, "price": 95, "size": 120, "kind": 140}
_WIDTHS |= {"structure_condition": 115, "paint_condition": 90, "surface_condition": 105}
_SIGN, _LETTER = 55, 8  # of the head of a column of a phase, in pixels


def show() -> None:
    if not page_data.is_principal():
        return
    con = page_data.store().cursor()
    sheet, works = remembered_sheet.read(con), queries.remembered_works(con)
    # a head that changed while somebody writes would draw the sheet anew
    with st.expander("Works from memory", key="from memory", on_change="rerun") as opened:
        if opened.open:
            _write(sheet or _new_sheet())
            _list(works)
            _put_back()
            return
    if waiting := len(sheet.filled) if sheet else 0:
        layout.say(f"Works from memory: {counted(waiting, 'row')} on the sheet not saved yet.")


def _new_sheet() -> Sheet:
    people = queries.people(page_data.store().cursor())
    most = people.sort_values("hours", ascending=False, kind="stable")["person"].tolist()
    return Sheet(person=most[0] if most else "", when=f"{page_data.today().year - 1}")


def _write(sheet: Sheet) -> None:
    layout.say(
        "Finished works of before, a row each: a title and the hours that it took are enough. They teach"
        " rates at once, with the doubt that remembering adds, are marked wherever they count, and can be"
        " struck out together. Hours quoted beside hours taken teach how far your figures are to be trusted;"
        " a price teaches what an hour earned, with hours quoted or without. Hours as you write them (41.5,"
        " 41:30); a size as 60x80 or 24 × 36 in; a kind in full once, then by its first letters;"
        " conditions from 0 to 3. Every cell is kept as soon as you leave it (Enter or Tab)."
    )
    turn = st.session_state.setdefault(f"turn of {_NAME}", 0)
    fresh = line_sheet.is_fresh(_NAME, turn)
    if fields.changed_elsewhere(autosave.FROM_MEMORY, sheet.kept_at, sheet.kept_by, fresh=fresh):
        st.warning(
            "This sheet was changed from another window. What you type here is not kept until you take it up"
            " again."
        )
        if st.button("Show it as it is now, and go on here"):
            _begin_anew()
        return
    before = sheet.as_kept | {"works": [dict(row) for row in sheet.works]}
    _head(sheet, turn)
    columns = {name: (remembered_text.head_of(name), width) for name, width in columns_of(sheet).items()}
    columns["price"] = f"price, {page_data.settings().currency}", columns["price"][1]
    sheet.works = line_sheet.edit(
        _NAME, sheet.works, columns, turn, "Works from memory, a row each", EMPTY_ROWS
    )
    if sheet.as_kept != before:
        sheet.kept_at = remembered_sheet.keep(page_data.store(), sheet, page_data.visit())
        if sheet.phases != before["phases"]:
            _begin_anew()
    if sheet.kept_at:
        kept_at = sheet.kept_at.replace(tzinfo=ZoneInfo("UTC"))
        at = kept_at.astimezone(ZoneInfo(page_data.settings().zone))
        layout.say(f"The sheet is kept as it was at {at:%H:%M:%S}. Its works count once they are saved.")
    _save(sheet)


def _head(sheet: Sheet, turn: int) -> None:
    """What is said of all rows, and which phases have columns."""
    with st.container(horizontal=True, key="choices from memory"):
        sheet.person = st.text_input(
            "Whose hours these are", sheet.person, key=f"{_NAME} person {turn}", width=200
        ).strip()
        sheet.when = st.text_input(
            "Year or month of rows that say none", sheet.when, key=f"{_NAME} when {turn}", width=230
        ).strip()
    # a phase keeps its columns while anything stands in them
    filled = {column for row in sheet.works for column in row}
    written = [phase for phase in sheet.phases if {f"{QUOTED}{phase}", f"{TAKEN}{phase}"} & filled]
    if st.toggle("Hours by phase", bool(sheet.phases), key=f"{_NAME} by phase {turn}"):
        chosen = st.multiselect(
            "Phases with hours of their own",
            _in_order([*{*_phases()["phase"], *sheet.phases}]),
            default=sheet.phases or _usual_phases(),
            key=f"{_NAME} phases {turn}",
        )
        sheet.phases = _in_order([*{*chosen, *written}])
    else:
        sheet.phases = written


def _in_order(names: list[str]) -> list[str]:
    positions = queries.phase_positions(page_data.store().cursor())
    return sorted(names, key=lambda name: (positions.get(name, 0), name))


def _phases() -> pd.DataFrame:
    phases = queries.phases(page_data.store().cursor())
    return phases[(phases["position"] > 0) & phases["retired_on"].isna()]


def _usual_phases() -> list[str]:
    """The phases that are logged most, or else have most techniques, in the order of work."""
    by_use = _phases().sort_values(["entries", "techniques"], ascending=False, kind="stable")
    most = by_use.head(USUAL_PHASES)
    return most.sort_values("position", kind="stable")["phase"].tolist()


def columns_of(sheet: Sheet) -> dict[str, int]:
    """The columns in the order in which they are written, with their widths: what is enough comes first, and
    what is seldom known last, so that few empty cells are passed on the way.
    """
    taken, quoted = (
        {
            column: _SIGN + _LETTER * len(remembered_text.head_of(column))
            for column in (f"{prefix}{phase}" for phase in sheet.phases)
        }
        for prefix in (TAKEN, QUOTED)
    )
    first = {name: _WIDTHS[name] for name in ("title", "taken")}
    rest = {name: width for name, width in _WIDTHS.items() if name not in first}
    return first | taken | rest | quoted


def _save(sheet: Sheet) -> None:
    reading = remembered_works.read_over(page_data.store(), sheet, utc_now())
    if reading.faults:
        st.subheader("What keeps rows from being saved")
        layout.list_out(remembered_text.fault_sentences(reading.faults, sheet.works))
    if reading.doubts:
        layout.say("To be looked at, and saved as it is if you leave it:")
        layout.list_out(remembered_text.fault_sentences(reading.doubts, sheet.works))
    ready = len(reading.ready)
    label = f"Save {counted(ready, 'work')}" if ready else "Save"
    if not st.button(label, type="primary", disabled=not ready, key="save from memory"):
        return
    change = page_data.change("told from memory under Works")
    store, visit = page_data.store(), page_data.visit()
    with st.spinner("Saving, a work at a time …"):
        codes, left = remembered_works.save(store, sheet, change, visit)
    line_sheet.forget(_NAME)
    st.session_state[f"turn of {_NAME}"] += 1
    rest = len(left.filled)
    layout.done(
        f"Saved from memory: {', '.join(codes)}."
        + (
            f" {counted(rest, 'row')} stay{'s' if rest == 1 else ''} on the sheet with what is to be mended."
            if rest
            else ""
        ),
        ("our_rates", "What they taught", {}),
    )


def _begin_anew() -> None:
    line_sheet.forget(_NAME)
    st.session_state[f"turn of {_NAME}"] += 1
    st.rerun()


def _list(works: pd.DataFrame) -> None:
    if works.empty:
        return
    studio = page_data.settings()
    works = works.assign(earned=prices.earned(works, studio))
    st.subheader("Told from memory")
    layout.say(
        remembered_text.earned(works, works["earned"], studio),
        prices_text.ask(prices.unsaid(works, studio), studio),
    )
    rows: list[list[html_blocks.Cell]] = [
        [
            page_data.work_link(work["object"]),
            work["title"],
            "–" if pd.isna(work["finished_on"]) else day_in_words(work["finished_on"], "%b"),
            hours(work["quoted_hours"]),
            hours(work["hours"]),
            prices_text.price_words(work, studio) or "–",
            "–" if pd.isna(work["earned"]) else money(work["earned"], studio.currency),
            html_blocks.Link("edit", page_data.address("works", object=work["object"])),
        ]
        for work in works.to_dict("records")
    ]
    layout.table(
        "Works told from memory",
        ["work", "title", "finished", "hours quoted", "hours taken", "price", "an hour earned", "change"],
        rows,
        words=(0, 1, 2, 7),
    )
    titles = dict(zip(works["object"], works["title"], strict=True))
    with st.container(horizontal=True, vertical_alignment="bottom"):
        chosen = st.selectbox(
            "Strike out a work",
            list(titles),
            index=None,
            format_func=lambda code: plain(f"{code}  {titles[code]}".strip()),
            placeholder="Choose the work",
            key="work to strike out",
            width=320,
        )
        if st.button("Strike it out", disabled=chosen is None) and chosen:
            _strike_out([chosen])
    if _means_all(len(works)):
        _strike_out(list(titles))


def _means_all(works: int) -> bool:
    """Whether all are to be struck out: one press asks, the next means it."""
    text = "strike out all from memory"
    if not st.session_state.get(text):
        if st.button("Strike out all works from memory"):
            st.session_state[text] = True
            st.rerun()
        return False
    with st.container(horizontal=True):
        if st.button(f"Yes, strike out {counted(works, 'work')}"):
            del st.session_state[text]
            return True
        if st.button("No, leave them"):
            del st.session_state[text]
            st.rerun()
    return False


def _strike_out(codes: list[str]) -> None:
    change = page_data.change("struck out under Works")
    struck, staying = struck_works.strike_out(page_data.store(), codes, change)
    sentences = [f"Struck out: {', '.join(struck)}. Below they can be put back."] if struck else []
    sentences += [f"{code} stays: {why}." for code, why in staying.items()]
    if struck:
        st.session_state.pop("work to strike out", None)
        layout.done(" ".join(sentences))
    layout.refuse(" ".join(sentences))


def _put_back() -> None:
    struck = struck_works.last_struck_out(page_data.store().cursor())
    if struck is None:
        return
    on = struck.at.replace(tzinfo=ZoneInfo("UTC")).astimezone(ZoneInfo(page_data.settings().zone)).date()
    if st.button(f"Put back what was struck out on {day(on)}: {counted(len(struck.objects), 'work')}"):
        codes = struck_works.put_back(page_data.store(), page_data.change("put back under Works"))
        layout.done(f"Put back: {', '.join(codes)}.")
