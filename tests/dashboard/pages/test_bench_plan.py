"""The bench plan: what a person changes on it moves the days on which works are ready."""

import shutil
from datetime import date, timedelta
from pathlib import Path

import icalendar
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from ingest.store import Store
from tests.dashboard.pages.conftest import Download
from tests.drawn import draw, fill_field, press_button, rows_of, words_of


def ready_days(page: AppTest) -> dict[str, pd.Timestamp]:
    """Each work with the day on which it is ready at even chance, in the order of the table."""
    heads, *rows = rows_of(page, "When works are ready")
    assert heads[:2] == ["work", "ready, even chance"]
    return {row[0]: pd.Timestamp(row[1]) for row in rows}


def test_a_work_put_first_and_a_holiday_move_the_plan_and_a_new_work_is_told(
    invented: Path, download: Download, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Store(shutil.copyfile(invented, tmp_path / "studio.duckdb")) as store:
        page = draw(monkeypatch, store, "bench_plan")
        before = ready_days(page)
        assert next(iter(before)) == "26-063" and len(before) == 5
        (first,) = page.multiselect
        assert first.label.startswith("Take up before all others")
        first.select("26-066")
        press_button(page, "Plan it so")
        assert "The plan follows that order." in words_of(page)
        after = ready_days(page)
        assert next(iter(after)) == "26-066" and after["26-066"] < before["26-066"]
        # pages read the machine's clock
        tomorrow = date.today() + timedelta(days=1)
        press_button(page, "Add")
        assert "Not added: First day is empty. Write a day, like " in words_of(page)
        fill_field(page, "First day", f"{tomorrow:%d/%m/%Y}")
        fill_field(page, "Last day", f"{tomorrow - timedelta(days=1)}")
        press_button(page, "Add")
        assert f"Not added: {tomorrow - timedelta(days=1)} is before {tomorrow}." in words_of(page)
        fill_field(page, "Last day", f"{tomorrow + timedelta(days=60):%d %B %Y}")
        press_button(page, "Add")
        assert "The plan keeps clear of it." in words_of(page)
        away = ready_days(page)
        assert away["26-066"] > pd.Timestamp(tomorrow + timedelta(days=60))
        _, *absences = rows_of(page, "Holidays and absences to come")
        assert [row[2] for row in absences] == ["the whole studio"]
        read = icalendar.Calendar.from_ical(download(page, "The plan for a calendar (iCalendar)"))
        assert "it would be ready by" in words_of(page)
    words = [str(event["summary"]) for event in read.walk("VEVENT")]
    assert "studio closed" in words and any(word.startswith("26-066 ready") for word in words)
