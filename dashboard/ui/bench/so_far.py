"""Works on the bench with what is known of them before their forecast is computed."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.analysis.simulation.quote_snapshot import NAMES
from dashboard.formatting import counted, hours
from dashboard.services.forecast import Bench
from dashboard.services.forecast_works import WorkForecast
from dashboard.services.jobs import Task
from dashboard.text import html_blocks
from dashboard.ui import layout, page_data, results
from dashboard.ui.bench import work_notes
from ingest.errors import BenchHoursError

_WATCH_S = 0.5


_NOT_YET = "…"


_HEADS_SO_FAR = (
    *("work", "so far, h", "estimated, h", "left, h"),
    *("approved, h", "ends, even chance, h", "4 in 5, h", "above what was approved"),
)


def show(task: Task[Bench], changes: int) -> bool:
    """Hours so far of the works on the bench, and forecasts as they are computed; False without works."""
    works = results.bench_so_far(page_data.today())
    if works.empty:
        return False
    chosen = works[works["object"] == st.query_params.get("object")]
    layout.as_of(page_data.today())
    if chosen.empty:
        left = works["left_hours"]
        layout.figures(
            ("works on the bench", f"{len(works)}"),
            ("so far", f"{hours(works['actual_hours'].sum())} h"),
            ("left of what was estimated", f"{hours(left.sum())} h" if left.notna().any() else "–"),
        )
    _filled(works if chosen.empty else chosen, int((works["yardstick"] != "none").sum()), task, changes)
    return True


@st.fragment(run_every=_WATCH_S)
def _filled(frame: pd.DataFrame, of: int, task: Task[Bench], changes: int) -> None:
    """Works with their forecasts as far as they are computed, of `of` in all; the page runs again when all
    are, or after a write.
    """
    if page_data.store().changes() != changes:
        st.rerun(scope="app")
    if task.wait(0):
        try:
            task.result()
        except BenchHoursError as error:
            layout.refuse(str(error))
            return
        st.rerun(scope="app")
    ended = results.ended_so_far(task)
    words = (
        f"where {len(ended)} of {counted(of, 'work')} {'ends' if of == 1 else 'end'} is known"
        if ended
        else "learning from the finished works …"
    )
    st.progress(min(len(ended) / of, 1.0) if of else 0.0, text=f"Looking ahead: {words}")
    layout.table(
        "Works on the bench",
        _HEADS_SO_FAR,
        [_row_so_far(row, ended.get(row["object"])) for row in frame.to_dict("records")],
        words=(0, 7),
    )
    layout.say(
        "Left is what was estimated of lines not finished, less what each took so far. Where"
        f" “{_NOT_YET}” stands it is being worked out."
    )


def _row_so_far(row: queries.Row, ended: WorkForecast | None) -> list[html_blocks.Cell]:
    cells: list[html_blocks.Cell] = [
        page_data.bench_link(row["object"]),
        *(hours(row[name]) for name in ("actual_hours", "estimated_hours", "left_hours", "approved_hours")),
    ]
    if ended is None:
        return cells + ["–" if row["yardstick"] == "none" else _NOT_YET] * 3
    by_name = dict(zip(NAMES, ended.quantiles, strict=True))
    return [
        *cells,
        hours(by_name["p50"]),
        hours(by_name["p80"]),
        work_notes.above_approved(ended.chance_over_approved),
    ]
