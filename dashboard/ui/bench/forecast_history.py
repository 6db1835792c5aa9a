"""Forecasts of a work from day to day."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.charts import forecast as forecast_chart
from dashboard.formatting import day, hours
from dashboard.services.jobs import GivenUp, Task
from dashboard.text import forecast as forecast_text
from dashboard.ui import layout, page_data, results
from dashboard.ui.bench import so_far

AT_ONCE_S = 0.3


def show(code: str, work: pd.Series, pending: list[Task[Any]]) -> None:
    """Forecasts from day to day, gathered beside the page, which is drawn again when they are there."""
    st.header("How it was foretold")
    if not work["begun"]:
        layout.say(
            "Nothing was logged on it yet. From its second day on, this shows how the range narrowed, and"
            " where it jumped."
        )
        return
    task = results.bench_history(code)
    if not task.wait(AT_ONCE_S):
        pending.append(task)
        _progress(code)
        return
    try:
        history = task.result()
    except GivenUp:
        st.rerun()
    if len(history) < 2:
        layout.say("From its second day on, this shows how the range narrowed, and where it jumped.")
        return
    first, last = history.iloc[0], history.iloc[-1]
    layout.say(
        "What would have been told on each day on which it was worked, from what was known then"
        " alone: the line at even chance, the band 8 times in 10; below it the hours so far, and"
        " level what was approved."
    )
    layout.chart(
        forecast_chart.told_before(history),
        f"What was foretold of {code} from {day(first['day'])}, {hours(first['p50'])} h"
        f" ({hours(first['p10'])} to {hours(first['p90'])}), to {day(last['day'])}, {hours(last['p50'])}"
        f" h ({hours(last['p10'])} to {hours(last['p90'])}).",
    )
    if moved := forecast_text.jumps(
        history, queries.entries(page_data.store().cursor(), page_data.today(), code)
    ):
        st.write("Where it jumped")
        layout.list_out(moved)


@st.fragment(run_every=so_far._WATCH_S)
def _progress(code: str) -> None:
    task = results.bench_history(code)
    words = f": {task.done:,} of {task.of:,}" if task.of else " …"
    st.progress(task.share, text=f"Working out what would have been said on each day{words}")
