"""Our rates: hours of each technique, their range, the works behind them, and a test of past ranges."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard.formatting import counted, day
from dashboard.text.rates import drift
from dashboard.text.remembered import works_behind
from dashboard.ui import fields, layout, page_data, results
from dashboard.ui.rates import pin
from dashboard.ui.rates import table as table_part
from dashboard.ui.rates import technique as technique_part
from dashboard.ui.rates import trust as trust_part
from ingest.errors import BenchHoursError
from ingest.studio.hazards import usual_cautions
from ingest.values.line_names import line_names

_AS_OF = "As things stood on"


def body() -> None:
    today = page_data.today()
    as_of = _asked_day(today)
    rates = results.rates(as_of)
    if rates.lines == 0:
        _nothing_yet(as_of, today)
        return
    table = rates.table
    layout.say(
        f"What techniques have really taken in this studio, from {counted(rates.lines, 'finished line')}"
        f" on {works_behind(rates.works, rates.remembered, 'work')}, as of {day(as_of)}."
    )
    _one_rate(rates, as_of, today)
    if (table["lines"] > 0).any() or rates.wholes.empty:
        table_part.show(table, drift(*rates.drift))
    table_part.show_wholes(rates.wholes)
    trust_part.show(as_of)
    _people(rates)
    st.header("As things stood on another day")
    layout.say("Nothing that is dated later has any part in them: they are what you would have known then.")
    _choose_day(today)
    _as_csv(table)


def _asked_day(today: date) -> date:
    """The day of which the rates are: that of the field below them, once it can be read."""
    try:
        return fields.read_day(_AS_OF, st.session_state.get("as-of", ""), latest=today) or today
    except BenchHoursError:
        return today


def _choose_day(today: date) -> None:
    fields.choose_day(_AS_OF, today, key="as-of", latest=today, otherwise=today, width=200)


def _one_rate(rates: results.Rates, as_of: date, today: date) -> None:
    """One rate, with all that it stands on and that stands on it."""
    row = _choose(rates.table, rates.wholes)
    technique_part.show(row, rates.past_lines(row["technique"], row["phase"]))
    technique_part.show_open_lines(row, as_of, today)
    technique_part.show_quotes(row)
    layout.say(*(item for item in [usual_cautions(page_data.vocabulary(), [row["technique"]])] if item))
    pin.show(row, as_of, today)


def _nothing_yet(as_of: date, today: date) -> None:
    if as_of < today:
        st.write(f"On {day(as_of)} nothing was finished yet.")
        _choose_day(today)
        return
    st.write(
        "No line is finished yet, so nothing can be said of what techniques take here. Log hours, and say"
        " when lines, phases and works are finished (Works): from the first finished work on, rates stand"
        " here, with a wide range that narrows with each work."
    )
    layout.begin_at("To the works", "works")


def _choose(table: pd.DataFrame, wholes: pd.DataFrame) -> pd.Series:
    """The technique, phase as a whole or work that is looked at, kept in the address by its name; at first
    the technique that took most hours, and in a studio that names none the phase or work.
    """
    with_record, without = table[table["lines"] > 0], table[table["lines"] == 0]
    by_technique = len(with_record) > 0 or wholes.empty
    rows = pd.concat([with_record, wholes, *([without] if by_technique else [])], ignore_index=True)
    names = line_names(rows[["phase", "technique"]]).tolist()
    took = (rows["p50"] * rows["lines"]).head(len(with_record) or len(wholes)).to_numpy(dtype=float)
    label = "Technique" if wholes.empty else "Technique, phase or work" if by_technique else "Phase or work"
    chosen: str = st.selectbox(label, names, index=int(took.argmax()), key="technique", bind="query-params")
    return rows.iloc[names.index(chosen)]


def _people(rates: results.Rates) -> None:
    """Paces of people: for each of them and the principal only, and off until asked for."""
    st.header("Paces of people")
    if not st.checkbox("Show them here; for that person and the principal only"):
        return
    people = rates.people
    layout.table_of(
        "Paces of people",
        people,
        {
            "person": "person",
            "lines": "lines",
            "hours for one of the studio’s": lambda row: f"{row['pace']:.2f}",
            "4 in 5": lambda row: f"{row['pace_low']:.2f} to {row['pace_high']:.2f}",
        },
    )
    layout.say(
        "Whoever is new begins at the studio’s rate. Paces leave in no file and no letter; supervised"
        " practice is own cost, and teaches nothing."
    )


def _as_csv(table: pd.DataFrame) -> None:
    layout.download_frame("Rates as CSV", table.drop(columns=["position", "pinned_by"]), "rates.csv")


layout.show("Our rates", body)
