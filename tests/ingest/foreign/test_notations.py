"""Days, clock times and hours as other tables write them."""

from __future__ import annotations

import pytest

from ingest.errors import NotationError
from ingest.foreign import notations
from ingest.foreign.reading import HoursUnit, Reading
from ingest.values.calendar_days import DayOrder

READING = Reading(rows="time entries", columns={}, day_order="dmy", serial_days=True)


@pytest.mark.parametrize(
    ("text", "order", "year", "expected"),
    [
        # names of months and days: Unicode CLDR, in ten languages
        ("5 March 2024", "unset", None, "2024-03-05"),
        ("March 5th, 2024", "unset", None, "2024-03-05"),
        ("5. März 2024", "unset", None, "2024-03-05"),
        ("Di., 5. Mär. 24", "unset", None, "2024-03-05"),
        ("mardi 5 mars 2024", "unset", None, "2024-03-05"),
        ("5 de marzo de 2024", "unset", None, "2024-03-05"),
        ("5 ottobre 2024", "unset", None, "2024-10-05"),
        ("2024 Oct 5", "unset", None, "2024-10-05"),
        ("5 mei", "unset", 2024, "2024-05-05"),
        ("Mo 5.2.", "dmy", 2024, "2024-02-05"),
        ("2/5", "mdy", 2024, "2024-02-05"),
        ("05-02-2024", "dmy", None, "2024-02-05"),
        ("2024-02-05 00:00:00", "unset", None, "2024-02-05"),
        # ISO/IEC 29500-1, 18.17.4.1: serial 1 is 1 January 1900, and 61 is 1 March 1900
        ("61", "unset", None, "1900-03-01"),
        ("45356", "unset", None, "2024-03-05"),
        ("45356.75", "unset", None, "2024-03-05"),
    ],
)
def test_a_day_is_read_as_it_is_written(text: str, order: DayOrder, year: int | None, expected: str) -> None:
    assert notations.day(text, order, year, serial=True) == expected


@pytest.mark.parametrize(
    ("text", "order", "year", "code"),
    [
        ("5.2.2024", "unset", None, "day_or_month_first"),
        ("5.2.", "unset", 2024, "day_or_month_first"),
        ("5.2.", "dmy", None, "not_a_day"),
        ("31 February 2024", "dmy", None, "not_in_the_calendar"),
        ("30.2.", "dmy", 2024, "not_in_the_calendar"),
        ("13/13/2024", "mdy", None, "not_in_the_calendar"),
        ("soon", "dmy", 2024, "not_a_day"),
        ("5 March", "dmy", None, "not_a_day"),
        ("45356", "dmy", None, "not_a_day"),  # nobody said that numbers are days
        ("March 5 or 6 2024", "dmy", None, "not_a_day"),
    ],
)
def test_a_day_in_doubt_is_none(text: str, order: DayOrder, year: int | None, code: str) -> None:
    with pytest.raises(NotationError) as caught:
        notations.day(text, order, year, serial=False)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Monday", 0),
        ("Mo", 0),
        ("lun.", 0),
        ("Dienstag", 1),
        ("woensdag", 2),
        ("jeudi", 3),
        ("Fr.", 4),
        ("sábado", 5),
        ("søndag", 6),
        ("Mon 5", 0),
    ],
)
def test_a_day_of_the_week_is_read_by_its_name(text: str, expected: int) -> None:
    assert notations.weekday(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("9", "09:00"),
        ("9:05", "09:05"),
        ("9.30", "09:30"),
        ("9h15", "09:15"),
        ("14 Uhr", "14:00"),
        ("12:30 am", "00:30"),
        ("12 pm", "12:00"),
        ("1:15 p.m.", "13:15"),
        ("24:00", "24:00"),
        ("08:15:30", "08:15:30"),
    ],
)
def test_a_time_of_day_is_read_as_it_is_written(text: str, expected: str) -> None:
    assert notations.clock(text) == expected


@pytest.mark.parametrize("text", ["25:00", "24:01", "13 pm", "0 am", "half nine", "9:60", ""])
def test_what_no_clock_shows_is_no_time(text: str) -> None:
    with pytest.raises(NotationError):
        notations.clock(text)


@pytest.mark.parametrize("text", ["9:00-12:30", "9 – 12.30", "9:00 to 12:30", "9h bis 12h30", "9:00—12:30"])
def test_two_times_of_one_cell(text: str) -> None:
    assert notations.from_to(text) == "09:00|12:30"


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("1.5", "hours", 1.5),
        ("90", "minutes", 1.5),
        ("1 h 30 min", "minutes", 1.5),
        ("0,5", "days", 4.0),
        ("½", "days", 4.0),
        ("2 Tage", "hours", 16.0),
        ("1:30", "days", 1.5),
        ("1½", "hours", 1.5),
    ],
)
def test_a_bare_number_is_of_the_unit_said_and_the_rest_of_its_own(
    text: str, unit: HoursUnit, expected: float
) -> None:
    assert float(notations.hours(text, unit, 8.0, "")) == expected


def test_decimals_are_in_no_doubt_where_the_file_tells_them() -> None:
    assert notations.hours("1,125", "hours", 8.0, ",") == "1.1250"
    with pytest.raises(NotationError):
        notations.hours("1,125", "hours", 8.0, "")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("5.2.2024 14:30", "2024-02-05T14:30"),
        ("5 Feb 2024, 2:30 pm", "2024-02-05T14:30"),
        ("2024-02-05T14:30:00+01:00", "2024-02-05T14:30+01:00"),
        ("2024-02-05 14:30Z", "2024-02-05T14:30Z"),
        ("45327.604166666664", "2024-02-05T14:30:00"),
        ("14:30", "14:30"),
    ],
)
def test_a_day_with_its_time_in_one_cell(text: str, expected: str) -> None:
    assert notations.instant(text, READING) == expected


@pytest.mark.parametrize(
    ("text", "mark", "expected"),
    [
        ("€ 1.450,00", ",", "1450"),
        ("CHF 1,450.50", ".", "1450.5"),
        ("50,5 cm", ",", "50.5"),
        ("1.450", "", "1.450"),
        ("unknown", ",", "unknown"),
    ],
)
def test_an_amount_without_its_signs(text: str, mark: str, expected: str) -> None:
    assert notations.number(text, mark) == expected  # type: ignore[arg-type]
