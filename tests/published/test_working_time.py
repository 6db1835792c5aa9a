"""Hours worth a pause against the guidance that its limits are from; and that no exposure is ever derived
from hours.
"""

import re
from dataclasses import fields
from datetime import time

import pandas as pd
import pytest

from dashboard.analysis.report import pauses as pauses_report
from dashboard.text import pauses as pauses_text
from ingest.schema.csv_columns import FORMS
from ingest.studio.settings import Settings
from tests import ROOT


def spells(*those: tuple[str, str]) -> pd.DataFrame:
    begins, ends = (pd.to_datetime([f"2026-03-02 {item[n]}" for item in those]) for n in (0, 1))
    return pd.DataFrame(
        {
            "started_at": begins,
            "ended_at": ends,
            "begins": begins,
            "ends": ends,
            "technique": "retouching",
            "day": pd.Timestamp("2026-03-02"),
        }
    )


def minutes(*those: tuple[str, str], pause: float = 10.0) -> list[float]:
    return pauses_report.unbroken(spells(*those), pause)["minutes"].tolist()


def test_a_break_is_a_real_pause_of_ten_minutes_and_none_shorter() -> None:
    """HSE, INDG438: a break is a real pause of at least five to ten minutes; EN 1005-5:2007 counts recovery
    of ten minutes.
    """
    assert minutes(("09:00", "09:50"), ("10:00", "10:45")) == [50, 45]
    assert minutes(("09:00", "09:50"), ("09:59", "10:45")) == [105]
    assert minutes(("09:00", "09:50"), ("09:56", "10:45"), pause=5) == [50, 49]


def test_an_hour_is_where_repetitive_work_without_a_break_begins_to_count() -> None:
    """HSE, INDG438 (values from memory): less than 1 h without a break scores 0, 1 to 2 h 2. What the program
    comes with: told beyond 60 minutes, a break of 10.
    """
    usual = Settings()
    assert (usual.handwork_minutes, usual.pause_minutes) == (60, 10)
    assert [
        minute > usual.handwork_minutes for minute in minutes(("09:00", "10:00"), ("10:15", "11:16"))
    ] == [False, True]


def test_handwork_of_two_overlapping_spells_is_one_stretch_whatever_their_order() -> None:
    assert minutes(("09:00", "12:00"), ("09:30", "10:00"), ("12:05", "12:30")) == [210]
    assert minutes(("12:05", "12:30"), ("09:30", "10:00"), ("09:00", "12:00")) == [210]
    assert pauses_report.unbroken(spells(), 10).empty


def test_blade_work_is_late_from_the_time_on_that_the_studio_says() -> None:
    """Common practice, no source."""
    found = pauses_report.late(spells(("16:00", "17:30"), ("18:00", "18:45"), ("09:00", "17:00")), time(17))
    assert found["hours"].tolist() == [0.5, 0.75]


def test_the_eight_hour_average_needs_what_no_log_of_hours_holds() -> None:
    """29 CFR 1910.1000(d)(1)(i): E = (CaTa + CbTb + … CnTn) / 8; printed example: 2 h at 150 ppm, 2 h at 75,
    4 h at 50 make 81.25 ppm, below the limit of 100. It needs concentrations: nothing here holds any, so
    nothing here uses this arithmetic, and hours alone say nothing of it.
    """
    concentrations, times = (150, 75, 50), (2, 2, 4)
    assert sum(c * t for c, t in zip(concentrations, times, strict=True)) / 8 == 81.25
    held = [column.name for form in FORMS for column in form.columns] + [
        field.name for field in fields(Settings)
    ]
    assert [name for name in held if re.search(r"ppm|concentration|exposure|dose|twa|mg_", name)] == []


@pytest.mark.parametrize(
    "name",
    [
        "text/pauses.py",
        "pages/hours_worth_a_pause.py",
        "server/pauses_routes.py",
        "services/pauses.py",
        "analysis/report/pauses.py",
    ],
)
def test_no_screen_derives_an_exposure_or_says_that_something_is_safe(name: str) -> None:
    text = (ROOT / "dashboard" / name).read_text(encoding="utf-8")
    assert not re.search(r"\bppm\b|mg/m|dose|permissible|harmless", text)
    for word in re.finditer(r"[^.\"]*\b(exposure|safe|safely)\b[^.\"]*", text):
        assert re.search(r"\bnot\b|\bnever\b|\bnothing\b|\bno\b", word[0], re.IGNORECASE), word[0]


def test_each_limit_says_where_it_is_from_and_who_is_to_be_followed() -> None:
    assert set(pauses_text.SOURCES) == {
        "handwork_minutes",
        "pause_minutes",
        "solvent_hours_a_day",
        "solvent_hours_a_week",
        "blade_until",
    }
    assert set(pauses_text.SOURCES) <= {field.name for field in fields(Settings)}
    for words in (
        "safety data sheet",
        "law where you work",
        "licensed practice",
        "occupational hygienist",
        "not measured exposure",
    ):
        assert words in pauses_text.NOT_MEASURED
    assert Settings().solvent_hours_a_day is None and Settings().solvent_hours_a_week is None
