"""A studio that names no technique: files, overruns by phase, rates, forecast, a quote by phase and
its letter, in a browser. The same by command: `tests/dashboard/cli/test_by_phase.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from ingest.store import Store
from tests import by_phase
from tests.browser.conftest import act, settled
from tests.browser.steps import done, go, press, row_of

QUOTED = ("examination", "cleaning", "retouching")


def by_hand() -> dict[str, tuple[float, float]]:
    """Hours estimated and taken of each phase of the finished works, summed from the files themselves."""
    texts = by_phase.files()
    sums: dict[str, tuple[float, float]] = {}
    for name, place in (("estimates.csv", 6), ("entries.csv", 5)):
        for row in texts[name].splitlines()[1:]:
            cells = row.split(",")
            phase = cells[4] if place == 6 else cells[1]
            if not cells[0].startswith("25-"):
                continue
            estimated, taken = sums.get(phase, (0.0, 0.0))
            value = float(cells[place])
            sums[phase] = (estimated + value, taken) if place == 6 else (estimated, taken + value)
    return sums


def test_a_studio_by_phase_alone_brings_in_sees_its_overruns_and_quotes(
    serve_here: Callable[..., str], phone: Page, tmp_path: Path
) -> None:
    db = tmp_path / "studio.duckdb"
    Store(db).close()
    studio = serve_here(db)
    files = []
    for name, text in by_phase.files().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
        files.append(tmp_path / name)
    go(phone, f"{studio}/bring-in-logs", "Bring in logs")
    act(phone, lambda: phone.locator("input[type=file]").first.set_input_files(files))
    press(phone, "Bring in")
    done(phone, "entries.csv")

    go(phone, f"{studio}/where-the-hours-went", "Where the hours went")
    sums = by_hand()
    for phase in QUOTED:
        row = row_of(phone, "Hours by phase", phase)
        estimated, taken = sums[phase]
        assert [float(cell) for cell in row[2:4]] == pytest.approx([estimated, taken], abs=0.051), row

    go(phone, f"{studio}/our-rates", "Our rates")
    expect(phone.get_by_text("cleaning as a whole").first).to_be_visible()

    go(phone, f"{studio}/on-the-bench", "On the bench")
    expect(phone.get_by_text(by_phase.BY_PHASE).first).to_be_visible()

    go(phone, f"{studio}/estimate?object={by_phase.NOT_APPROVED}", "Estimate")
    press(phone, "Quote it anew")
    expect(phone.get_by_text("What it comes to")).to_be_visible()
    settled(phone)
    expect(phone.get_by_text("retouching as a whole").first).to_be_visible()
    with phone.expect_download() as letter:
        phone.get_by_role("button", name="The letter as a page (HTML)").click()
    text = Path(letter.value.path()).read_text(encoding="utf-8")
    assert "etouching" in text
    by_phase.assert_every_name_is_said(phone.locator("main").inner_text())
