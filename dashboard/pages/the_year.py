"""The year: what was charged, what an hour earned, what quotes carried or cost, what an hour would have to earn, and pace with experience."""

from __future__ import annotations

from functools import partial

import pandas as pd
import streamlit as st

from dashboard import frame, held, tables, yearly
from dashboard import year_sentences as said
from dashboard.charts import year as charts
from dashboard.giving import as_csv_text
from dashboard.prices import tax_of, without_tax
from dashboard.shown import difference
from dashboard.words import counted, day, hours, money, signed_hours
from dashboard.yearly import Year

SHOWN = 30


def body() -> None:
    con, on = held.store().cursor(), held.today()
    every = yearly.years(con, on)
    chosen = st.selectbox("Year", [f"{one}" for one in every], key="year", bind="query-params") if len(every) > 1 else every[0]
    year = yearly.of_year(con, on, int(chosen or every[0]))
    frame.say([f"From {day(year.first)} to {day(year.last)}"])
    if year.logged_since is None:
        st.write(
            "Nothing is logged yet. As soon as works are finished, this page tells what an hour of them earned, and what an hour would have to earn for the studio to pay its way."
        )
        with st.container(horizontal=True):
            if st.button("To the works", type="primary"):
                st.switch_page("pages/works.py", query_params=held.same_studio())
            frame.invite_to_invented()
        return
    _figures(year)
    _hours(year)
    _earned(year)
    st.header("Padded and thin quotes")
    st.write(" ".join(said.quotes(year)) or "No work with approved hours was finished in this year.")
    st.header("What an hour would have to earn")
    for sentence in said.needed(year):
        st.write(sentence)
    st.page_link("pages/studio.py", label="What a year costs, rate and least charge", query_params={"part": "quotes", **held.same_studio()})
    _experience()
    if len(year.works):
        columns = ["object", "kind", "finished_on", "approved_hours", "actual_hours", "own_cost_hours", "extra_hours", "net", "earned_per_hour", "carried"]
        st.download_button("The works as CSV", partial(_csv, year.works[columns]), f"year-{year.first.year}.csv", "text/csv", on_click="ignore")


def _figures(year: Year) -> None:
    priced = year.works[year.works["net"].notna()]
    rate = priced["net"].sum() / priced["spent_hours"].sum() if len(priced) and priced["spent_hours"].sum() > 0 else None
    below = rate is not None and year.needed is not None and rate < year.needed.hours
    st.html(
        tables.figures([
            ("charged", f"{hours(year.hours('chargeable'))} h", False), ("at the studio’s own cost", f"{hours(year.hours('own_cost'))} h", False), ("studio time", f"{hours(year.hours('studio'))} h", False),
            (f"an hour earned{without_tax(year.studio)}, of works finished", money(rate, year.studio.currency) if rate is not None else "–", below),
        ])
    )  # fmt: skip


def _hours(year: Year) -> None:
    st.header("Where its hours went")
    st.write(said.charged(year))
    if year.months.empty:
        return
    sums = year.months.groupby("what")["hours"].sum()
    st.altair_chart(
        charts.months(year.months), width="stretch", theme=None,
        alt=f"Hours by month in {year.first.year}: {'; '.join(f'{words} {hours(sums[what])} h' for what, words in charts.WHAT.items() if what in sums.index)}.",
    )  # fmt: skip
    studio = year.months[year.months["what"] == "studio"].groupby("technique")["hours"].sum().sort_values(ascending=False)
    if len(studio):
        rows = [[str(name), hours(value), f"{value / sums.sum():.0%}"] for name, value in studio.items()]
        st.html(tables.ledger("Studio time", ["studio time", "hours", "of all"], rows))


def _earned(year: Year) -> None:
    st.header("What an hour earned")
    st.write(said.earned(year))
    frame.ask_about_tax(year.unsaid)
    currency = year.studio.currency
    if len(year.kinds):
        rows = [
            [row["kind"], f"{row['works']}", hours(row["spent_hours"]), money(row["net"], currency), money(row["earned_per_hour"], currency)] for row in year.kinds.to_dict("records")
        ]  # fmt: skip
        st.html(
            tables.ledger(
                "What an hour earned, by kind",
                ["kind of work", "works", "hours", f"price without {_tax_and(year)}costs", f"an hour{without_tax(year.studio)}"],
                rows,
            )
        )
    if len(year.works):
        st.subheader("Work by work")
        rows_of_works: list[list[tables.Cell]] = [
            [
                held.work_link(row["object"]), money(row["earned_per_hour"], currency) if pd.notna(row["earned_per_hour"]) else "–", hours(row["actual_hours"]), signed_hours(difference(row["actual_hours"], row["approved_hours"])), hours(row["approved_hours"]),
                hours(row["own_cost_hours"]) if row["own_cost_hours"] else "", money(row["net"], currency) if pd.notna(row["net"]) else "–", row["kind"],
            ]
            for row in year.works.head(SHOWN).to_dict("records")
        ]  # fmt: skip
        heads = [
            "work", f"an hour{without_tax(year.studio)}", "took, h", "difference, h", "approved, h", "own cost, h", f"price without {_tax_and(year)}costs", "kind",
        ]  # fmt: skip
        st.html(tables.ledger("What an hour earned, work by work", heads, rows_of_works, words=(0, 7)))
        frame.say(
            [
                "The latest finished stands first. The difference is from all hours approved, with what might turn up; One work holds each line against its own, and says where the two differ."
            ]
        )
        frame.say(
            [
                "Hours agreed on top are charged apart, and not in these." if year.works["extra_hours"].any() else "",
                f"And {counted(len(year.works) - SHOWN, 'more work')} in the CSV." if len(year.works) > SHOWN else "",
            ]
        )


def _tax_and(year: Year) -> str:
    return f"{tax_of(year.studio)} and " if year.studio.tax_per_cent else ""


def _experience() -> None:
    st.header("Pace with experience")
    rates = held.rates(held.today())
    found = rates.experience
    for sentence in said.experience(found):
        st.write(sentence)
    sure = [(technique, told) for technique, told in found if told.surely]
    if sure:
        rows = [
            [technique, f"{told.times}", f"{told.share - 1:+.0%}".replace("-", "−"), f"{told.low - 1:+.0%} to {told.high - 1:+.0%}".replace("-", "−")] for technique, told in sure
        ]  # fmt: skip
        st.html(tables.ledger("Pace with experience", ["technique", "works", "hours, with each doubling", "4 in 5"], rows))
    frame.say([said.FORM])


def _csv(content: pd.DataFrame) -> str:
    return as_csv_text(content)


frame.show("The year", body)
