"""Which lines are looked at, and what becomes of the sums."""

from datetime import date

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as some

from dashboard import queries
from dashboard.analysis.report.filters import choose, periods, share_of
from dashboard.analysis.report.overruns import (
    CAUSES,
    by_half_year,
    by_object,
    by_phase,
    by_technique,
    by_work,
    compare,
    totals,
)
from ingest.store import Store
from tests.conftest import LATER, Bring
from tests.frames import row_of

LOG = """object,phase,technique,person,date,hours
24-001,,facing,Ilse,2024-02-01,3
24-001,,facing,Bram,2024-02-02,1
24-001,,packing,Bram,2024-09-05,2
24-002,,facing,Bram,2024-10-01,5
24-002,,travel,Ilse,2024-10-02,1
"""
ESTIMATES = """object,version,made_on,approved_on,phase,technique,hours
24-001,1,2024-01-05,2024-01-09,,facing,2
24-001,1,2024-01-05,2024-01-09,,packing,2
24-002,1,2024-01-05,2024-01-09,,facing,4
"""


@pytest.fixture
def two(studio: Bring, store: Store) -> Store:
    """Two works: one finished in two half-years, one on the bench."""
    studio("est.csv", ESTIMATES)
    studio("log.csv", LOG)
    studio(
        "m.csv",
        "object,phase,technique,finished_on\n24-001,stabilisation,facing,2024-02-03\n24-001,handover,packing,2024-09-06\n24-002,,facing,2024-10-03\n",
    )
    studio("o.csv", "object,kind,finished_on\n24-001,frame,2024-09-06\n24-002,easel painting,\n")
    return store


def test_a_finished_line_belongs_to_the_day_it_was_finished_and_an_open_one_to_its_last_entry(
    two: Store,
) -> None:
    con = two.cursor()
    lines, works = queries.overruns(con, LATER), queries.works(con, LATER)
    known = periods(lines, LATER)
    assert list(known) == ["12-months", "2024"]
    assert (
        len(choose(lines, works, period=known["2024"])) == 4
        and choose(lines, works, period=known["12-months"]).empty
    )
    autumn = choose(lines, works, period=type(known["2024"])("autumn", date(2024, 9, 1), date(2024, 12, 31)))
    assert sorted(zip(autumn["object"], autumn["technique"], strict=True)) == [
        ("24-001", "packing"),
        ("24-002", "facing"),
        ("24-002", "travel"),
    ]


def test_kind_finished_and_person_leave_the_lines_they_say(two: Store) -> None:
    con = two.cursor()
    lines, works = queries.overruns(con, LATER), queries.works(con, LATER)
    assert (
        set(choose(lines, works, kind="frame")["object"]) == {"24-001"}
        and choose(lines, works, kind="").empty
    )
    assert set(choose(lines, works, finished=False)["object"]) == {"24-002"}
    ilse = queries.person_hours(con, LATER, "Ilse")
    hers = choose(lines, works, person_hours=ilse)
    assert sorted(hers["actual_hours"]) == [1.0, 4.0] and share_of(hers, ilse) == 4.0


def test_works_techniques_and_half_years_sum_to_the_same_total(two: Store) -> None:
    comparison = compare(queries.overruns(two.cursor(), LATER))
    expected = totals(by_phase(comparison))
    for sums in (by_technique(comparison), by_half_year(comparison)):
        pd.testing.assert_series_equal(totals(sums), expected)
    assert by_half_year(comparison)["half_year"].tolist() == ["2024 Jan–Jun", "2024 Jul–Dec"]
    works = by_work(comparison)
    assert works[["object", "difference_hours", "open_lines"]].to_numpy().tolist() == [
        ["24-001", 2.0, 0],
        ["24-002", 2.0, 1],
    ]
    known = by_object(queries.overruns(two.cursor(), LATER))
    assert row_of(known, "24-002")[["estimated_hours", "actual_hours", "open_lines"]].tolist() == [
        4.0,
        6.0,
        1,
    ]


@given(
    some.lists(
        some.tuples(
            some.sampled_from(["a", "b", "c"]),
            some.floats(-50, 50),
            some.floats(0, 50),
            some.dates(date(2019, 1, 1), date(2025, 12, 31)),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_whatever_the_lines_the_half_years_and_techniques_sum_to_all_of_them(
    rows: list[tuple[str, float, float, date]],
) -> None:
    frame = pd.DataFrame(
        [
            {
                "object": name,
                "phase": "p",
                "technique": name,
                "part": "",
                "position": 1,
                "estimated_hours": hours,
                "actual_hours": hours + over,
                "difference_hours": over,
                "more_to_do_hours": over,
                "slower_hours": 0.0,
                "unforeseen_hours": 0.0,
                "not_needed_hours": 0.0,
                "finished": True,
                "yardstick": "approved",
                "extra_hours": 0.0,
                "own_cost_hours": 0.0,
                "unit": None,
                "estimated_quantity": None,
                "actual_quantity": None,
                "quantity_incomplete": False,
                "done": None,
                "finished_on": pd.Timestamp(day),
            }
            for name, over, hours, day in rows
        ]
    )
    comparison = compare(frame)
    for sums in (by_technique(comparison), by_half_year(comparison), by_phase(comparison)):
        assert sums["difference_hours"].sum() == pytest.approx(sum(over for _, over, _, _ in rows), abs=1e-6)
        assert (sums[list(CAUSES)].sum(axis=1) - sums["difference_hours"]).abs().max() < 1e-6
