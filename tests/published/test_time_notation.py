"""Instants and durations against published standards."""

from datetime import datetime

import pytest

from ingest.store import Store
from ingest.values import calendar_days, durations
from tests.conftest import Bring, entries, faults
from tests.frames import record


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        # RFC 3339 section 5.8, the examples as printed (the last from memory).
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57)),
        ("1990-12-31T23:59:60Z", datetime(1991, 1, 1)),  # a leap second, read as the midnight that follows
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870000)),
    ],
)
def test_rfc_3339_examples_are_read_as_printed(text: str, utc: datetime) -> None:
    assert calendar_days.instant(text, "unset", "Europe/Berlin").utc == utc


@pytest.mark.parametrize(
    ("text", "hours"), [("PT1H30M", 1.5), ("PT0.5H", 0.5), ("PT30M", 0.5), ("PT36H", 36.0), ("P1W", 168.0)]
)
def test_iso_8601_durations(text: str, hours: float) -> None:
    """ISO 8601 durations (from memory; a day is counted as 24 hours here)."""
    assert durations.hours(text) == hours


def _log(studio: Bring, start: str, end: str) -> str:
    return (
        "object,phase,technique,person,started_at,ended_at,mode\n"
        f"24-001,,pressing,Ilse,{start},{end},unattended\n"
    )


def test_new_york_clock_put_back_2014(studio: Bring, store: Store) -> None:
    """PEP 495: 01:30 on 2 November 2014 is epoch 1414906200, then again 1414909800."""
    with store.writing() as con:
        con.execute("UPDATE settings SET value = 'America/New_York' WHERE setting = 'zone'")
    report = studio("e.csv", _log(studio, "2014-11-02 01:30", "2014-11-02 01:30-05:00"))
    assert report.complete
    entry = record(entries(store))
    start, end = entry["started_at"], entry["ended_at"]
    assert (start.timestamp(), end.timestamp()) == (1414906200, 1414909800)
    assert [row.reason for row in report.warnings.itertuples()] == [
        "was on the clock twice (it was put back); taken as the first time"
    ]


def test_berlin_clock_put_back_and_forward_2024(studio: Bring, store: Store) -> None:
    """tzdata: 27 October 2024, 01:30 to 03:30 lasts 3 hours; 31 March 2024, 01:30 to 03:30 lasts 1 hour, and
    02:30 never was.
    """
    text = (
        _log(studio, "2024-10-27 01:30", "2024-10-27 03:30")
        + "24-001,,pressing,Ilse,2024-03-31 01:30,2024-03-31 03:30,unattended\n"
    )
    text += "24-001,,pressing,Ilse,2024-03-31 02:30,2024-03-31 05:30,unattended\n"
    report = studio("e.csv", text)
    assert entries(store)["hours"].tolist() == [1.0, 3.0]
    assert faults(report) == ["4 started_at: never was on the clock: it was put forward over this hour"]
    again = studio("f.csv", _log(studio, "2024-10-27 02:30+01:00", "2024-10-27 03:00"), held_back_as="new")
    assert again.complete and entries(store)["hours"].tolist() == [1.0, 3.0, 0.5]


def test_an_ambiguous_end_is_the_first_time_after_the_start(studio: Bring, store: Store) -> None:
    studio("e.csv", _log(studio, "2024-10-27 02:45", "2024-10-27 02:15"))
    assert entries(store)["hours"].tolist() == [0.5]
