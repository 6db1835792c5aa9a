"""All works on the bench: where they end, and which owner to write to."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.charts import forecast as forecast_chart
from dashboard.formatting import counted, day, hours, plain, text
from dashboard.services.forecast import Bench
from dashboard.services.forecast_works import FORECAST_KEYS
from dashboard.services.jobs import Task
from dashboard.text import forecast as forecast_text
from dashboard.text import templating
from dashboard.ui import layout, page_data
from dashboard.ui.bench import work_notes

SHOWN = 12


MOST_READ_OUT = 40


MOST_SINCE = 5


def show(bench: Bench, pending: list[Task[Any]]) -> None:
    works = bench.works
    layout.as_of(page_data.today())
    layout.link_to_decisions()
    standing = works.apply(forecast_text.standing, axis=1)
    _figures(works, standing)
    layout.say(forecast_text.behind(bench), *forecast_text.apart(bench))
    if page_data.is_principal():
        layout.ask_about_tax(bench.unsaid_prices)
    forecast = works[works["p50"].notna()]
    if len(forecast):
        _where_they_end(forecast)
    _to_write(bench, works[standing == "write"], pending)
    _table("To keep an eye on", works[standing == "watch"])
    _table("Fine", works[standing == "fine"])
    _table("With nothing approved in hours", works[standing == "unapproved"])
    _without_estimate(works[standing == "unquoted"])
    layout.remind_of_backup()
    layout.download_frame("The forecast as CSV", works[list(FORECAST_KEYS)], "forecast.csv")


def _figures(works: pd.DataFrame, standing: pd.Series) -> None:
    forecast = works[works["p50"].notna()]
    above = (works["p50"] - works["approved_hours"]).clip(lower=0.0)
    layout.figures(
        ("works on the bench", f"{len(works)}"),
        (
            "owners to write to, work by work",
            f"{int((standing == 'write').sum())}",
            bool((standing == "write").any()),
        ),
        (
            "above what was approved, at even chance of each",
            f"{hours(above.sum())} h" if works["approved_hours"].notna().any() else "–",
            bool(above.sum() >= 0.05),
        ),
        (
            "still to come, at even chance of each",
            f"{hours((forecast['p50'] - forecast['actual_hours']).sum())} h",
        ),
    )


def _where_they_end(frame: pd.DataFrame) -> None:
    st.header("Where they end")
    shown = frame.head(SHOWN)
    labels = [
        f"{row['object']}: {hours(row['p50'])} h"
        + (f" of {hours(row['approved_hours'])} h approved" if pd.notna(row["approved_hours"]) else "")
        for row in shown.to_dict("records")
    ]
    layout.say(
        "The line is where a work ends 8 times in 10, the dot even chance; the upright tick is what was"
        " approved, the grey bar the hours so far. Choose a dot for why. Furthest above stands first."
        + (f" {counted(len(frame) - SHOWN, 'more work')} below." if len(frame) > SHOWN else "")
    )
    code = layout.choosing_chart(
        forecast_chart.ends(shown.assign(label=labels)),
        f"Where works end: {'; '.join(labels[:MOST_READ_OUT])}.",
        "ends",
    )
    if code:
        layout.show_at(object=code)


def _to_write(bench: Bench, works: pd.DataFrame, pending: list[Task[Any]]) -> None:
    """Each work with why and the way to its revision; those of one commission share a letter, and stand
    together.
    """
    st.header("Write to the owner")
    if works.empty:
        st.write(
            "Nobody: every work with approved hours is foretold to end within them, at even chance at least."
        )
        return
    layout.say(
        "From an even chance on that a work ends above what was approved, its owner is to be written to;"
        " from 2 in 10 on it is one to keep an eye on."
    )
    about = work_notes.WorkNotes.load()
    commissions = {row["commission"]: row for row in bench.commissions.to_dict("records")}
    commissions_shown: set[str] = set()
    blocks: list[tuple[str, pd.DataFrame]] = []
    for row in works.to_dict("records"):
        commission = text(row["commission"])
        if commission in commissions:
            if commission not in commissions_shown:
                commissions_shown.add(commission)
                blocks.append((commission, bench.works[bench.works["commission"] == commission]))
        else:
            blocks.append(("", works[works["object"] == row["object"]]))
    for number, (commission, of) in enumerate(blocks[:SHOWN]):
        if commission:
            st.subheader(plain(f"Commission {commission}"))
            layout.say(_together(commissions[commission]))
        for _, work in of.iterrows():
            _block(bench, work, about, pending if number < MOST_SINCE else None)
    if len(blocks) > SHOWN:
        _table("Further works to write about", pd.concat([of for _, of in blocks[SHOWN:]]))


def _together(row: queries.Row) -> str:
    approved: str = (
        f" of {hours(row['approved_hours'])} h approved, {forecast_text.in_ten(row['chance_over_approved'])}"
        " that they end above"
        if pd.notna(row["approved_hours"])
        else ""
    )
    return (
        f"{counted(int(row['works']), 'work')} of one owner, one letter: together {hours(row['p50'])} h at"
        f" even chance, {hours(row['p80'])} h 4 times in 5{approved}."
    )


def _block(
    bench: Bench, work: pd.Series, about: work_notes.WorkNotes, pending: list[Task[Any]] | None
) -> None:
    code = work["object"]
    st.html(templating.piece("head_of_work", page_data.bench_link(code), about.titles.get(code, "")))
    st.write(plain(forecast_text.ends(work)))
    layout.say(about.of(code))
    if forecast_text.standing(work) != "write":
        return
    work_notes.reasons(bench, work)
    layout.say(
        " ".join(
            filter(
                None,
                (
                    "" if pending is None else work_notes.since(code, pending),
                    forecast_text.costs_the_studio(work),
                ),
            )
        )
    )
    work_notes.revise(code, about.written.get(code))


def _table(name: str, works: pd.DataFrame) -> None:
    if works.empty:
        return
    st.header(name)
    layout.table_of(
        name,
        works,
        {
            "work": lambda row: page_data.bench_link(row["object"]),
            "so far, h": lambda row: hours(row["actual_hours"]),
            "approved, h": lambda row: hours(row["approved_hours"]),
            "ends, even chance, h": lambda row: hours(row["p50"]),
            "4 in 5, h": lambda row: hours(row["p80"]),
            "above what was approved": lambda row: work_notes.above_approved(row["chance_over_approved"]),
        },
        words=(0, 5),
    )


def _without_estimate(works: pd.DataFrame) -> None:
    if works.empty:
        return
    st.header("Without an estimate")
    layout.table_of(
        "Without an estimate",
        works,
        {
            "work": lambda row: page_data.work_link(row["object"]),
            "so far, h": lambda row: hours(row["actual_hours"]),
            "last worked": lambda row: day(row["last_day"]) if pd.notna(row["last_day"]) else "",
        },
        words=(0, 2),
    )
    layout.say("What is to be done on them nobody has said yet: write their estimate, and they stand above.")
