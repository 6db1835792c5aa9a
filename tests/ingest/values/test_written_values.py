"""Hours, dates and sizes as people write them."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import NotationError
from ingest.values import calendar_days, durations, numbers, sizes, spelling, timezones
from tests.prepared import new_store


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1.5", 1.5),
        ("1,5", 1.5),
        ("1:30", 1.5),
        ("1h30", 1.5),
        ("1 h 30 min", 1.5),
        ("90 min", 1.5),
        ("90min", 1.5),
        ("90'", 1.5),
        ("PT1H30M", 1.5),
        ("pt90m", 1.5),
        ("0:05", 5 / 60),
        ("2h", 2),
        ("2 hrs", 2),
        ("1.5 h", 1.5),
        (".25", 0.25),
        ("12:00:36", 12.01),
        ("P1D", 24),
        ("PT0,5H", 0.5),
        ("1½", 1.5),
        ("¼", 0.25),
        ("2 ¾ h", 2.75),
        ("½ h", 0.5),
    ],
)
def test_hours_are_read_as_people_write_them(text: str, expected: float) -> None:
    assert durations.hours(text) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "abc",
        "1:75",
        "1h90",
        "PT",
        "P",
        "P1Y",
        "P1M",
        "1.5.2",
        "h",
        "min",
        "--1",
        "1e5",
        "nan",
        "inf",
        "½h x",
        "½½",
        "1.5½",
        "1:½",
    ],
)
def test_what_is_no_hours_is_refused_with_a_mend(text: str) -> None:
    with pytest.raises(NotationError) as caught:
        durations.hours(text)
    assert str(caught.value) == "cannot be read as hours. Write it like 1.5, 1:30, 1h30, 90 min or PT1H30M."


@given(st.integers(0, 500), st.integers(0, 59))
def test_every_way_of_writing_the_same_hours_gives_the_same_hours(whole: int, minutes: int) -> None:
    expected = whole + minutes / 60
    written = [
        f"{whole}:{minutes:02d}",
        f"{whole}h{minutes:02d}",
        f"{whole} h {minutes} min",
        f"PT{whole}H{minutes}M",
        f"{whole * 60 + minutes} min",
    ]
    assert {round(durations.hours(text), 9) for text in written} == {round(expected, 9)}


def test_a_date_in_numbers_is_read_only_by_the_studio_s_own_order() -> None:
    assert calendar_days.day("03/04/2025", "dmy") == date(2025, 4, 3)
    assert calendar_days.day("03/04/2025", "mdy") == date(2025, 3, 4)
    assert calendar_days.day("3.4.25", "dmy") == date(2025, 4, 3)
    assert calendar_days.day("2025/4/3", "unset") == date(2025, 4, 3)
    assert calendar_days.day("3 April 2025", "unset") == date(2025, 4, 3)
    with pytest.raises(NotationError) as caught:
        calendar_days.day("03/04/2025", "unset")
    assert (
        str(caught.value)
        == "may be day first or month first. Write it as year-month-day, or say once, under Studio, in which"
        " order this studio writes its dates."
    )
    for text, order in (
        ("04/13/2025", "dmy"),
        ("13/04/2025", "mdy"),
        ("12", "dmy"),
        ("April 2025", "dmy"),
        ("3 April", "dmy"),
        ("2025-02-30", "dmy"),
        ("Monday", "dmy"),
    ):
        with pytest.raises(NotationError):
            calendar_days.day(text, order)  # type: ignore[arg-type]


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_and_nothing_else(text: str) -> None:
    for read in (
        durations.hours,
        numbers.decimal,
        numbers.per_cent,
        spelling.yes_or_no,
        sizes.centimetres,
        sizes.square_decimetres,
    ):
        try:
            read(text)
        except NotationError as error:
            assert error.mend
    for order in calendar_days.DAY_ORDERS:
        try:
            calendar_days.instant(text, order, "Europe/Berlin")
        except NotationError as error:
            assert error.mend


def test_sizes_are_read_in_inches_and_areas_in_any_square_unit() -> None:
    # 1 inch = 2.54 cm exactly, international yard and pound agreement 1959 (from memory)
    assert sizes.centimetres("24 in") == pytest.approx(60.96)
    assert sizes.centimetres('10"') == pytest.approx(25.4)
    assert sizes.centimetres("600 mm") == pytest.approx(60)
    assert sizes.square_decimetres("0,48 m²") == pytest.approx(48)
    assert sizes.square_decimetres("4800 cm2") == pytest.approx(48)


@given(
    st.datetimes(datetime(1999, 1, 1), datetime(2030, 12, 30)),
    st.sampled_from(
        [
            "Europe/Berlin",
            "America/New_York",
            "Australia/Lord_Howe",
            "Asia/Kolkata",
            "America/Havana",
            "Africa/Casablanca",
        ]
    ),
)
def test_the_studio_s_clock_agrees_with_dateutil_on_every_reading(wall: datetime, zone: str) -> None:
    """Oracle: dateutil.tz, an implementation of its own."""
    wall = wall.replace(microsecond=0)
    with new_store() as store:
        con = store.cursor()
        timezones.prepare_days(con, [wall.date()], zone)
        utc, jumps = con.execute(
            f"SELECT {timezones.utc_of('w', 'd.')}, {timezones.in_change('w', 'd.')} FROM (SELECT"
            " ?::TIMESTAMP AS w) JOIN zone_days AS d ON d.day = w::DATE",
            [wall],
        ).fetchall()[0]
    aware = wall.replace(tzinfo=tz.gettz(zone))
    assert jumps == (not tz.datetime_exists(aware) or tz.datetime_ambiguous(aware))
    if tz.datetime_exists(aware):
        assert utc == aware.astimezone(tz.UTC).replace(tzinfo=None)
        assert utc == wall.replace(tzinfo=ZoneInfo(zone)).astimezone(ZoneInfo("UTC")).replace(tzinfo=None)
    else:
        assert utc is None


def test_the_day_after_a_change_is_plain_again() -> None:
    with new_store() as store:
        con = store.cursor()
        timezones.prepare_days(
            con, [date(2024, 3, 31) + timedelta(days=n) for n in (-1, 0, 1)], "Europe/Berlin"
        )
        assert con.execute("SELECT count(*) FROM zone_days WHERE change_from IS NOT NULL").fetchall() == [
            (1,)
        ]


@pytest.mark.parametrize(
    "text, cm",
    [
        ("24 1/2 in", 62.23),
        ('24½"', 62.23),
        ("24-1/2 in", 62.23),
        ("⅜ in", 0.9525),
        ("24 5/8 in", 62.5475),
        ("24.5 inches", 62.23),
    ],
)
def test_inches_may_end_in_a_fraction(text: str, cm: float) -> None:
    """1 inch = 25.4 mm exactly (international yard and pound agreement of 1959; value from memory)."""
    assert sizes.centimetres(text) == cm
    with pytest.raises(NotationError):
        sizes.centimetres("24 3/2 in")


@pytest.mark.parametrize("text", ["1,450", "-1,450", "12,125", "999,000"])
def test_one_mark_before_three_figures_is_asked_about_unless_it_is_known_how_the_file_writes_decimals(
    text: str,
) -> None:
    pointed = text.replace(",", ".")
    for doubtful in (text, pointed):
        with pytest.raises(NotationError, match=r"^may be ") as caught:
            numbers.decimal(doubtful)
        # what it proposes is read, and is the two things that may be meant
        thousand, fraction = caught.value.mend.removeprefix("Write ").removesuffix(".").split(" or ")
        assert (numbers.decimal(thousand), numbers.decimal(fraction)) == (
            float(text.replace(",", "")),
            float(pointed),
        )
    assert (
        numbers.decimal(numbers.of_a_file(text, ","))
        == numbers.decimal(numbers.of_a_file(pointed, "."))
        == float(pointed)
    )
    # ISO 8601 has no mark between thousands
    assert durations.hours(numbers.of_a_file("1,125 h", ",")) == durations.hours("PT1.125H") == 1.125
    for other, mark in ((pointed, ","), (text, ".")):  # there it stands between thousands
        with pytest.raises(NotationError):
            numbers.decimal(numbers.of_a_file(other, mark))  # type: ignore[arg-type]


@pytest.mark.parametrize("text", ["0.125", "0,450", "1450", "1.4500", "1,45", "1234.567", ".125", "12.3450"])
def test_a_number_that_can_mean_one_thing_alone_is_not_asked_about(text: str) -> None:
    assert numbers.decimal(text) == float(text.replace(",", "."))


def test_a_code_is_suggested_only_where_one_alone_is_near() -> None:
    codes = ["26-001", "26-002", "26-061", "KB-2024-017"]
    alike = {spelling.look_alike(code): code for code in codes}
    assert [
        spelling.nearest_code(text, alike)
        for text in ("26-06l", "26-O61", "26061", "26-016", "26-003", "27-005", "KB-2024-17", "")
    ] == ["26-061", "26-061", "26-061", "26-061", None, None, "KB-2024-017", None]


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("text", ["3 May 2024 Y", "3 May 2024 UTC", "3 May 2024 BST"])
def test_a_stray_word_behind_a_day_is_not_passed_over(text: str) -> None:
    with pytest.raises(NotationError, match="is not a day"):
        calendar_days.day(text, "dmy")
