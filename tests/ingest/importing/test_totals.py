"""Hours that are a total of several days: how they are written, what they take no part in, and that they come
back as they went.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest

from dashboard import queries
from ingest.editing import corrections
from ingest.errors import BenchHoursError
from ingest.importing.files import import_files
from ingest.phone import form_state
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults as broken
from ingest.store import Store
from ingest.values.calendar_days import day_or_period
from tests.conftest import CHANGE, LATER, NOW, Bring, entries, faults
from tests.frames import record

HEAD = "object,technique,person,date,hours,total\n"


@pytest.mark.parametrize(
    ("written", "first", "last", "total"),
    [
        # ISO 8601-1:2019, 5.2.2.2 and 5.2.2.3 (from memory): dates of reduced precision, YYYY-MM and YYYY
        ("2024-03", date(2024, 3, 1), date(2024, 3, 31), "month"),
        ("2024", date(2024, 1, 1), date(2024, 12, 31), "year"),
        # how people write a month (common practice, no source)
        ("March 2024", date(2024, 3, 1), date(2024, 3, 31), "month"),
        ("Feb 2024", date(2024, 2, 1), date(2024, 2, 29), "month"),
        ("03/2024", date(2024, 3, 1), date(2024, 3, 31), "month"),
        ("12.2023", date(2023, 12, 1), date(2023, 12, 31), "month"),
        ("2024-03-05", date(2024, 3, 5), date(2024, 3, 5), None),
        ("5 March 2024", date(2024, 3, 5), date(2024, 3, 5), None),
    ],
)
def test_a_month_and_a_year_are_read_as_what_they_are(
    written: str, first: date, last: date, total: str | None
) -> None:
    period = day_or_period(written, "dmy")
    assert (period.first, period.last, period.total) == (first, last, total)


@pytest.mark.parametrize("written", ["13/2024", "March", "0000", "next 2024", "2024-3-40", "Mar 24"])
def test_what_is_neither_day_nor_month_nor_year_is_refused(written: str) -> None:
    with pytest.raises(BenchHoursError):
        day_or_period(written, "dmy")


def test_hours_of_a_month_or_year_are_a_total_of_any_length_dated_within_it(
    studio: Bring, store: Store
) -> None:
    with store.writing() as con:
        con.execute("UPDATE objects SET finished_on = DATE '2023-05-20' WHERE object = '24-001'")
    report = studio(
        "log.csv",
        HEAD
        + "24-001,varnish removal,Ilse,2023,60,\n"
        + "24-002,varnish removal,Ilse,March 2024,40,\n"
        + f"24-002,varnish removal,Ilse,{NOW:%Y},30,\n"
        + "24-002,retouching,Ilse,2024-05-06,30,yes\n"
        + "24-002,retouching,Ilse,2024-06,3,year\n"
        + "24-002,retouching,Ilse,2024-05-07,3,no\n",
    )
    assert faults(report) == [] and report.outcome.stored == 6
    totals = entries(store).dropna(subset="total")
    dated = {*zip(totals["hours"], totals["day"].dt.strftime("%Y-%m-%d"), totals["total"], strict=True)}
    assert dated == {
        (60.0, "2023-05-20", "year"),  # the day on which the work was finished lies within it
        (40.0, "2024-03-31", "month"),
        (30.0, f"{LATER:%Y-%m-%d}", "year"),  # not on a day to come
        (30.0, "2024-05-06", "day"),
        (3.0, "2024-06-30", "year"),
    }
    # neither a long day nor 30 hours on one is asked about
    assert set(report.doubts["code"]) <= {"technique_in_doubt"}
    assert broken(store.cursor()) == []


def test_more_than_16_hours_in_one_spell_are_refused_with_the_way_to_mark_a_total(
    studio: Bring, store: Store
) -> None:
    report = studio("log.csv", HEAD + "24-001,varnish removal,Ilse,2024-05-06,40,\n")
    assert faults(report) == ["2 hours: is more than 16 hours in one spell"]
    assert report.problems["mend"].tolist() == [
        "Split it into days, give the mode unattended if nobody stood by, or write yes under total if these"
        " are the hours of several days."
    ]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (",9,no,2024-05-06 09:00,2024-05-06 18:00", None),
        (
            ",,yes,2024-05-06 09:00,2024-05-06 18:00",
            "total: is given, but so are clock times, which are of one spell",
        ),
        ("2024-05,9,no,,", "date: is no day, and total says that these are the hours of one"),
        ("2199-05,9,,,", "date: lies in the future"),
        ("2024-05,9,weeks,,", "total: is neither yes nor no"),
    ],
)
def test_a_total_has_no_clock_and_no_day_to_come(studio: Bring, row: str, said: str | None) -> None:
    head = "object,technique,person,date,hours,total,started_at,ended_at\n"
    report = studio("log.csv", f"{head}24-001,varnish removal,Ilse,{row}\n")
    assert faults(report) == ([] if said is None else [f"2 {said}"])


def test_an_entry_without_a_total_is_known_as_before_there_were_any(studio: Bring, store: Store) -> None:
    """The hash is the one by which the program stored this row before the column was there."""
    studio("log.csv", "object,technique,person,date,hours\n24-001,varnish removal,Ilse,2024-05-06,3\n")
    con = store.cursor()
    phase, technique, person = con.execute(
        """SELECT p.key, t.key, w.key FROM time_entries AS e JOIN phases AS p USING (phase)
        JOIN techniques AS t ON t.technique = e.technique
        JOIN person_spellings AS w ON w.written = e.person"""
    ).fetchall()[0]
    # an empty part, clock times, quantity, done and note are nulls: only the marks between them stand
    said = "\x1f".join(
        ["24-001", phase, technique, "", person, "2024-05-06", "", "", "3.0", "hands_on", "quoted"]
    )
    said += "\x1f" + "\x1f".join(["", "", "false", ""])
    assert con.execute("SELECT content = md5(?)::UUID FROM spells", [said]).fetchall() == [(True,)]


def test_a_total_is_the_same_on_whatever_day_it_comes_in(studio: Bring, store: Store, tmp_path: Path) -> None:
    text = HEAD + f"24-001,varnish removal,Ilse,{NOW:%Y},60,\n"
    studio("log.csv", text)
    later = datetime(NOW.year, 12, 31, 12)
    again = import_files(store, [tmp_path / "log.csv"], now=later)[0]
    assert (again.outcome.stored, again.outcome.already_held) == (0, 1)


def test_totals_go_out_and_come_back(studio: Bring, store: Store, tmp_path: Path) -> None:
    studio("objects.csv", "object,title,remembered\nM20-1,Harbour at dusk,yes\nM20-2,Mill,no\n")
    studio(
        "log.csv",
        HEAD
        + "M20-1,varnish removal,Ilse,2023,60,\n24-002,varnish removal,Ilse,March 2024,40,\n"
        + "24-002,retouching,Ilse,2024-05-06,30,yes\n24-002,retouching,Ilse,2024-05-06,3,\n",
    )
    export(store, tmp_path / "out", private=True)
    with Store(tmp_path / "other.duckdb") as other:
        reports = import_files(other, sorted((tmp_path / "out").glob("*.csv")), now=NOW)
        assert all(report.complete for report in reports)
        before, after = (
            con.execute(
                "SELECT entry, object, day, hours, total, content FROM time_entries ORDER BY ALL"
            ).df()
            for con in (store.cursor(), other.cursor())
        )
        pd.testing.assert_frame_equal(before, after)
        assert other.cursor().execute(
            "SELECT object, remembered FROM objects WHERE object LIKE 'M%' ORDER BY object"
        ).fetchall() == [("M20-1", True), ("M20-2", False)]
        again = import_files(other, [tmp_path / "out" / "time_entries.csv"], now=NOW)[0]
        assert (again.outcome.stored, again.outcome.already_held) == (0, 4)


def test_a_total_is_no_hours_of_a_week_of_a_pause_or_of_a_day_on_the_phone(
    studio: Bring, store: Store
) -> None:
    day = f"{NOW:%Y-%m-%d}"
    studio(
        "log.csv", HEAD + f"24-001,varnish removal,Ilse,{day},30,yes\n24-001,varnish removal,Ilse,{day},3,\n"
    )
    con = store.cursor()
    weeks = queries.bench_weeks(con, LATER + timedelta(days=7), 8)
    assert weeks["hours"].tolist() == [3.0]
    since = date(2020, 1, 1)
    assert queries.cautioned(con, LATER, "Ilse", since)["hours"].tolist() == [3.0]
    told = form_state.bench(con, "Ilse", now=NOW)
    assert [entry["hours"] for entry in told["entries"]] == [3.0]


def test_a_total_that_is_corrected_or_taken_back_stays_a_total(
    studio: Bring, store: Store, lines: Callable[..., pd.DataFrame]
) -> None:
    studio("log.csv", HEAD + "24-001,varnish removal,Ilse,March 2024,40,\n")
    held = record(entries(store))
    row = corrections.as_row(held)
    assert (row["date"], row["total"]) == ("2024-03-31", "month")
    corrections.correct(store, held["entry"], {**row, "hours": "44"}, CHANGE)
    corrections.take_back(store, held["entry"], CHANGE)
    assert lines().empty
    corrections.put_back(store, held["entry"], CHANGE)
    back = entries(store)
    assert back[["hours", "total"]].to_numpy().tolist() == [[44.0, "month"]]
    assert broken(store.cursor()) == []
