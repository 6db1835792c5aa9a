"""On the bench: where each work under way will end, why, and which owner to write to."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard.formatting import plain
from dashboard.services.forecast import Bench
from dashboard.services.jobs import Task
from dashboard.text import forecast as forecast_text
from dashboard.ui import fields, layout, page_data, results
from dashboard.ui.bench import all_works, forecast_history, one_work, so_far, work_notes

TITLE = "On the bench"


def body() -> None:
    # before anything is read: what is written meanwhile must not be missed
    shown = page_data.store().changes()
    pending: list[Task[Any]] = []
    task = results.bench_task()
    if not (layout.is_redrawn(TITLE) or task.wait(forecast_history.AT_ONCE_S)) and so_far.show(task, shown):
        return
    _whole(results.wait_for_bench(task), pending)
    layout.mark_complete(TITLE)
    _watch(shown, pending)


def _whole(bench: Bench, pending: list[Task[Any]]) -> None:
    works = bench.works
    if works.empty:
        _nothing(bench)
    elif (code := _choose(works["object"].tolist())) is not None:
        one_work.show(bench, works[works["object"] == code].iloc[0], pending)
    else:
        all_works.show(bench, pending)


def _nothing(bench: Bench) -> None:
    if code := st.query_params.get("object"):
        _not_here(code)
    st.write(
        "No work is on the bench. As soon as an estimate is approved, or hours are logged on a work, it"
        " stands here: where it will end, and whether its owner must be written to."
    )
    layout.say(*forecast_text.apart(bench))
    layout.begin_at("To the works", "works")


def _not_here(code: str) -> None:
    """Say that the work of the address is not on the bench, or nowhere."""
    exists = code in page_data.works(page_data.today())["object"].tolist()
    st.info(
        plain(
            f"{code} is not on the bench: it is finished, or nothing of it is approved or begun."
            if exists
            else f'There is no work "{code}" here.'
        )
    )


@st.fragment(run_every=so_far._WATCH_S)
def _watch(shown: int, pending: list[Task[Any]]) -> None:
    """Run the page again after a write, be it by a phone, or when a result it waits for is there."""
    if page_data.store().changes() != shown or any(task.wait(0) for task in pending):
        st.rerun(scope="app")


def _choose(codes: list[str]) -> str | None:
    """The work that is looked at, kept in the address."""
    code = st.query_params.get("object")
    if code is not None and code not in codes:
        _not_here(code)
        del st.query_params["object"]
    return fields.choose_work(codes, work_notes.titles())


layout.show(TITLE, body)
