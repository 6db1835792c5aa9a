"""A phase as a whole and the work as a whole are pinned as techniques are: beside what the record says, used
by quotes and on the bench, and found again from the quotes.

Common practice, no source: who quotes by phase has a figure for a phase in mind, and corrects that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard import queries
from dashboard.services import forecast as forecast_service
from dashboard.services import rates as rates_service
from dashboard.services.result_cache import ResultCache
from dashboard.text.quote import line_sources
from dashboard.text.rates import pinned
from ingest.editing import pinned_rates
from ingest.editing.quote_drafts import Quote, QuotedWork
from ingest.errors import BenchHoursError
from ingest.importing.files import import_files
from ingest.safekeeping.export import export
from ingest.safekeeping.integrity import faults
from ingest.store import Store
from ingest.studio import vocabulary
from tests import by_phase, prepared
from tests.conftest import CHANGE
from tests.dashboard.quoting import quoted_of
from tests.dashboard.saved_quotes import saved
from tests.frames import number, row_of
from tests.whole_studios import everything, imported

AS_OF = by_phase.AS_OF
WHY = replace(CHANGE, reason="two hands now")


@pytest.fixture
def whole(tmp_path: Path) -> Iterator[Store]:
    with prepared.new_studio(works=False) as store:
        by_phase.fill(store, tmp_path)
        yield store


def pin(store: Store, phase: str, rate: float, back: int = 0) -> None:
    with store.writing() as con:
        pinned_rates.pin(con, "", rate, queries.today(con) - timedelta(days=back), WHY, phase=phase)


def rates_of(store: Store, back: int = 0) -> pd.DataFrame:
    con = store.cursor()
    on = queries.today(con) - timedelta(days=back)
    rates = rates_service.rates_of_wholes(con, on, rates_service.calibrated(con, on))
    return rates.set_index("phase", drop=False)


def lines_of(store: Store, *lines: dict[str, str]) -> pd.DataFrame:
    quote = Quote(works=[QuotedWork(object=by_phase.NOT_APPROVED, lines=list(lines))])
    return quoted_of(store, quote).works[0].options[0].lines


def test_a_pinned_phase_stands_beside_the_record_s_from_its_day_to_the_day_it_is_let_go(whole: Store) -> None:
    before = rates_of(whole)
    pin(whole, "cleaning", 20.0, back=9)
    pin(whole, "", 50.0, back=9)
    now = rates_of(whole)
    for phase, rate in (("cleaning", 20.0), ("", 50.0)):
        assert number(now, phase, "pinned_rate") == rate
        assert number(now, phase, "rate") == number(before, phase, "rate")
        assert number(now, phase, "p80") == pytest.approx(
            number(before, phase, "p80") * rate / number(before, phase, "rate")
        )
    assert number(now, "filling", "p80") == number(before, "filling", "p80")
    said = pinned(row_of(now, "cleaning"))
    assert "Pinned at 20.0 h per phase on" in said and ": two hands now. The record says" in said
    assert "Pinned at 50.0 h per work on" in pinned(row_of(now, ""))
    assert rates_of(whole, back=10)["pinned_rate"].isna().all()
    with whole.writing() as con:
        vocabulary.rename(con, "phase", "cleaning", "surface work", CHANGE)
        pinned_rates.withdraw(con, "", queries.today(con))
        assert faults(con) == []
    now = rates_of(whole)
    assert number(now, "surface work", "pinned_rate") == 20.0 and np.isnan(number(now, "", "pinned_rate"))


def test_a_pin_of_no_phase_of_the_studio_is_refused(whole: Store) -> None:
    with whole.writing() as con, pytest.raises(BenchHoursError) as caught:
        pinned_rates.pin(con, "", 20.0, AS_OF, WHY, phase="gilding of frames")
    assert str(caught.value) == 'there is no phase "gilding of frames". Choose one of the studio\'s.'


def test_a_quote_by_phase_uses_the_pin_says_so_and_is_found_under_the_rate(whole: Store) -> None:
    sheet: list[dict[str, str]] = [{"phase": "cleaning"}, {"phase": "filling"}]
    before = lines_of(whole, *sheet).set_index("phase")
    pin(whole, "cleaning", 2 * number(rates_of(whole), "cleaning", "rate"))
    after = lines_of(whole, *sheet).set_index("phase")
    # steps in which log hours are kept
    assert number(after, "cleaning", "p50") == pytest.approx(2 * number(before, "cleaning", "p50"), rel=1e-3)
    assert number(after, "filling", "p50") == pytest.approx(number(before, "filling", "p50"), rel=1e-3)
    assert line_sources(row_of(after, "cleaning").to_dict()) == "pinned rate"
    assert not line_sources(row_of(after, "filling").to_dict()).startswith("pinned")
    saved(whole, Quote(works=[QuotedWork(object=by_phase.NOT_APPROVED, lines=sheet)]))
    con, rates = whole.cursor(), rates_of(whole)
    (used,) = queries.quotes_of_a_rate(con, "", "cleaning").to_dict("records")
    assert (used["object"], used["pinned"], used["works"]) == (by_phase.NOT_APPROVED, True, 9)
    assert used["rate"] == pytest.approx(number(rates, "cleaning", "pinned_rate"))
    (used,) = queries.quotes_of_a_rate(con, "", "filling").to_dict("records")
    assert not used["pinned"] and used["rate"] == pytest.approx(number(rates, "filling", "rate"))
    assert queries.quotes_of_a_rate(con, "", "retouching").empty
    assert queries.quotes_of_a_rate(con, "").empty and queries.quotes_of_a_rate(con, "cleaning").empty


def test_a_work_quoted_as_a_whole_uses_its_pin(whole: Store) -> None:
    sheet = {"hours": "30"}  # hours alone are of the work as a whole
    before = lines_of(whole, sheet)
    pin(whole, "", 2 * number(rates_of(whole), "", "rate"))
    after = lines_of(whole, sheet)
    assert not before["pinned"].any() and after["pinned"].all()
    # of which the own figure takes a part back
    assert number(after, 0, "without_figure") == pytest.approx(
        2 * number(before, 0, "without_figure"), rel=1e-3
    )
    assert number(after, 0, "p50") > 1.05 * number(before, 0, "p50")


def test_what_is_on_the_bench_by_phase_uses_the_pin(whole: Store) -> None:
    def ends(phase: str) -> float:
        con = whole.cursor()
        lines = forecast_service.bench(con, queries.today(con), ResultCache()).lines
        rows = lines[(lines["object"] == by_phase.BY_PHASE) & (lines["phase"] == phase)]
        return float(rows["p50"].iloc[0])

    before = ends("retouching")  # not begun yet
    pin(whole, "retouching", 3 * number(rates_of(whole), "retouching", "rate"))
    assert ends("retouching") > 1.1 * before  # most of it is the figure of its estimate


def test_pins_of_wholes_leave_and_come_back_and_those_of_older_files_are_of_techniques(
    whole: Store, tmp_path: Path
) -> None:
    pin(whole, "cleaning", 20.0)
    pin(whole, "", 50.0)
    with whole.writing() as con:
        pinned_rates.pin(con, "facing", 0.4, queries.today(con), WHY)
    export(whole, tmp_path / "out", private=True)
    with imported(tmp_path / "out") as back:
        assert everything(back) == everything(whole) and faults(back.cursor()) == []
    file = tmp_path / "out" / "pinned_rates.csv"
    rows = pd.read_csv(file, dtype=str, keep_default_na=False)
    older = rows[rows["technique"] != ""].drop(columns="phase")  # as it was written before wholes were pinned
    older.to_csv(file, index=False)
    with imported(tmp_path / "out") as back:
        assert back.cursor().execute("SELECT technique, phase FROM pinned_rates").fetchall() == [
            ("facing", "")
        ]
    rows.assign(phase=rows["phase"].where(rows["technique"] == "", "cleaning")).to_csv(file, index=False)
    with prepared.new_studio(works=False) as other:
        (outcome,) = (item.outcome for item in import_files(other, [file]))
        assert (outcome.stored, outcome.rejected) == (2, 1)


def test_a_studio_that_names_every_technique_sees_rates_of_wholes_once_one_is_pinned(demo: Store) -> None:
    assert rates_of(demo).empty
    pin(demo, "retouching", 12.0)
    assert number(rates_of(demo), "retouching", "pinned_rate") == 12.0
