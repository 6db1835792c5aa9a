"""Works on the bench, from the record to where they end: in the invented studio, and in small ones of one's
own.
"""

import json
import re
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from dashboard import queries
from dashboard.analysis.simulation import completion
from dashboard.cli.main import main
from dashboard.services import forecast as forecast_service
from dashboard.services import forecast_history, forecast_works, quote_build, quote_continued
from dashboard.services import quote as quote_service
from dashboard.services.forecast import Bench
from dashboard.services.forecast_works import WorkForecast
from dashboard.services.result_cache import ResultCache, content_digest
from dashboard.text import forecast as forecast_text
from ingest.editing import approvals, quote_drafts, saved_quotes, version_outcomes
from ingest.importing.form_rows import store_rows
from ingest.safekeeping.integrity import sums
from ingest.schema.csv_columns import OBJECTS
from ingest.store import Store
from ingest.studio.settings import read_settings, write_settings
from tests import conftest, prepared
from tests.conftest import Bring
from tests.dashboard.quoting import context_of
from tests.dashboard.saved_quotes import CHANGE, approve, bring_into, finish, log, saved, sheet
from tests.frames import row_of

DAY = date(2024, 3, 1)
ESTIMATE = """object,version,made_on,approved_on,price,currency,phase,technique,part,quantity,hours
24-001,1,2024-01-05,2024-01-08,1800,EUR,,facing,,,4
24-001,1,2024-01-05,2024-01-08,1800,EUR,,varnish removal with solvent gel,,48,10
24-001,1,2024-01-05,2024-01-08,1800,EUR,,filling,,,3
24-001,1,2024-01-05,2024-01-08,1800,EUR,,retouching,,,9
"""


def bench_of(
    store: Store, on: date = DAY, only: str | None = None, memory: ResultCache | None = None
) -> Bench:
    """The bench as of a day; without a `memory` of its own it is made once of each content of a database."""
    con = store.cursor()
    if memory:
        return forecast_service.bench(con, on, memory, only=only)
    key = content_digest(on, only, sums(con))
    if key not in _benches:
        _benches[key] = forecast_service.bench(con, on, ResultCache(), only=only)
    return _benches[key]


_benches: dict[str, Bench] = {}


@pytest.fixture(scope="module", autouse=True)
def _forgotten_benches() -> Iterator[None]:
    yield
    _benches.clear()


def work(bench: Bench, code: str = "24-001") -> pd.Series:
    return bench.works[bench.works["object"] == code].iloc[0]


def line(bench: Bench, technique: str, code: str = "24-001") -> pd.Series:
    return bench.lines[(bench.lines["object"] == code) & (bench.lines["technique"] == technique)].iloc[0]


def entry(day: str, technique: str, hours: float, **more: str) -> dict[str, str]:
    return {"date": day, "technique": technique, "hours": f"{hours}", **more}


def add_mill(store: Store) -> None:
    """A work of which nothing is quoted or logged."""
    mill = {
        "object": "26-099",
        "title": "A mill",
        "kind": "easel painting",
        "height_cm": "61",
        "width_cm": "76",
    }
    store_rows(store, OBJECTS, [mill], CHANGE)


@pytest.fixture
def ferry() -> Iterator[Store]:
    """A work with an approved estimate of 26 hours."""

    def make(store: Store, folder: Path) -> None:
        assert conftest.bring_into(store, folder, "estimates.csv", ESTIMATE).complete

    with prepared.copied("ferry", make) as opened:
        yield opened


def test_finished_lines_stay_and_a_work_that_is_finished_is_not_on_the_bench(
    ferry: Store, tmp_path: Path
) -> None:
    log(ferry, entry("2024-01-10", "facing", 5.5), code="24-001")
    before = line(bench_of(ferry), "facing")
    assert before["p90"] > before["p10"] >= 5.5  # it goes on, or nobody has said yet that it does not
    bring_into(
        ferry,
        tmp_path,
        "m.csv",
        "object,phase,technique,part,finished_on\n24-001,stabilisation,facing,,2024-01-11\n",
    )
    after = bench_of(ferry)
    assert line(after, "facing")[["p10", "p50", "p90"]].tolist() == [5.5, 5.5, 5.5]
    assert work(after)["approved_hours"] == 26 and work(after)["actual_hours"] == 5.5
    finish(ferry, "24-001", date(2024, 2, 20))
    assert bench_of(ferry).works.empty and not queries.anything_on_the_bench(ferry.cursor(), DAY)
    assert len(bench_of(ferry, date(2024, 2, 19)).works) == 1  # as it stood before


def test_what_is_known_before_anything_is_foretold_is_added_up_by_hand(ferry: Store, tmp_path: Path) -> None:
    log(
        ferry,
        entry("2024-01-10", "facing", 5.5),
        entry("2024-01-11", "varnish removal with solvent gel", 3.0),
        code="24-001",
    )
    known = forecast_works.so_far(ferry.cursor(), DAY)
    assert known["object"].tolist() == ["24-001"]
    # of 4, 10, 3 and 9 hours: the facing took more than its own, so nothing is left of it
    assert known[["actual_hours", "estimated_hours", "left_hours", "approved_hours"]].iloc[0].tolist() == [
        8.5,
        26,
        0 + 7 + 3 + 9,
        26,
    ]
    bring_into(
        ferry,
        tmp_path,
        "m.csv",
        "object,phase,technique,part,finished_on\n24-001,varnish and overpaint,,,2024-01-12\n",
    )
    assert forecast_works.so_far(ferry.cursor(), DAY)["left_hours"].tolist() == [3 + 9]
    finish(ferry, "24-001", date(2024, 2, 20))
    assert forecast_works.so_far(ferry.cursor(), DAY).empty


def test_what_is_told_of_works_one_by_one_is_what_stands_in_the_end(demo: Store) -> None:
    con = demo.cursor()
    today = queries.today(con)
    ended: dict[str, WorkForecast] = {}
    bench = forecast_service.bench(con, today, ResultCache(), ended_of=ended.__setitem__)
    known = forecast_works.so_far(con, today).set_index("object")
    told_of = bench.works[bench.works["p50"].notna()]
    assert (
        set(ended) == set(told_of["object"])
        and set(known.index) == set(bench.works["object"])
        and len(ended) > 3
    )
    for row in told_of.to_dict("records"):
        one = ended[row["object"]]
        assert one.quantiles == [row[name] for name in ("p10", "p50", "p80", "p90")]
        assert (one.chance_over_approved, one.hours_over, one.over_if) == (
            row["chance_over_approved"],
            row["hours_over"],
            row["over_if"],
        )
        assert known.loc[row["object"], ["actual_hours", "approved_hours"]].tolist() == [
            row["actual_hours"],
            row["approved_hours"],
        ]


def test_hours_more_never_lower_an_end_nor_those_of_the_work_and_finishing_all_makes_it_the_actual(
    ferry: Store, tmp_path: Path
) -> None:
    memory = ResultCache()
    last = bench_of(ferry, memory=memory)
    for number, (technique, hours) in enumerate(
        (
            ("facing", 2.0),
            ("facing", 4.0),
            ("varnish removal with solvent gel", 3.0),
            ("facing", 6.0),
            ("varnish removal with solvent gel", 15.0),
        )
    ):
        log(ferry, entry(f"2024-01-{10 + number}", technique, hours), code="24-001")
        now = bench_of(ferry, memory=memory)
        for name in ("p10", "p50", "p80", "p90"):
            assert line(now, technique)[name] >= line(last, technique)[name] * 0.999 if number else True
            assert line(now, technique)[name] >= line(now, technique)["actual_hours"] - 1e-9
            assert work(now)[name] >= work(last)[name] * 0.999
        last = now
    log(ferry, entry("2024-01-20", "filling", 2.0), entry("2024-01-21", "retouching", 7.0), code="24-001")
    bring_into(
        ferry,
        tmp_path,
        "m.csv",
        "object,phase,technique,part,finished_on\n"
        + "".join(
            f"24-001,{phase},,,2024-01-25\n"
            for phase in ("stabilisation", "varnish and overpaint", "filling")
        ),
    )
    almost = work(bench_of(ferry))
    assert almost["p50"] >= almost["actual_hours"] == 39
    bring_into(
        ferry, tmp_path, "m2.csv", "object,phase,technique,part,finished_on\n24-001,retouching,,,2024-01-25\n"
    )
    assert bench_of(ferry).works.empty  # every line is finished: what it took is in the overruns
    lines = queries.overruns(ferry.cursor(), DAY, "24-001")
    assert lines["actual_hours"].sum() == 39 and lines["finished"].all()


def test_what_was_said_of_how_far_a_line_is_moves_its_end(ferry: Store) -> None:
    ends = {}
    for done in ("", "20", "50", "90", "100"):
        entry_id = {"entry": "one"}
        log(
            ferry,
            entry(
                "2024-01-10",
                "varnish removal with solvent gel",
                6.0,
                **entry_id,
                **({"done": done} if done else {}),
            ),
            code="24-001",
        )
        ends[done] = line(bench_of(ferry), "varnish removal with solvent gel")
    assert ends["20"]["p50"] > ends["50"]["p50"] > ends["90"]["p50"] > ends["100"]["p50"] == 6.0
    assert ends["50"]["p50"] == pytest.approx(12, rel=0.15) and ends["90"]["p50"] == pytest.approx(
        6 / 0.9, rel=0.05
    )
    assert ends["100"]["all_done"] and not ends["100"]["finished"]
    # hours logged after that say that it was not all
    log(ferry, entry("2024-01-12", "varnish removal with solvent gel", 1.0), code="24-001")
    after = line(bench_of(ferry), "varnish removal with solvent gel")
    assert not after["all_done"] and after["p90"] > 7 and after["p10"] >= 7


def test_a_third_of_the_quantity_treated_says_about_three_times_the_hours(ferry: Store) -> None:
    log(ferry, entry("2024-01-10", "varnish removal with solvent gel", 8.0, quantity="16"), code="24-001")
    found = bench_of(ferry)
    assert line(found, "varnish removal with solvent gel")["p50"] == pytest.approx(24, rel=0.25)
    why = [forecast_text.reason_sentence(reason) for reason in forecast_text.reasons(found, work(found))]
    assert why[0].startswith(
        "varnish removal with solvent gel: a third of the picture done by 10 January 2024, taking "
    )
    log(ferry, entry("2024-01-11", "varnish removal with solvent gel", 4.0, quantity="32"), code="24-001")
    whole = line(bench_of(ferry), "varnish removal with solvent gel")
    assert whole["p80"] <= 13  # there is no more of it than the whole picture


def test_what_was_agreed_on_top_and_own_cost_are_no_part_of_it(ferry: Store) -> None:
    log(ferry, entry("2024-01-10", "facing", 3.0), code="24-001")
    before = work(bench_of(ferry))
    log(ferry, entry("2024-01-11", "frame cleaning", 9.0, charge="own_cost"), code="24-001")
    log(ferry, entry("2024-01-11", "filling", 9.0, charge="extra"), code="24-001")
    after = work(bench_of(ferry))
    assert after["actual_hours"] == 3.0 and after["approved_hours"] == 26.0
    assert after["p50"] == pytest.approx(before["p50"], rel=0.02)


def test_without_an_estimate_or_approval_or_hours_it_says_so_and_guesses_nothing(
    store: Store, studio: Bring
) -> None:
    assert bench_of(store).works.empty
    log(store, entry("2024-01-10", "facing", 3.0), code="24-002")
    alone = work(bench_of(store), "24-002")
    assert (
        np.isnan(alone["p50"])
        and np.isnan(alone["approved_hours"])
        and np.isnan(alone["chance_over_approved"])
    )
    assert forecast_text.ends(alone) == "No estimate stands, so nobody can say where it ends: 3.0 h so far."
    studio("e.csv", "object,version,made_on,phase,technique,hours\n24-001,1,2024-01-05,,retouching,9\n")
    assert bench_of(store).left_out == ("24-001",) and len(bench_of(store).works) == 1
    log(store, entry("2024-01-10", "retouching", 3.0), code="24-001")
    made = work(bench_of(store))
    assert (
        made["p50"] > 3
        and np.isnan(made["approved_hours"])
        and "not approved yet" in forecast_text.ends(made)
    )
    # by quantity alone there is nothing to hold it against either
    studio(
        "e2.csv",
        "object,version,made_on,approved_on,phase,technique,quantity,hours\n24-002,1,2024-01-05,2024-01-06,,retouching,12,\n24-002,1,2024-01-05,2024-01-06,,facing,,2\n",
    )
    by_quantity = work(bench_of(store), "24-002")
    assert (
        by_quantity["p50"] > 3
        and np.isnan(by_quantity["approved_hours"])
        and "lines without hours" in forecast_text.ends(by_quantity)
    )
    assert forecast_text.standing(by_quantity) == "unapproved"


def test_a_day_knows_nothing_of_later_ones(demo: Store) -> None:
    on = queries.today(demo.cursor()) - timedelta(days=60)
    before = bench_of(demo, on)
    con = demo.cursor()
    later: list[str] = [
        row[0]
        for row in con.execute(
            "SELECT object FROM objects WHERE finished_on IS NULL AND received_on <= ? ORDER BY object", [on]
        ).fetchall()
    ]
    assert later
    for code in later:
        log(demo, {"date": f"{on + timedelta(days=5)}", "technique": "retouching", "hours": "11"}, code=code)
        finish(demo, code, on + timedelta(days=20))
    pd.testing.assert_frame_equal(bench_of(demo, on).works, before.works)
    pd.testing.assert_frame_equal(bench_of(demo, on).lines, before.lines)


def test_an_entry_on_an_open_line_is_reckoned_for_its_own_work_alone(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    memory, on = ResultCache(), queries.today(demo.cursor())
    first = bench_of(demo, on, memory=memory)
    asked: list[tuple[str, ...]] = []
    real = completion.forecast

    def forecast(known: Any, discoveries: Any, works: Any, draws: int) -> Any:
        asked.append(tuple(works.works))
        return real(known, discoveries, works, draws)

    monkeypatch.setattr(completion, "forecast", forecast)
    again = bench_of(demo, on, memory=memory)
    assert asked == [] and again.works.equals(first.works)
    log(demo, {"date": f"{on}", "technique": "retouching", "hours": "2.5"}, code="26-063")
    after = bench_of(demo, on, memory=memory)
    assert asked == [("26-063",)]
    fresh = bench_of(demo, on)
    pd.testing.assert_frame_equal(after.works, fresh.works)  # what was remembered is what would be reckoned


def test_works_of_one_commission_are_told_together_and_are_wider_than_if_they_were_apart(
    store: Store, tmp_path: Path
) -> None:
    bring_into(
        store,
        tmp_path,
        "o.csv",
        "object,title,commission\n24-001,Ferry,NAVE\n24-002,Weir,NAVE\n24-003,Mill,\n",
    )
    bring_into(
        store,
        tmp_path,
        "e.csv",
        "object,version,made_on,approved_on,phase,technique,hours\n"
        + "".join(
            f"{code},1,2024-01-05,2024-01-08,,{technique},6\n"
            for code in ("24-001", "24-002", "24-003")
            for technique in ("retouching", "filling", "facing")
        ),
    )
    found = bench_of(store)
    row = found.commissions.iloc[0]
    assert row["commission"] == "NAVE" and row["works"] == 2 and row["approved_hours"] == 36
    both = found.works[found.works["commission"] == "NAVE"]
    assert row["p50"] > both["p50"].sum() * 0.95 and row["p80"] < both["p80"].sum()
    # rates that are not known well bear on both at once: the sum is wider than of two that knew nothing of
    # each other
    apart = np.sqrt(((both["p80"] - both["p50"]) ** 2).sum())
    assert row["p80"] - row["p50"] > 1.05 * apart
    only = bench_of(store, only="24-001")
    assert sorted(only.works["object"]) == ["24-001", "24-002"] and work(only)["p50"] == work(found)["p50"]


def test_the_hours_of_a_saved_quote_with_its_allowance_are_what_was_approved_and_its_break_even_is_told(
    demo: Store,
) -> None:
    with demo.writing() as con:
        write_settings(
            con,
            {
                "currency": "EUR",
                "hourly_rate": "62",
                "yearly_cost": "57000",
                "chargeable_hours": "1200",
                "tax_per_cent": "19",
            },
        )
    add_mill(demo)
    on = queries.today(demo.cursor())
    [(code, version)] = saved(demo, sheet())
    approve(demo, code, version, on)
    kept = saved_quotes.read(demo.cursor(), code, version)
    assert kept is not None
    option = kept.options[0]
    found = work(bench_of(demo, on), "26-099")
    assert found["approved_hours"] == option.promised_hours
    assert option.price is not None
    assert found["break_even_hours"] == pytest.approx(option.price / 1.19 / (57000 / 1200))
    # nothing was worked yet: it was promised 4 in 5
    assert found["chance_over_approved"] == pytest.approx(0.2, abs=0.06)
    assert not found["begun"] and forecast_text.standing(found) in ("fine", "watch")


def test_hours_for_nothing_begin_where_the_net_price_ends(ferry: Store) -> None:
    """57,000 € a year by 1,200 h are 47.50 € an hour: 1,800 € with 19 % in them pay for 31.8 h, 1,800 €
    without tax for 37.9 h.
    """
    memory = ResultCache()

    def even(**text: str) -> tuple[Any, int]:
        with ferry.writing() as con:
            write_settings(con, text)
        bench = bench_of(ferry, memory=memory)
        return work(bench)["break_even_hours"], bench.unsaid_prices

    assert even(currency="EUR", yearly_cost="57000", chargeable_hours="1200") == (
        pytest.approx(1800 / 47.5),
        0,
    )
    hours, unsaid = even(tax_per_cent="19")
    assert (
        np.isnan(hours)
        and unsaid == 1
        and np.isnan(work(bench_of(ferry, memory=memory))["chance_over_break_even"])
    )
    assert even(prices_include_tax="yes") == (pytest.approx(1800 / 1.19 / 47.5), 0)
    assert even(prices_include_tax="no") == (pytest.approx(1800 / 47.5), 0)
    with ferry.writing() as con:
        write_settings(con, {"prices_include_tax": "no"})
        approvals.set_tax(con, "24-001", 1, CHANGE, (True, 8.1))
    assert even() == (pytest.approx(1800 / 1.081 / 47.5), 0)


def test_works_whose_estimate_was_declined_are_left_out_from_that_day_on(ferry: Store) -> None:
    log(ferry, entry("2024-01-10", "facing", 3.0), code="24-001")
    with ferry.writing() as con:
        approvals.take_back_approval(con, "24-001", 1, CHANGE)
        version_outcomes.end(con, "24-001", 1, "declined", date(2024, 1, 20), DAY, CHANGE)
    found = bench_of(ferry)
    assert found.works.empty and found.declined == ("24-001",)
    assert len(bench_of(ferry, date(2024, 1, 19)).works) == 1


def test_of_a_first_stage_nothing_is_expected_beyond_its_own_sheet(demo: Store) -> None:
    add_mill(demo)
    on = queries.today(demo.cursor())
    first = {"phase": "examination", "technique": "examination in visible light"}
    [(code, version)] = saved(demo, sheet(first, first_stage="yes"))
    approve(demo, code, version, on)
    found = bench_of(demo, on)
    kept = saved_quotes.read(demo.cursor(), code, version)
    assert (
        kept is not None
        and work(found, code)["first_stage"]
        and work(found, code)["approved_hours"] == kept.options[0].promised_hours
    )
    assert (
        found.discoveries[code] == ()
        and (
            found.lines.loc[found.lines["object"] == code, "phase"].isin(["examination", "documentation"])
        ).all()
    )
    assert "approved for its first stage" in forecast_text.ends(work(found, code))


def test_the_same_figures_by_command_page_and_in_every_form(
    demo: Store, demo_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    on = queries.today(demo.cursor())
    bench = bench_of(demo, on)
    demo.close()
    csv = tmp_path / "f.csv"
    assert main(["forecast", "--db", str(demo_file), "--json", "--csv", str(csv)]) == 0
    rows = json.loads(capsys.readouterr().out)
    keys = [
        "object",
        "approved_hours",
        "actual_hours",
        "p10",
        "p50",
        "p80",
        "p90",
        "chance_over_approved",
        "lines",
    ]
    assert [list(row)[: len(keys)] for row in rows] == [keys] * len(bench.works)
    frame = pd.DataFrame(rows)
    for name in keys[1:-1]:
        np.testing.assert_allclose(frame[name].astype(float), bench.works[name], rtol=1e-12)
    np.testing.assert_allclose(pd.read_csv(csv)["p80"], bench.works["p80"])
    for row in rows:
        assert (
            row["p10"] <= row["p50"] <= row["p80"] <= row["p90"]
            and row["actual_hours"] <= row["p10"]
            and 0 <= row["chance_over_approved"] <= 1
        )
        assert sum(item["actual_hours"] for item in row["lines"]) == pytest.approx(row["actual_hours"])
    assert main(["forecast", "--db", str(demo_file)]) == 0
    printed = capsys.readouterr().out
    assert all(
        forecast_text.ends(one) in printed
        for _, one in bench.works.iterrows()
        if forecast_text.standing(one) != "fine"
    )
    assert main(["forecast", "--db", str(demo_file), "--object", "26-063", "--csv", str(csv)]) == 0
    assert (
        pd.read_csv(csv)["technique"].tolist()
        == bench.lines.loc[bench.lines["object"] == "26-063", "technique"].tolist()
    )
    assert main(["forecast", "--db", str(demo_file), "--object", "25-041"]) == 2
    assert "25-041 is not on the bench" in capsys.readouterr().err


def test_the_history_of_a_forecast_narrows_and_says_where_it_jumped(
    demo: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(forecast_history, "MOST_DAYS", 16)  # each of them is a bench foretold
    on = queries.today(demo.cursor())
    memory = ResultCache()
    history = forecast_history.history(demo.cursor(), on, "26-062", memory)
    logged = queries.hours_by_day(demo.cursor(), on, ["26-062"])["day"].dt.date.unique()
    assert (
        set(history["day"].dt.date) <= {*logged, on}
        and history["day"].iloc[-1].date() == on
        and history["actual_hours"].is_monotonic_increasing
    )
    width = np.log((history["p90"] / history["p10"]).to_numpy())
    assert width[-1] < width[0]
    now = work(bench_of(demo, on), "26-062")
    assert history["p50"].iloc[-1] == pytest.approx(now["p50"], rel=0.02)  # fewer draws
    moved = forecast_text.jumps(history, queries.entries(demo.cursor(), on, "26-062"))
    assert (
        moved
        and all(re.search(r"(up|down) by [\d.]+ h at even chance", item) for item in moved)
        and any(re.search(r"chance, with .+ [\d.]+ h", item) for item in moved)
    )
    since = forecast_history.since(demo.cursor(), on, "26-062", memory, 0.5)
    # the last day on which it was not so; the run after it has no gap here
    above = history[~(history["chance_over_approved"] >= 0.5)]["day"]
    assert (
        since is not None
        and (history.loc[history["day"].dt.date >= since, "chance_over_approved"] >= 0.5).all()
        and (above.empty or above.iloc[-1].date() < since)
    )
    assert forecast_text.since(since, on).startswith("Foretold so since ")
    assert forecast_history.since(demo.cursor(), on, "26-062", memory, 1.01) is None


def test_a_share_is_said_as_one_says_it_and_a_chance_in_ten() -> None:
    assert [forecast_text.part_of(share) for share in (0.25, 0.34, 0.5, 0.66, 0.75, 0.4, 0.9)] == [
        "a quarter",
        "a third",
        "half",
        "two thirds",
        "three quarters",
        "40 %",
        "90 %",
    ]
    assert [
        forecast_text.in_ten(chance)
        for chance in (0.0, 0.04, 0.06, 0.08, 0.44, 0.49, 0.5, 0.57, 0.72, 0.92, 0.94, 0.96, 1.0)
    ] == [
        "less than 1 in 20",
        "less than 1 in 20",
        "1 in 20",
        "1 in 10",
        "4 in 10",
        "a little less than even chance",
        "even chance",
        "6 in 10",
        "7 in 10",
        "9 in 10",
        "19 in 20",
        "more than 19 in 20",
        "more than 19 in 20",
    ]


def test_a_first_entry_on_a_line_never_lowers_its_end_however_late_phases_are_closed_here(
    demo: Store,
) -> None:
    """In the invented studio lines stand open for weeks after they are done."""
    on, memory = queries.today(demo.cursor()), ResultCache()
    technique = "retouching"
    last = line(bench_of(demo, on, memory=memory), technique, "26-065")
    assert last["actual_hours"] == 0
    for number, hours in enumerate((0.1, 0.5, 2.5, 9.0)):
        log(
            demo,
            {
                "entry": f"r{number}",
                "date": f"{on - timedelta(days=4 - number)}",
                "technique": technique,
                "hours": f"{hours}",
            },
            code="26-065",
        )
        now = line(bench_of(demo, on, memory=memory), technique, "26-065")
        assert (now[["p10", "p50", "p80", "p90"]] >= last[["p10", "p50", "p80", "p90"]] - 1e-9).all()
        last = now


def test_what_is_said_within_a_day_comes_after_its_hours_and_before_any_it_says_nothing(ferry: Store) -> None:
    technique = "varnish removal with solvent gel"
    log(
        ferry,
        entry("2024-01-10", technique, 4.0),
        entry("2024-01-10", technique, 2.0, done="50"),
        code="24-001",
    )
    assert line(bench_of(ferry), technique)["said_at"] == 6.0 and line(bench_of(ferry), technique)[
        "p50"
    ] == pytest.approx(12, rel=0.15)
    log(
        ferry,
        entry("2024-01-11", "retouching", 20, mode="unattended", done="30"),
        entry("2024-01-12", "retouching", 3.0),
        code="24-001",
    )
    found = line(bench_of(ferry), "retouching")  # said before there was an hour
    assert found["p50"] > 3 and found["p10"] >= 3
    log(
        ferry,
        entry("2024-01-13", technique, 1.0, done="100"),
        entry("2024-01-13", technique, 12, mode="unattended"),
        code="24-001",
    )
    # drying is no hours
    assert line(bench_of(ferry), technique)["all_done"] and line(bench_of(ferry), technique)["p90"] == 7.0
    log(ferry, entry("2024-01-14", "filling", 10, mode="unattended", done="100"), code="24-001")
    assert line(bench_of(ferry), "filling")["p90"] == 0


def test_a_commission_counts_the_works_that_can_be_told_alone(store: Store, tmp_path: Path) -> None:
    bring_into(
        store,
        tmp_path,
        "o.csv",
        "object,title,commission\n24-001,Ferry,NAVE\n24-002,Weir,NAVE\n24-003,Mill,PORCH\n24-004,Lock,PORCH\n",
    )
    bring_into(
        store,
        tmp_path,
        "e.csv",
        "object,version,made_on,approved_on,phase,technique,hours\n"
        + "".join(f"{code},1,2024-01-05,2024-01-08,,filling,5\n" for code in ("24-002", "24-003", "24-004")),
    )
    log(store, entry("2024-01-10", "facing", 9.0), code="24-001")  # without an estimate
    found = bench_of(store)
    assert found.commissions["commission"].tolist() == ["PORCH"] and np.isnan(work(found, "24-001")["p50"])


def test_the_figure_is_that_of_the_version_the_work_stands_by(ferry: Store, tmp_path: Path) -> None:
    before = line(bench_of(ferry), "retouching")["p50"]
    # a later version that nobody has approved
    bring_into(
        ferry,
        tmp_path,
        "e2.csv",
        "object,version,made_on,phase,technique,hours\n24-001,2,2024-01-09,,retouching,2\n",
    )
    # nor do hours at own cost begin a line
    log(
        ferry,
        {"date": "2024-01-04", "technique": "retouching", "hours": "0.5", "charge": "own_cost"},
        code="24-001",
    )
    assert line(bench_of(ferry), "retouching")["p50"] == before
    log(ferry, entry("2024-01-10", "retouching", 0.5), code="24-001")
    assert line(bench_of(ferry), "retouching")["p50"] >= before - 1e-9


def test_a_line_done_in_no_time_drags_a_work_no_further_than_lines_ever_did(ferry: Store) -> None:
    untouched = line(bench_of(ferry), "retouching")["p50"]
    log(ferry, entry("2024-01-10", "varnish removal with solvent gel", 0.1, done="100"), code="24-001")
    assert 0.4 * untouched < line(bench_of(ferry), "retouching")["p50"] < untouched


def test_reasons_say_what_ends_above_and_only_that(demo: Store) -> None:
    found = bench_of(demo, queries.today(demo.cursor()))
    told_of = 0
    for _, one in found.works.iterrows():
        for reason in forecast_text.reasons(found, one):
            told_of += 1
            numbers = [float(value) for value in re.findall(r"([\d.]+) h", reason.words)]
            if " against " in reason.words:
                assert numbers[0] > numbers[-1], reason.words
    assert told_of > 6


def revised(store: Store, code: str, on: date) -> quote_service.Option:
    """The revision of a work as it is opened, with nothing typed."""
    con = store.cursor()
    quote = quote_continued.continued_quote(con, code, on)
    now = context_of(con, on, quote)
    reads = [quote_drafts.read_over(store, item, on, {}) for item in quote.works]
    return quote_build.quoted(now, quote, reads, read_settings(con)).works[0].options[0]


def test_a_revision_opened_from_the_bench_says_what_the_bench_says(demo: Store, tmp_path: Path) -> None:
    """Of each open work, to the digit: with what was found on the way, what waits of it, a range by hand,
    what was said not to turn up, several works of a commission, and versions that took over what was worked.
    """
    on = queries.today(demo.cursor())
    store_rows(
        demo,
        OBJECTS,
        [
            {
                "object": "26-099",
                "title": "A mill",
                "kind": "easel painting",
                "support": "canvas",
                "height_cm": "61",
                "width_cm": "76",
                "commission": "NAVE",
            }
        ],
        CHANGE,
    )
    quote = sheet(
        {"technique": "lining", "low_hours": "4", "high_hours": "30"},
        {"technique": "tear bridging", "quantity": "12", "hours": "6", "person": "Ilse"},
    )
    quote.works[0].left_out = {"inlay": "the losses were seen"}
    saved(demo, quote, on - timedelta(days=9))
    approve(demo, "26-099", 1, on - timedelta(days=8))
    with demo.writing() as con:
        con.execute("UPDATE objects SET commission = 'NAVE' WHERE object = '26-063'")
    day = f"{on - timedelta(days=3)}"
    log(
        demo,
        entry(day, "filling", 3.0),
        entry(day, "facing", 1.5, quantity="4"),
        entry(day, "retouching", 9, mode="unattended", done="100"),
        code="26-099",
    )
    log(
        demo,
        entry(day, "tear bridging", 3.0),
        entry(day, "microscopy", 2.0, charge="extra"),
        entry(day, "inlay", 1.25, done="40"),
        code="26-063",
    )
    log(demo, entry(day, "inlay", 3.0), code="26-064")
    again = quote_continued.continued_quote(demo.cursor(), "26-064", on - timedelta(days=2))
    again.letter["reason"] = "An inlay"
    saved(demo, again, on - timedelta(days=2), "An inlay")
    approve(demo, "26-064", 2, on - timedelta(days=1))
    log(demo, entry(f"{on}", "inlay", 1.0), entry(f"{on}", "facing", 0.5), code="26-064")
    bench = bench_of(demo, on)
    assert len(bench.works) == 6 and len(bench.commissions) == 1
    for code in bench.works["object"]:
        option, of = revised(demo, code, on), bench.lines[bench.lines["object"] == code]
        np.testing.assert_allclose(
            option.at(0.1, 0.5, 0.8, 0.9),
            work(bench, code)[["p10", "p50", "p80", "p90"]].astype(float),
            rtol=1e-9,
            err_msg=code,
        )
        both = option.lines[option.lines["worked_hours"] > 0].merge(
            of, on=["phase", "technique", "part"], suffixes=("", "_bench")
        )
        assert len(both) == (of["actual_hours"] > 0).sum() > 0
        np.testing.assert_allclose(
            both[["p50", "p80", "p90"]],
            both[["p50_bench", "p80_bench", "p90_bench"]],
            rtol=1e-9,
            err_msg=code,
        )
        found = {
            (item.discovery.technique, item.discovery.another): item.discovery.chance
            for item in bench.discoveries[code]
        }
        assert found == {
            (row["technique"], row["another"]): row["chance"] for row in option.discoveries.to_dict("records")
        }
    inlay = line(bench, "inlay", "26-063")
    assert (
        not inlay["in_estimate"]
        and inlay["p50"] > inlay["actual_hours"]
        and "inlay" not in {item.discovery.technique for item in bench.discoveries["26-099"]}
    )


def test_what_nobody_quoted_and_is_not_finished_stays_open_in_a_revision(
    ferry: Store, tmp_path: Path
) -> None:
    log(ferry, entry("2024-01-10", "facing", 3.0), entry("2024-01-12", "inlay", 3.0), code="24-001")
    found = row_of(revised(ferry, "24-001", DAY).lines.set_index("technique"), "inlay")
    assert not found["done"] and 3 < found["p50"] < found["p90"] and found["number"] < 0
    assert found["p50"] == pytest.approx(line(bench_of(ferry), "inlay")["p50"], rel=1e-9)
    # a milestone makes it done as worked
    bring_into(ferry, tmp_path, "m.csv", "object,phase,technique,finished_on\n24-001,,inlay,2024-01-13\n")
    after = row_of(revised(ferry, "24-001", DAY).lines.set_index("technique"), "inlay")
    assert after["done"] and after[["p50", "p90", "promised"]].tolist() == [3.0, 3.0, 3.0]


def test_the_plain_reckoning_knows_how_much_was_treated(ferry: Store) -> None:
    log(ferry, entry("2024-01-10", "varnish removal with solvent gel", 6.0, quantity="16"), code="24-001")
    assert work(bench_of(ferry))["earned_hours"] == pytest.approx(6 + (26 - 10 / 3) * 6 / (10 / 3))
