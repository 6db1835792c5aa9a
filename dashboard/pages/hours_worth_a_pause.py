"""Hours worth a pause: handwork without a break, solvents, blades late in the day; of one person, for that
person.
"""

from __future__ import annotations

from collections.abc import Collection

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.formatting import hours
from dashboard.services import pauses as pauses_service
from dashboard.services.pauses import PauseReport
from dashboard.text import pauses as pauses_text
from dashboard.ui import layout, page_data
from ingest.studio.hazards import DEFERRING

SHOWN = 40
PERIODS = {"4 weeks": 4, "13 weeks": 13, "52 weeks": 52}


def body() -> None:
    person = _choose_person()
    if person is None:
        return
    chosen = st.segmented_control(
        "Period",
        list(PERIODS),
        default="4 weeks",
        key="period",
        bind="query-params",
        required=True,
        label_visibility="collapsed",
    )
    result = pauses_service.worth_a_pause(
        page_data.store().cursor(), page_data.today(), person, PERIODS[chosen or "4 weeks"]
    )
    layout.say(pauses_text.period(result))
    layout.figures(
        (
            "longest handwork without a break",
            f"{hours(result.longest_minutes / 60)} h",
            bool(len(result.handwork)),
        ),
        (
            "with solvents, in the week with most",
            f"{hours(result.solvents['hours'].max())} h" if len(result.solvents) else "0.0 h",
            bool(result.solvents["over_week"].any()),
        ),
        (
            "with solvents, on the day with most",
            f"{hours(result.solvents['most_hours'].max())} h" if len(result.solvents) else "0.0 h",
            bool(result.solvents["over_day"].any()),
        ),
        (
            f"with blades after {result.limits.blade_until}",
            f"{hours(result.blades['hours'].sum())} h",
            bool(len(result.blades)),
        ),
    )
    layout.say(
        pauses_text.NOT_MEASURED, pauses_text.without_clock(result), pauses_text.without_technique(result)
    )
    _handwork(result)
    _solvents(result)
    _blades(result)
    if page_data.is_principal():
        layout.link("studio", "The limits, or switch it off", part="bench")


def _choose_person() -> str | None:
    """The person whose hours are shown: that of the device, or one whom the principal chose."""
    device = page_data.device()
    if device and device.person:
        return device.person
    if not page_data.is_principal():
        st.write(
            "Several share this device, and these hours are for each person alone. On a device of your own,"
            " and in the form to log hours on your phone, yours are shown."
        )
        return None
    people = queries.people(page_data.store().cursor())
    names = people.loc[people["entries"] > 0, "person"].tolist()
    if not names:
        st.write(
            "Nothing is logged yet. As soon as somebody logs hours with clock times, each finds here which of"
            " their own are worth a pause."
        )
        layout.say(DEFERRING)
        layout.invite_to_invented()
        return None
    if len(names) == 1:
        return str(names[0])
    whose: str | None = st.selectbox(
        "Whose", names, index=None, key="whose", bind="query-params", placeholder="Choose a name"
    )
    if not whose:
        st.write("Choose whose hours to look at: they are for that person.")
    return whose


def _part(
    names: tuple[str, str],
    sentence: str,
    frame: pd.DataFrame,
    columns: layout.Cells,
    words: Collection[int] = (0,),
) -> None:
    """A part of the page under its head, the first of its names, with its table, the second: the latest
    first.
    """
    st.header(names[0])
    st.write(sentence)
    if len(frame):
        layout.table_of(names[1], frame.iloc[::-1], columns, words=words)


def _handwork(worth_a_pause: PauseReport) -> None:
    _part(
        ("Handwork without a break", "Handwork without a break"),
        pauses_text.handwork(worth_a_pause),
        worth_a_pause.handwork.tail(SHOWN),
        {
            "from – to": lambda row: f"{row['begins']:%a %-d %b %Y, %H:%M} to {row['ends']:%H:%M}",
            "minutes": lambda row: f"{row['minutes']:,.0f}",
            "techniques": "techniques",
        },
        words=(0, 2),
    )
    layout.say(f"{pauses_text.SOURCES['handwork_minutes']} {pauses_text.SOURCES['pause_minutes']}")


def _solvents(worth_a_pause: PauseReport) -> None:
    _part(
        ("With solvents", "Hours with solvents"),
        pauses_text.solvents(worth_a_pause),
        worth_a_pause.solvents,
        {
            "week of": lambda row: f"{row['week']:%-d %b %Y}",
            "hours": lambda row: hours(row["hours"]) + _mark(row["over_week"]),
            "most on one day, h": lambda row: (
                f"{hours(row['most_hours'])}{_mark(row['over_day'])}, {row['most_on']:%a %-d %b}"
            ),
        },
    )
    layout.say(pauses_text.SOURCES["solvent_hours_a_week"])


def _blades(worth_a_pause: PauseReport) -> None:
    _part(
        ("Blades late in the day", "Blades late in the day"),
        pauses_text.blades(worth_a_pause),
        worth_a_pause.blades.tail(SHOWN),
        {
            "day": lambda row: f"{row['day']:%a %-d %b %Y}, until {row['ends']:%H:%M}",
            "late, h": lambda row: hours(row["hours"]),
            "technique": "technique",
        },
        words=(0, 2),
    )
    layout.say(pauses_text.SOURCES["blade_until"])


def _mark(over: bool) -> str:
    return ", above" if over else ""


layout.show("Hours worth a pause", body)
