"""Questions put to the database by the pages, where an honest answer is not the first one."""

from datetime import date

import pandas as pd

from dashboard import queries
from dashboard.analysis.report.overruns import by_object, compare, open_summary
from dashboard.text.overruns import remarks
from ingest.editing import approvals, corrections, version_outcomes
from ingest.store import Store
from tests.conftest import CHANGE, LATER, Bring, entries
from tests.frames import record

HEAD = "object,phase,technique,person,date,hours\n"


def test_of_options_each_is_summed_with_the_lines_that_belong_to_all_until_one_is_approved(
    studio: Bring, store: Store
) -> None:
    studio(
        "est.csv",
        "object,version,made_on,phase,technique,option,quantity,hours\n24-001,1,2024-02-01,,lining,A,,10\n24-001,1,2024-02-01,,strip"
        " lining,B,,20\n24-001,1,2024-02-01,,filling,,2,\n24-001,1,2024-02-01,,packing,,,3\n",
    )
    versions = queries.versions(store.cursor(), "24-001")
    assert versions[["option", "hours", "unpriced", "lines"]].to_numpy().tolist() == [
        ["A", 13.0, 1, 3],
        ["B", 23.0, 1, 3],
    ]
    with store.writing() as con:
        approvals.approve(con, "24-001", 1, date(2024, 2, 2), "B", CHANGE)
    assert queries.versions(store.cursor(), "24-001")[["option", "hours"]].to_numpy().tolist() == [
        ["B", 23.0]
    ]
    assert queries.overruns(store.cursor(), LATER)["estimated_hours"].sum() == 23.0


def test_by_which_version_a_work_stands_and_which_waits_for_a_word_is_told_as_it_was_on_any_day(
    studio: Bring, store: Store
) -> None:
    lines = (
        "24-001,1,2024-02-01,2024-02-05,,filling,1,",
        "24-001,2,2024-02-10,,,filling,2,",
        "24-001,3,2024-02-20,2024-02-25,,filling,3,",
        "24-001,3,2024-02-20,2024-02-25,,packing,3,A",
        "24-001,3,2024-02-20,,,packing,30,B",
    )
    studio("est.csv", "\n".join(("object,version,made_on,approved_on,phase,technique,hours,option", *lines)))
    with store.writing() as con:
        version_outcomes.end(con, "24-001", 2, "declined", date(2024, 2, 15), LATER, CHANGE)
    con = store.cursor()
    told = {}
    for day in (1, 5, 10, 15, 20, 25):
        on = date(2024, 2, day)
        told[day] = (
            queries.yardstick(con, on, "24-001"),
            queries.waiting_versions(con, on).get("24-001"),
            queries.overruns(con, on)["estimated_hours"].sum(),
            queries.planned_lines(con, on, ["24-001", "24-002"])["technique"].tolist(),
        )
    assert told == {
        1: ((1, False), 1, 1.0, ["filling"]),
        5: ((1, True), None, 1.0, ["filling"]),
        10: ((1, True), 2, 1.0, ["filling"]),
        15: ((1, True), None, 1.0, ["filling"]),  # declined
        20: ((1, True), 3, 1.0, ["filling"]),
        25: ((3, True), None, 6.0, ["filling", "packing"]),  # and its option A
    }
    assert (
        queries.yardstick(con, date(2024, 1, 31), "24-001") is None
        and queries.planned_lines(con, date(2024, 2, 25), ["24-002"]).empty
    )


def test_hours_on_a_line_estimated_in_quantity_only_are_named_and_not_held_against_others(
    studio: Bring, store: Store
) -> None:
    studio(
        "est.csv",
        "object,version,made_on,approved_on,phase,technique,quantity,hours\n24-001,1,2024-02-01,2024-02-02,,filling,2,\n24-001,1,2024-02-01,2024-02-02,,texturing,,3\n",
    )
    studio("log.csv", HEAD + "24-001,,filling,Ilse,2024-03-01,10\n24-001,,texturing,Ilse,2024-03-01,1\n")
    lines = queries.overruns(store.cursor(), LATER)
    comparison = compare(lines)
    assert open_summary(comparison)["actual_hours"] == 1.0 and comparison.unpriced_lines == 1
    assert "Left out: 1 line estimated without hours, in quantity or by the price alone." in remarks(
        comparison
    )
    known = by_object(lines).loc["24-001"]
    assert [
        known["estimated_hours"],
        known["actual_hours"],
        known["unpriced_hours"],
        known["open_lines"],
    ] == [3.0, 1.0, 10.0, 2]


def test_extra_work_too_is_work_of_a_person(studio: Bring, store: Store) -> None:
    studio(
        "log.csv",
        HEAD.replace("hours", "hours,charge")
        + "24-001,,facing,Ilse,2024-03-01,3,extra\n24-001,,packing,Ilse,2024-03-01,2,\n",
    )
    told = queries.person_hours(store.cursor(), LATER, "Ilse").sort_values("technique")
    assert told[["technique", "hours"]].to_numpy().tolist() == [["facing", 0.0], ["packing", 2.0]]


def test_an_entry_moved_to_another_work_is_not_offered_to_be_put_back_on_the_first(
    studio: Bring, store: Store
) -> None:
    studio("log.csv", HEAD + "24-001,,facing,Ilse,2024-03-01,3\n")
    entry = entries(store).iloc[0]
    row = corrections.as_row(record(entries(store)))
    corrections.correct(store, entry["entry"], {**row, "object": "24-002", "hours": "5"}, CHANGE)
    corrections.take_back(store, entry["entry"], CHANGE)
    assert queries.earlier_entries(store.cursor(), "24-001")["taken_back"].tolist() == [False]
    assert queries.earlier_entries(store.cursor(), "24-002")["taken_back"].tolist() == [True]
    corrections.put_back(store, entry["entry"], CHANGE)
    assert queries.entries(store.cursor(), LATER, "24-002")["corrected"].tolist() == [1]


def test_a_wait_ends_on_the_day_of_the_studio_s_own_clock(studio: Bring, store: Store) -> None:
    studio(
        "log.csv",
        "object,phase,technique,person,started_at,ended_at,mode\n24-001,,pressing,Ilse,2024-05-30"
        " 10:00,2024-06-01 00:30,unattended\n",
    )
    works = queries.works(store.cursor(), LATER).set_index("object")
    assert works.at["24-001", "waits_until_there"] == pd.Timestamp("2024-06-01 00:30") and works.at[
        "24-001", "waits_until"
    ] == pd.Timestamp("2024-05-31 22:30")
    assert not {"owner", "owner_address"} & set(works.columns)
