"""The year: hours charged, earnings of an hour, padded and thin quotes, pace with experience."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.charts import year as year_chart
from dashboard.formatting import counted, day, hours, money, signed_hours
from dashboard.services import year as year_service
from dashboard.services.prices import tax_of, without_tax
from dashboard.services.year import Year
from dashboard.text import year as year_text
from dashboard.text.remembered import works_behind
from dashboard.text.rounding import difference
from dashboard.ui import layout, page_data, results

SHOWN = 30


def body() -> None:
    con, on = page_data.store().cursor(), page_data.today()
    every = year_service.years(con, on)
    chosen = (
        st.selectbox("Year", [f"{item}" for item in every], key="year", bind="query-params")
        if len(every) > 1
        else every[0]
    )
    year = year_service.of_year(con, on, int(chosen or every[0]))
    layout.say(f"From {day(year.first)} to {day(year.last)}")
    if year.logged_since is None:
        st.write(
            "Nothing is logged yet. As soon as works are finished, this page tells what an hour of them"
            " earned, and what an hour would have to earn for the studio to pay its way."
        )
        layout.begin_at("To the works", "works")
        return
    _figures(year)
    _hours(year)
    _earned(year)
    st.header("Padded and thin quotes")
    st.write(" ".join(year_text.quotes(year)) or "No work with approved hours was finished in this year.")
    st.header("What an hour would have to earn")
    for sentence in year_text.needed(year):
        st.write(sentence)
    layout.link("studio", "What a year costs, rate and least charge", part="quotes")
    _experience()
    if len(year.works):
        columns = [
            *("object", "kind", "finished_on", "approved_hours", "actual_hours", "own_cost_hours"),
            *("extra_hours", "net", "earned_per_hour", "carried"),
        ]
        layout.download_frame("The works as CSV", year.works[columns], f"year-{year.first.year}.csv")


def _figures(year: Year) -> None:
    priced = year.works[year.works["net"].notna()]
    rate = (
        priced["net"].sum() / priced["spent_hours"].sum()
        if len(priced) and priced["spent_hours"].sum() > 0
        else None
    )
    below = rate is not None and year.needed is not None and rate < year.needed.hours
    layout.figures(
        ("charged", f"{hours(year.hours('chargeable'))} h"),
        ("at the studio’s own cost", f"{hours(year.hours('own_cost'))} h"),
        ("studio time", f"{hours(year.hours('studio'))} h"),
        (
            f"an hour earned{without_tax(year.studio)}, of works finished",
            money(rate, year.studio.currency) if rate is not None else "–",
            below,
        ),
    )


def _hours(year: Year) -> None:
    st.header("Where its hours went")
    st.write(year_text.charged(year))
    layout.say(year_text.remembered(year))
    if year.months.empty:
        return
    sums = year.months.groupby("what")["hours"].sum()
    parts = [
        f"{words} {hours(sums[what])} h" for what, words in year_chart.WHAT.items() if what in sums.index
    ]
    layout.chart(year_chart.months(year.months), f"Hours by month in {year.first.year}: {'; '.join(parts)}.")
    studio = (
        year.months[year.months["what"] == "studio"]
        .groupby("line")["hours"]
        .sum()
        .sort_values(ascending=False)
    )
    if len(studio):
        rows = [[str(name), hours(value), f"{value / sums.sum():.0%}"] for name, value in studio.items()]
        layout.table("Studio time", ["studio time", "hours", "of all"], rows)


def _earned(year: Year) -> None:
    st.header("What an hour earned")
    st.write(year_text.earned(year))
    layout.ask_about_tax(year.unsaid)
    currency = year.studio.currency
    if len(year.kinds):
        layout.table_of(
            "What an hour earned, by kind",
            year.kinds,
            {
                "kind of work": "kind",
                "works": "works",
                "hours": lambda row: hours(row["spent_hours"]),
                f"price without {_tax_and(year)}costs": lambda row: money(row["net"], currency),
                f"an hour{without_tax(year.studio)}": lambda row: money(row["earned_per_hour"], currency),
            },
        )
    if len(year.works):
        _work_by_work(year)


def _work_by_work(year: Year) -> None:
    currency = year.studio.currency
    st.subheader("Work by work")
    layout.table_of(
        "What an hour earned, work by work",
        year.works.head(SHOWN),
        {
            "work": lambda row: page_data.work_link(row["object"]),
            f"an hour{without_tax(year.studio)}": lambda row: (
                money(row["earned_per_hour"], currency) if pd.notna(row["earned_per_hour"]) else "–"
            ),
            "took, h": lambda row: hours(row["actual_hours"]),
            "difference, h": lambda row: signed_hours(difference(row["actual_hours"], row["approved_hours"])),
            "approved, h": lambda row: hours(row["approved_hours"]),
            "own cost, h": lambda row: hours(row["own_cost_hours"]) if row["own_cost_hours"] else "",
            f"price without {_tax_and(year)}costs": lambda row: (
                money(row["net"], currency) if pd.notna(row["net"]) else "–"
            ),
            "kind": "kind",
        },
        words=(0, 7),
    )
    layout.say(
        "The latest finished stands first. The difference is from all hours approved, with what might"
        " turn up; One work holds each line against its own, and says where the two differ."
    )
    layout.say(
        "Hours agreed on top are charged apart, and not in these." if year.works["extra_hours"].any() else "",
        f"And {counted(len(year.works) - SHOWN, 'more work')} in the CSV." if len(year.works) > SHOWN else "",
    )


def _tax_and(year: Year) -> str:
    return f"{tax_of(year.studio)} and " if year.studio.tax_per_cent else ""


def _experience() -> None:
    st.header("Pace with experience")
    rates = results.rates(page_data.today())
    curves = rates.experience
    for sentence in year_text.experience(curves):
        st.write(sentence)
    remembered = dict(zip(rates.table["technique"], rates.table["remembered"], strict=True))
    sure = [(technique, curve) for technique, curve in curves if curve.surely]
    if sure:
        rows = [
            [
                technique,
                works_behind(curve.times, remembered.get(technique, 0)),
                f"{curve.share - 1:+.0%}".replace("-", "−"),
                f"{curve.low - 1:+.0%} to {curve.high - 1:+.0%}".replace("-", "−"),
            ]
            for technique, curve in sure
        ]
        layout.table(
            "Pace with experience", ["technique", "works", "hours, with each doubling", "4 in 5"], rows
        )
    layout.say(year_text.FORM)


layout.show("The year", body)
