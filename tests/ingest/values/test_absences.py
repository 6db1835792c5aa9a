"""Absences and the other settings of the bench, as they are written."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import BenchHoursError
from ingest.store import Store
from ingest.studio.settings import read_settings, write_settings
from ingest.values.absences import Absence, read_absences, written_absences

_WORDS = st.text("abc -é", min_size=0, max_size=12).map(lambda text: " ".join(text.split()))


@given(
    st.lists(
        st.builds(
            lambda first, days, person, note: Absence(
                first=date.fromordinal(first), last=date.fromordinal(first + days), person=person, note=note
            ),
            st.integers(730_000, 745_000),
            st.integers(0, 900),
            _WORDS,
            _WORDS,
        )
    )
)
def test_what_is_written_is_read_again(those: list[Absence]) -> None:
    assert read_absences(written_absences(those)) == sorted(set(those))


def test_absences_are_read_as_people_write_them() -> None:
    said = (
        "24 December 2026 to 2027-01-06; ; frost\n\n2026-05-01\n2026-03-02 until 2026-03-04; Ilse\n2026-04-01"
        " – 2026-04-02;Bram;a course; in Kendry"
    )
    assert read_absences(said) == [
        Absence(first=date(2026, 3, 2), last=date(2026, 3, 4), person="Ilse"),
        Absence(first=date(2026, 4, 1), last=date(2026, 4, 2), person="Bram", note="a course; in Kendry"),
        Absence(first=date(2026, 5, 1), last=date(2026, 5, 1)),
        Absence(first=date(2026, 12, 24), last=date(2027, 1, 6), note="frost"),
    ]


@pytest.mark.parametrize(
    "text, words",
    [
        ("2026-05-01\nsoon", 'line 2: "soon"'),
        ("2026-05-03 to 2026-05-01", "line 1: 2026-05-01 is before 2026-05-03"),
        ("3/4/2026", "may be day first or month first"),
        ("2026-01-01 to 2031-01-01", "more than three years"),
        ("; Ilse", "says no day"),
        ("2026-02-30", "line 1"),
    ],
)
def test_what_is_no_absence_is_refused_with_its_line(text: str, words: str) -> None:
    with pytest.raises(BenchHoursError, match=words):
        read_absences(text)


def test_settings_of_the_bench_are_kept_as_they_are_meant_and_refused_in_words(store: Store) -> None:
    with store.writing() as con:
        write_settings(
            con,
            {
                "bench_days": "friday, Mon; wed",
                "bench_hours_of_people": "Ilse 24; Bram 16",
                "blade_until": "9.30",
                "pauses": "no",
                "absences": "2026-05-01\n2026-03-02 to 2026-03-04; Ilse",
                "put_first": "24-001;; 24-002 ",
                "solvent_hours_a_day": "4,5",
            },
        )
        now = read_settings(con)
    assert (now.bench_days, now.blade_until, now.pauses, now.put_first, now.solvent_hours_a_day) == (
        "Mon Wed Fri",
        "09:30",
        False,
        "24-001; 24-002",
        4.5,
    )
    assert now.absences == "2026-03-02 to 2026-03-04; Ilse\n2026-05-01"
    for name, text in (
        ("bench_days", "fish"),
        ("blade_until", "25:00"),
        ("bench_hours_of_people", "Ilse 200"),
        ("handwork_minutes", "0"),
        ("pause_minutes", "long"),
        ("solvent_hours_a_day", "25"),
        ("pauses", "perhaps"),
    ):
        with pytest.raises(BenchHoursError), store.writing() as con:
            write_settings(con, {name: text})
    with store.writing() as con:
        assert write_settings(con, {"bench_days": "", "pauses": ""}).bench_days == "Mon Tue Wed Thu Fri"
        assert read_settings(con).pauses
