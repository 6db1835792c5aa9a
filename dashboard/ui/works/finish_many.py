"""Finishing works in one act: those that have had no hours for a while."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.analysis.report.overruns import by_object
from dashboard.formatting import counted, day, hours, plain, text
from dashboard.text.works import are_finished
from dashboard.ui import fields, layout, page_data
from ingest.editing import finished_works
from ingest.errors import BenchHoursError
from ingest.tables.audit_log import utc_now
from ingest.values import numbers

_TITLE = "Finish several works"
_USUAL_DAYS = 60
_MOST_DAYS = 36_500
DAYS_WITHOUT_HOURS = "No hours for so many days"
_ON = "Finished on"
_ON_KEY = "finish several on"
_SHOWN = 100


def show() -> None:
    """Folded away below the list of works, as it is for the days after a past year came in."""
    works = page_data.works(page_data.today())
    if works.empty:
        return
    with st.expander(_TITLE, key="finish several", on_change="rerun") as opened:
        if opened.open:
            _ask()
            _take_back()


def point_out() -> None:
    """That there are such works, above a list that may be long."""
    if not page_data.works(page_data.today()).empty and (idle := len(_idle(_USUAL_DAYS))):
        have = "has" if idle == 1 else "have"
        layout.say(
            f"{counted(idle, 'work')} on the bench {have} had no hours for {_USUAL_DAYS} days or more. Those"
            f" that are done can be finished in one act: {_TITLE}, below the list."
        )


def _idle(days: int) -> pd.DataFrame:
    """Works on the bench with hours, the last of them so many days ago or more, and nothing that still waits
    alone; the longest ago first. With `hours` and `open_lines`.
    """
    as_of = page_data.today()
    works, sums = page_data.works(as_of), by_object(page_data.overruns(as_of))
    idle = works[
        ~are_finished(works, sums)
        & (works["last_day"] <= pd.Timestamp(as_of) - pd.Timedelta(days=days))
        & ~(works["waits_until"] > utc_now())
    ]
    summed = idle.join(sums[["actual_hours", "unpriced_hours", "open_lines"]], on="object")
    summed = summed.assign(hours=summed["actual_hours"].fillna(0.0) + summed["unpriced_hours"].fillna(0.0))
    return summed.sort_values(["last_day", "object"], ignore_index=True)


def _ask() -> None:
    layout.say(
        "Works that are done and were never said to be finished. A finished work has all its lines finished:"
        " they are compared in full, and teach rates. Hours logged on it later open their lines again."
    )
    days = _days()
    idle = _idle(days)
    if idle.empty:
        st.write(f"No work on the bench has had no hours for {counted(days, 'day')}.")
        return
    shown = idle.head(_SHOWN)
    keys = {work["object"]: f"finish {work['object']}" for work in shown.to_dict("records")}
    with st.container(horizontal=True):
        st.button(f"Tick all {len(shown)}", on_click=_tick, args=(list(keys.values()), True))
        st.button("Tick none", on_click=_tick, args=(list(keys.values()), False))
    with st.form("finish several works"):
        ticked = [
            work["object"]
            for work in shown.to_dict("records")
            if st.checkbox(_label(work), key=keys[work["object"]])
        ]
        if len(idle) > len(shown):
            layout.say(f"The first {len(shown)} of {len(idle):,}; the next follow when these are finished.")
        on = fields.day_field(f"{_ON} (empty: each on the last day of its hours)", key=_ON_KEY, width=330)
        pressed = st.form_submit_button("Finish those ticked", type="primary")
    if pressed:
        last_days = dict(zip(shown["object"], shown["last_day"].dt.date, strict=True))
        _finish({code: last_days[code] for code in ticked}, on)


def _days() -> int:
    """How long works have had no hours; what is no number of days is refused, and the usual stands in."""
    typed = st.text_input(DAYS_WITHOUT_HOURS, f"{_USUAL_DAYS}", key="idle days", width=230)
    try:
        return read_days(typed)
    except BenchHoursError as error:
        layout.refuse(f"{error} Until then it is {_USUAL_DAYS}.")
        return _USUAL_DAYS


def read_days(typed: str) -> int:
    """The number of days of that field, from 0 on; raises BenchHoursError."""
    return int(
        numbers.number_called(DAYS_WITHOUT_HOURS, typed.strip(), _MOST_DAYS, read=numbers.whole, or_zero=True)
    )


def _tick(keys: list[str], value: bool) -> None:
    st.session_state.update(dict.fromkeys(keys, value))


def _label(work: queries.Row) -> str:
    name = f"{work['object']}  {text(work['title'])}".strip()
    return plain(
        f"{name}: last hours on {day(work['last_day'])}, {hours(work['hours'])} h,"
        f" {counted(int(work['open_lines']), 'line')} open"
    )


def _finish(last_days: dict[str, date], on: str) -> None:
    if not last_days:
        layout.refuse("Nothing was finished: tick the works that are done.")
        return
    try:
        same = fields.read_day(_ON, on)
        if same and (later := {code: last for code, last in last_days.items() if last > same}):
            named = ", ".join(f"{code} ({day(last)})" for code, last in later.items())
            raise BenchHoursError(
                f"{counted(len(later), 'work')} had hours after {day(same)}: {named}",
                "Write a later day, or leave it empty.",
            )
        report = finished_works.finish(
            page_data.store(),
            {code: same or last_day for code, last_day in last_days.items()},
            page_data.change("finished with others under Works"),
        )
    except BenchHoursError as error:
        layout.refuse(f"Nothing was finished: {error} What you ticked is still ticked.")
        return
    notes = dict.fromkeys(
        f"{_ON} {reason}. {mend}"
        for reason, mend in report.warnings[["reason", "mend"]].itertuples(index=False)
    )
    del st.session_state[_ON_KEY]  # the next works are finished on days of their own
    how = f"on {day(same)}" if same else "each on the last day of its hours"
    layout.done(
        " ".join([f"Finished, {how}: {', '.join(last_days)}. Below that can be taken back.", *notes]),
        ("our_rates", "What they taught", {}),
    )


def _take_back() -> None:
    finished = finished_works.last_finished(page_data.store().cursor())
    if finished is None:
        return
    at = finished.at.replace(tzinfo=ZoneInfo("UTC")).astimezone(ZoneInfo(page_data.settings().zone))
    many = len(finished.objects)
    what = finished.objects[0] if many == 1 else counted(many, "work")
    if st.button(plain(f"Take back what was finished last, on {day(at.date())}: {what}")):
        codes = finished_works.take_back(page_data.store(), page_data.change("opened again under Works"))
        layout.done(f"On the bench again: {', '.join(codes)}.")
