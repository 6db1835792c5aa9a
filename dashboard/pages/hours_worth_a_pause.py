"""Hours worth a pause: handwork without a break, solvents, blades late in the day; of one person, for that person."""

from __future__ import annotations

import streamlit as st

from dashboard import frame, held, pausing, reading, tables
from dashboard import pause_sentences as said
from dashboard.pausing import WorthAPause
from dashboard.words import hours
from ingest.cautions import DEFERRING

SHOWN = 40
PERIODS = {"4 weeks": 4, "13 weeks": 13, "52 weeks": 52}


def body() -> None:
    person = _whose()
    if person is None:
        return
    chosen = st.segmented_control("Period", list(PERIODS), default="4 weeks", key="period", bind="query-params", required=True, label_visibility="collapsed")
    found = pausing.worth_a_pause(held.store().cursor(), held.today(), person, PERIODS[chosen or "4 weeks"])
    frame.say([said.period(found)])
    st.html(
        tables.figures([
            ("longest handwork without a break", f"{hours(found.longest_minutes / 60)} h", bool(len(found.handwork))), ("with solvents, in the week with most", f"{hours(found.solvents['hours'].max())} h" if len(found.solvents) else "0.0 h", bool(found.solvents["over_week"].any())),
            ("with solvents, on the day with most", f"{hours(found.solvents['most_hours'].max())} h" if len(found.solvents) else "0.0 h", bool(found.solvents["over_day"].any())), (f"with blades after {found.limits.blade_until}", f"{hours(found.blades['hours'].sum())} h", bool(len(found.blades))),
        ])
    )  # fmt: skip
    frame.say([said.NOT_MEASURED, said.without_clock(found)])
    _handwork(found)
    _solvents(found)
    _blades(found)
    if held.is_principal():
        st.page_link("pages/studio.py", label="The limits, or switch it off", query_params={"part": "bench", **held.same_studio()})


def _whose() -> str | None:
    """Whose hours are shown: on a device of one person that person's; on any other, where the principal sits, one of the people is named. None where it is nobody's yet."""
    device = held.device()
    if device and device.person:
        return device.person
    if not held.is_principal():
        st.write(
            "Several share this device, and these hours are for each person alone. On a device of your own, and in the form to log hours on your phone, yours are shown."
        )
        return None
    people = reading.people(held.store().cursor())
    names = people.loc[people["entries"] > 0, "person"].tolist()
    if not names:
        st.write("Nothing is logged yet. As soon as somebody logs hours with clock times, each finds here which of their own are worth a pause.")
        frame.say([DEFERRING])
        frame.invite_to_invented()
        return None
    if len(names) == 1:
        return str(names[0])
    whose: str | None = st.selectbox("Whose", names, index=None, key="whose", bind="query-params", placeholder="Choose a name")
    if not whose:
        st.write("Choose whose hours to look at: they are for that person.")
    return whose


def _handwork(found: WorthAPause) -> None:
    st.header("Handwork without a break")
    st.write(said.handwork(found))
    if len(found.handwork):
        rows = [
            [f"{row['begins']:%a %-d %b %Y, %H:%M} to {row['ends']:%H:%M}", f"{row['minutes']:,.0f}", row["techniques"]]
            for row in found.handwork.iloc[::-1].head(SHOWN).to_dict("records")
        ]  # fmt: skip
        st.html(tables.ledger("Handwork without a break", ["from – to", "minutes", "techniques"], rows, words=(0, 2)))
    frame.say([f"{said.SOURCES['handwork_minutes']} {said.SOURCES['pause_minutes']}"])


def _solvents(found: WorthAPause) -> None:
    st.header("With solvents")
    st.write(said.solvents(found))
    if len(found.solvents):
        rows = [
            [f"{row['week']:%-d %b %Y}", hours(row["hours"]) + _mark(row["over_week"]), f"{hours(row['most_hours'])}{_mark(row['over_day'])}, {row['most_on']:%a %-d %b}"]
            for row in found.solvents.iloc[::-1].to_dict("records")
        ]  # fmt: skip
        st.html(tables.ledger("Hours with solvents", ["week of", "hours", "most on one day, h"], rows))
    frame.say([said.SOURCES["solvent_hours_a_week"]])


def _blades(found: WorthAPause) -> None:
    st.header("Blades late in the day")
    st.write(said.blades(found))
    if len(found.blades):
        rows = [
            [f"{row['day']:%a %-d %b %Y}, until {row['ends']:%H:%M}", hours(row["hours"]), row["technique"]]
            for row in found.blades.iloc[::-1].head(SHOWN).to_dict("records")
        ]  # fmt: skip
        st.html(tables.ledger("Blades late in the day", ["day", "late, h", "technique"], rows, words=(0, 2)))
    frame.say([said.SOURCES["blade_until"]])


def _mark(over: bool) -> str:
    return ", above" if over else ""


frame.show("Hours worth a pause", body)
