"""Rates as a table and as commands: what they say, from which works, as of any day, and what is pinned beside
them.
"""

import json
from collections.abc import Hashable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from dashboard import queries
from dashboard.charts import rates as rates_chart
from dashboard.cli.main import main
from dashboard.formatting import rate
from dashboard.services import forecast as forecast_service
from dashboard.services import rates as rates_service
from dashboard.services.rates import RATE_KEYS
from dashboard.services.result_cache import ResultCache
from dashboard.text.backtest import trust
from dashboard.text.rates import chart_explained, drift, pinned, rate_explained, rests_on, usual
from ingest.editing import pinned_rates
from ingest.errors import BenchHoursError
from ingest.store import Store
from ingest.studio import vocabulary
from ingest.tables.audit_log import Change
from tests import ROOT
from tests.conftest import CHANGE, LATER, Bring
from tests.frames import number, row_of

TRUTH = json.loads((ROOT / "demo_logs" / "truth.json").read_text())
HEAD = "object,phase,technique,person,date,hours,quantity\n"
VARNISH = "varnish removal with free solvents"


@pytest.fixture
def copied(invented: Path, tmp_path: Path) -> Path:
    path = tmp_path / "studio.duckdb"
    path.write_bytes(invented.read_bytes())
    return path


def json_of(capsys: pytest.CaptureFixture[str], *call: str) -> list[dict[str, object]]:
    assert main([*call, "--json"]) == 0
    found: list[dict[str, object]] = json.loads(capsys.readouterr().out)
    return found


def table(store: Store, as_of: date = LATER) -> pd.DataFrame:
    con = store.cursor()
    return rates_service.rate_table(con, as_of, rates_service.calibrated(con, as_of)).set_index(
        "technique", drop=False
    )


def test_the_rates_of_the_invented_studio_are_those_it_was_drawn_from(
    copied: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The script that wrote its logs says the truth: hours of a reference quantity at a common pace of 1,
    which grow with quantity by a common power.
    """
    found = {str(row["technique"]): row for row in json_of(capsys, "rates", "--db", str(copied))}
    inside, known = 0, 0
    for technique, truth in TRUTH["techniques"].items():
        row = found[technique]
        assert set(RATE_KEYS) <= set(row)
        if not row["works"]:
            continue
        usual_quantity = row["reference_quantity"] if truth["unit"] else 1.0
        assert (
            isinstance(usual_quantity, float)
            and isinstance(row["rate_low"], float)
            and isinstance(row["rate_high"], float)
        )
        by = (
            (usual_quantity / truth["reference_quantity"]) ** TRUTH["elasticity"] / usual_quantity
            if truth["unit"]
            else 1.0
        )
        known += 1
        inside += row["rate_low"] <= truth["hours"] * by <= row["rate_high"]
    assert known > 35 and inside / known > 0.7
    row = found[VARNISH]
    assert (
        row["unit"] == "dm2"
        and row["phase"] == "varnish and overpaint"
        and isinstance(row["works"], int)
        and row["works"] > 20
    )
    assert row["p10"] < row["p50"] < row["p80"] < row["p90"] and 0 < row["figure_weight"] < 1  # type: ignore[operator]
    never = found["gel poultice"]
    assert (never["works"], never["lines"], never["rests_on"], never["reach"]) == (
        0,
        0,
        "phase",
        None,
    ) and never["rate"] is not None


def test_one_technique_is_asked_for_by_any_of_its_spellings_and_a_strange_one_is_refused(
    copied: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert [
        row["technique"]
        for row in json_of(
            capsys, "rates", "--db", str(copied), "--technique", "Varnish removal with FREE solvents"
        )
    ] == [VARNISH]
    assert main(["rates", "--db", str(copied), "--technique", "varnsh removal with free solvents"]) == 2
    assert f'Did you mean "{VARNISH}"?' in capsys.readouterr().err
    assert main(["rates", "--db", str(copied)]) == 0
    said = capsys.readouterr().out
    assert VARNISH in said and "without a finished line" in said and "gel poultice" not in said


def test_as_of_a_day_rates_are_what_one_would_have_known_then_to_the_digit(
    copied: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Store(copied) as store:
        day = queries.today(store.cursor()) - timedelta(days=500)
    then = json_of(capsys, "rates", "--db", str(copied), "--as-of", str(day))
    with Store(copied) as store, store.writing() as con:
        for statement in (
            "DELETE FROM spells WHERE day > ?",
            "DELETE FROM milestones WHERE finished_on > ?",
            "UPDATE objects SET finished_on = NULL WHERE finished_on > ?",
            "UPDATE estimate_versions SET approved_on = NULL WHERE approved_on > ?",
        ):
            con.execute(statement, [day])
    assert json_of(capsys, "rates", "--db", str(copied)) != then  # another day: pace may have drifted
    assert json_of(capsys, "rates", "--db", str(copied), "--as-of", str(day)) == then


def test_a_studio_with_nothing_finished_has_no_rates_and_says_what_to_do(
    store: Store, studio: Bring, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    studio("log.csv", HEAD + "24-001,,facing,Ilse,2024-03-01,3,20\n")
    rows = table(store)
    assert (
        rows["rate"].isna().all()
        and rows["p50"].isna().all()
        and (rows["rests_on"] == "nothing").all()
        and rows.loc["facing", "open_lines"] == 1
    )
    path = str(tmp_path / "empty.duckdb")
    Store(Path(path)).close()
    assert main(["rates", "--db", path]) == 0
    assert "Nothing is finished yet" in capsys.readouterr().out


def test_one_finished_line_says_a_little_and_its_phase_and_studio_less(store: Store, studio: Bring) -> None:
    studio("log.csv", HEAD + "24-001,,facing,Ilse,2024-03-01,3,20\n")
    studio("done.csv", "object,phase,technique,part,finished_on\n24-001,,facing,,2024-03-05\n")
    rows = table(store)
    assert row_of(rows, "facing")[["works", "rests_on"]].tolist() == [1, "technique"]
    assert number(rows, "facing", "rate") == pytest.approx(3 / 20, rel=0.35)
    assert rows.loc["consolidation", "rests_on"] == "phase" and rows.loc["retouching", "rests_on"] == "studio"
    width = (rows["rate_high"] / rows["rate_low"])[["facing", "consolidation", "retouching"]].tolist()
    assert width == sorted(width)
    # of it nothing was ever measured here: hours of a line are known, but not for how much
    assert (
        rows.loc["strip lining", "unit"] is None
        and rows.loc["strip lining", "counted_in"] == "cm"
        and number(rows, "strip lining", "p50") > 0
    )
    assert usual(row_of(rows, "strip lining")) == "a line, not measured"
    assert "rests on its phase" in rests_on(row_of(rows, "consolidation"), pd.DataFrame())[0]


@pytest.mark.parametrize(
    "hours, reason, word",
    [
        (0.0, "a", "is no rate"),
        (float("nan"), "a", "is no rate"),
        (2000.0, "a", "is no rate"),
        (1.0, " ", "needs a reason"),
    ],
)
def test_a_pin_that_means_nothing_is_refused(store: Store, hours: float, reason: str, word: str) -> None:
    with store.writing() as con, pytest.raises(BenchHoursError) as caught:
        pinned_rates.pin(con, "facing", hours, LATER, Change(by="Ilse", reason=reason))
    assert word in str(caught.value)
    with store.writing() as con, pytest.raises(BenchHoursError) as caught:
        pinned_rates.pin(con, "no such", 1.0, LATER, CHANGE)
    assert "there is no technique" in str(caught.value)


def test_a_pinned_rate_stands_beside_the_record_s_from_its_day_to_the_day_it_is_let_go(
    copied: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Store(copied) as store:
        today = queries.today(store.cursor())
        days = [today - timedelta(days=back) for back in (30, 20, 10)]
        before = table(store, today).loc[VARNISH]
        with store.writing() as con:
            pinned_rates.pin(con, VARNISH, 0.5, days[0], Change(by="Ilse", reason="a new gel"))
            pinned_rates.pin(con, VARNISH, 0.1, days[1], Change(by="Ilse", reason="a better gel"))
            pinned_rates.withdraw(con, VARNISH, days[2])
        seen = [table(store, days[0] - timedelta(days=1)), *(table(store, day) for day in days)]
        assert [
            row.loc[VARNISH, "pinned_reason"] if not np.isnan(number(row, VARNISH, "pinned_rate")) else None
            for row in seen
        ] == [None, "a new gel", "a better gel", None]
        with store.writing() as con:
            pinned_rates.pin(con, VARNISH, 0.5, today, Change(by="Ilse", reason="a new gel"))
            with pytest.raises(BenchHoursError, match="clock"):
                pinned_rates.withdraw(con, VARNISH, days[0])
        now = row_of(table(store, today), VARNISH)
        assert (now["rate"], now["rate_low"]) == (before["rate"], before["rate_low"]) and now[
            "pinned_rate"
        ] == 0.5
        assert now["p80"] == pytest.approx(before["p80"] * 0.5 / before["rate"])
        said = pinned(now)
        assert "Pinned at 0.50 h per dm²" in said and "by Ilse: a new gel. The record says 0." in said
        with store.writing() as con:
            vocabulary.rename(con, "technique", VARNISH, "varnish off", CHANGE)
        assert table(store, today).loc["varnish off", "pinned_rate"] == 0.5
        with store.writing() as con:
            con.execute("UPDATE techniques SET unit = 'cm' WHERE technique = 'varnish off'")
        # hours per dm² say nothing of cm
        assert np.isnan(number(table(store, today), "varnish off", "pinned_rate"))
    assert main(["rates", "--db", str(copied)]) == 0
    assert "a new gel" not in capsys.readouterr().out


def test_paces_of_people_are_apart_and_in_no_rate(copied: Path) -> None:
    with Store(copied) as store:
        con = store.cursor()
        known = rates_service.calibrated(con, queries.today(con))
        paces = rates_service.paces_of_people(known).set_index("person")
        for one, other in (("Ilse", "Tamsin"), ("Bram", "Tamsin"), ("Bram", "Ilse")):
            true = TRUTH["people"][one] / TRUTH["people"][other]
            assert number(paces, one, "pace") / number(paces, other, "pace") == pytest.approx(true, rel=0.08)
        said = rates_service.rate_table(con, queries.today(con), known).drop(columns="pinned_by").to_csv()
        assert not any(name in said for name in TRUTH["people"])


def test_past_lines_are_brought_to_the_usual_quantity_and_drawn_behind_the_rate(copied: Path) -> None:
    with Store(copied) as store:
        con = store.cursor()
        today = queries.today(con)
        known = rates_service.calibrated(con, today)
        row = row_of(rates_service.rate_table(con, today, known).set_index("technique", drop=False), VARNISH)
        lines = rates_service.past_lines(known, VARNISH)
    assert len(lines) == row["lines"] and lines["object"].nunique() == row["works"]
    measured = lines[lines["measured"]]
    expected = measured["hours"] * (row["reference_quantity"] / measured["quantity"]) ** row["elasticity"]
    assert measured["usual_hours"].tolist() == pytest.approx(expected.tolist()) and len(measured) < len(lines)
    assert 0.6 < lines["usual_hours"].between(row["p10"], row["p90"]).mean() < 0.98
    chart = rates_chart.past_lines(lines, row, usual(row)).to_dict()
    assert [layer["mark"]["type"] for layer in chart["layer"]] == ["rect", "rect", "rule", "point"]
    assert "pinned" in str(
        rates_chart.past_lines(lines, pd.Series({**row, "pinned_rate": 0.4}), usual(row)).to_dict()
    )


def test_where_a_line_under_way_ends_never_falls_when_an_entry_is_added(copied: Path) -> None:
    with Store(copied) as store:
        con = store.cursor()
        today = queries.today(con)

        def ends(work: str) -> pd.DataFrame:
            lines = forecast_service.bench(con, today, ResultCache(), only=work).lines
            return lines[(lines["object"] == work) & ~lines["finished"].astype(bool) & ~lines["all_done"]]

        known = rates_service.calibrated(con, today)
        work = str(known.joint.lines.object[known.joint.lines.is_open][0])
        before = ends(work)
        assert (
            len(before)
            and (before["p10"] >= before["actual_hours"] - 1e-9).all()
            and (before["p50"] <= before["p90"]).all()
        )
        line = before[before["begun"]].iloc[0]
        for hours in (0.1, 2.0, 9.0, 15.0):
            with store.writing() as writing:
                writing.execute(
                    """
                    INSERT INTO spells (entry, line, person, day, hours, counted_hours, mode, charge, content)
                    SELECT ?, line, 'Tamsin', ?, ?, ?, 'hands_on', 'quoted', md5(?)::UUID FROM lines
                    WHERE object = ? AND technique = ? AND part = ?""",
                    [
                        f"more {hours}",
                        today,
                        hours,
                        hours,
                        f"more {hours}",
                        work,
                        line["technique"],
                        line["part"],
                    ],
                )
            after = ends(work)
            both = before.merge(after, on=["object", "phase", "technique", "part"], suffixes=("", " after"))
            assert len(both) == len(before)
            own = (both["technique"] == line["technique"]) & (both["part"] == line["part"])
            for name in ("p10", "p50", "p80", "p90"):
                assert (both.loc[own, f"{name} after"] >= both.loc[own, name] - 1e-9).all(), (hours, name)
                # the luck of the work may become the surer
                assert (both[f"{name} after"] >= both[name] * 0.995).all(), (hours, name)
            before = after


def test_sentences_say_what_a_rate_rests_on_and_whether_ranges_hold() -> None:
    row = pd.Series(
        {
            "works": 3,
            "lines": 3,
            "open_lines": 1,
            "reach": float("nan"),
            "remembered": 0,
            "own_share": 0.4,
            "elasticity": 0.8,
            "figure_weight": 0.25,
            "rests_on": "technique",
            "phase": "cleaning",
            "technique": "surface cleaning dry",
            "unit": "dm2",
            "counted_in": "dm2",
            "measured": 2,
            "reference_quantity": 30.0,
        }
    )
    lines = pd.DataFrame({"day": [pd.Timestamp("2026-05-04")] * 3})
    said = rests_on(row, lines)
    assert (
        said[0]
        == "From 3 finished lines on 3 works, the last finished on 4 May 2026; 1 open line counts as more"
        " than so far."
        and "neither 4 in 5" in said[1]
    )
    assert (
        "2 of 3 lines were measured; the others teach as usual lines of pictures like theirs"
        in rate_explained(row)[0]
    )
    assert (
        "40 %" in rate_explained(row)[0]
        and "1.7 times the hours" in rate_explained(row)[0]
        and "25 %" in rate_explained(row)[0]
    )
    assert chart_explained(pd.Series({"elasticity": float("nan")}), "one line").startswith(
        "Each point is a finished line: choose one"
    )
    phase: dict[Hashable, Any] = {
        "lines": 90,
        "works": 40,
        "inside80": 0.81,
        "above": 0.1,
        "below": 0.09,
        "bias_factor": 1.02,
    }
    assert trust(phase) == "yes: 81 in 100 ended inside the range of 4 in 5"
    assert trust(phase | {"inside80": 0.6, "above": 0.3}).startswith(
        "too narrow so far: only 60 in 100"
    ) and "mostly above it" in trust(phase | {"inside80": 0.6, "above": 0.3})
    assert trust(phase | {"inside80": 0.97}).startswith("wider than need be") and trust(
        phase | {"works": 5}
    ).startswith("too early to say")
    assert trust(phase | {"bias_factor": 1.3}).endswith(
        "lines took 30 % more than was foretold at even chance"
    )
    assert "cannot be told" in drift(0.01, -0.01, 0.03) and "2 % less with each year" in drift(
        -0.02, -0.03, -0.01
    )
    assert [rate(value) for value in (0.0047, 0.19, 2.94, 14.3, float("nan"))] == [
        "0.0047",
        "0.19",
        "2.9",
        "14.3",
        "–",
    ]
