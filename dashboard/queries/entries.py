"""Time entries: as they are held, as they were, by day and by person."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date

import pandas as pd

from dashboard.queries.base import frame
from dashboard.queries.levels import frame_of_compared
from ingest.sql import Connection
from ingest.studio.settings import read_settings


def dated_hours(con: Connection, as_of: date, known_object: str) -> pd.DataFrame:
    """The dated hours of one object: `day`, `position` (of the phase), `phase`, `technique`, `part`,
    `charge`, `hours`, `unattended_hours`, `quantity`, `unit`, `note`.
    """
    return frame(con, "statement", as_of=as_of, object=known_object)


def person_hours(con: Connection, as_of: date, person: str) -> pd.DataFrame:
    """The lines on which a person has worked: `object`, `phase`, `technique`, `part`, and the counted `hours`
    of that person held against the estimate.
    """
    return frame_of_compared(con, "person_hours", as_of, person=person)


def hours_by_day(con: Connection, as_of: date, objects: Collection[str]) -> pd.DataFrame:
    """Hours of each line of some works held against the estimate, day by day: `object`, `phase`, `technique`,
    `part`, `day`, `hours` (by that day, in all).
    """
    return frame_of_compared(con, "hours_by_day", as_of, objects=list(objects))


def who_did(con: Connection, as_of: date) -> pd.DataFrame:
    """Who did most of each line that was begun on works not finished yet: `object`, `phase`, `technique`,
    `part`, `person`.
    """
    return frame_of_compared(con, "who_did", as_of)


def entries(con: Connection, as_of: date, known_object: str) -> pd.DataFrame:
    """The time entries of one object, `begins` and `ends` on the studio's clock, `corrected` (times)."""
    return frame(con, "entries", as_of=as_of, object=known_object, zone=read_settings(con).zone)


def earlier_entries(con: Connection, known_object: str) -> pd.DataFrame:
    """What entries of one object said before, and what happened then (`event`); `taken_back` marks those that
    are in the record no more.
    """
    return frame(con, "earlier_entries", object=known_object)


def held_back(con: Connection) -> pd.DataFrame:
    """Rows that wait for a word, each beside the entry that it resembles (`held_…`)."""
    return frame(con, "held_back")
