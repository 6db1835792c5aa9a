"""The days of a treatment as a wall calendar shows them."""

from datetime import date

import pandas as pd
from hypothesis import given
from hypothesis import strategies as some

from dashboard import queries
from dashboard.analysis.report.treatment_days import days_of_treatment, stretches
from dashboard.charts.treatment_calendar import calendar
from ingest.store import Store
from tests.conftest import LATER, Bring

HEAD = "object,phase,technique,person,started_at,ended_at,mode\n"


def test_hours_stand_on_their_day_and_waiting_on_every_day_it_runs(studio: Bring, store: Store) -> None:
    studio(
        "e.csv",
        HEAD + "24-001,,facing,Ilse,2024-02-01 09:00,2024-02-01 11:30,\n24-001,,pressing,Ilse,2024-02-01"
        " 16:00,2024-02-04 09:00,unattended\n24-001,,facing,Ilse,2024-03-20 09:00,2024-03-20 10:00,\n",
    )
    entries = queries.entries(store.cursor(), LATER, "24-001")
    days = days_of_treatment(entries)
    assert days.loc[days["hours"] > 0, ["day", "hours"]].to_numpy().tolist() == [
        [pd.Timestamp("2024-02-01"), 2.5],
        [pd.Timestamp("2024-03-20"), 1.0],
    ]
    assert days.loc[days["waiting"], "day"].dt.day.tolist() == [1, 2, 3, 4]
    # the weeks between have neither
    assert days["week"].unique().tolist() == [pd.Timestamp("2024-01-29"), pd.Timestamp("2024-03-18")]
    assert stretches(entries)["hours"].tolist() == [65.0]
    chart = calendar(days).to_dict()
    assert [layer["mark"]["type"] for layer in chart["layer"]] == ["rect", "rect", "text"]


@given(some.lists(some.dates(date(2019, 12, 1), date(2021, 2, 1)), min_size=1, max_size=12))
def test_every_week_has_seven_days_from_monday_and_they_are_those_of_iso_8601(days: list[date]) -> None:
    # ISO 8601 as implemented by Python's date.isocalendar
    entries = pd.DataFrame(
        {
            "day": days,
            "counted_hours": 1.0,
            "hours": 1.0,
            "technique": "facing",
            "part": "",
            "mode": "hands_on",
            "ends": pd.NaT,
        }
    )
    shown = days_of_treatment(entries)
    assert shown["hours"].sum() == len(days)
    for week, inside in shown.groupby("week"):
        assert isinstance(week, pd.Timestamp) and len(inside) == 7
        assert {item.isocalendar()[:2] for item in inside["day"]} == {week.isocalendar()[:2]}
        assert inside["weekday"].tolist() == ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]


def test_a_wait_without_a_clock_fills_as_many_days_as_its_hours() -> None:
    entries = pd.DataFrame(
        {
            "day": [date(2024, 2, 5)],
            "counted_hours": 0.0,
            "hours": 48.0,
            "technique": "pressing",
            "part": "",
            "mode": "unattended",
            "ends": [pd.NaT],
        }
    )
    assert days_of_treatment(entries)["waiting"].sum() == 2
