"""Past promises tried again: nothing of what came later, every finished line with an estimate, and the
commands that say so.
"""

import json
from collections.abc import Callable
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard import queries
from dashboard.analysis.validation import backtest as backtests
from dashboard.cli.caller import Caller, as_caller
from dashboard.cli.main import main
from dashboard.services import rates as rates_service
from dashboard.services.rates import PREDICTION_COLUMNS, predictions
from ingest.importing.files import import_files
from ingest.store import Store
from ingest.studio.settings import write_settings
from tests import ROOT
from tests.frames import number

DEMO = ROOT / "demo_logs"
LINE = ["object", "phase", "technique", "part"]
HEAD = "object,phase,technique,person,date,hours\n"
CUT = "2024-11-15"
AS_OF = date(2026, 11, 1)


@pytest.fixture(scope="module")
def commanded(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str | None], tuple[Path, str]]:
    """The file that `--predictions` writes for the invented studio, whole or with everything after a day left
    out, and what `--json` says.
    """

    @cache
    def run(cut: str | None) -> tuple[Path, str]:
        folder = tmp_path_factory.mktemp("cut")
        for name, days in FILES.items():
            frame = pd.read_csv(DEMO / f"{name}.csv", dtype=str, keep_default_na=False)
            if cut is not None:
                frame = without_what_came_later(name, frame, days, cut)
            frame.to_csv(folder / f"{name}.csv", index=False)
        with Store(folder / "studio.duckdb") as store:
            with store.writing() as con:
                write_settings(con, {"zone": "Europe/Berlin"})
            for report in import_files(
                store, [folder / f"{name}.csv" for name in FILES], write_rejects=False
            ):
                assert report.complete, report.problems.head()
        said: list[str] = []
        with as_caller(Caller(said.append, lambda _: None, folder)):
            call = ["backtest", "--db", "studio.duckdb", "--json", "--predictions", "told.csv"]
            assert main([*call, "--as-of", f"{AS_OF}"]) == 0
        return folder / "told.csv", "\n".join(said)

    return run


@pytest.fixture(scope="module")
def tried(commanded: Callable[[str | None], tuple[Path, str]]) -> Callable[[str | None], pd.DataFrame]:
    """The lines of the file."""
    return lambda cut: pd.read_csv(
        commanded(cut)[0], keep_default_na=False, na_values={"estimate_hours": [""]}
    )


FILES = {"objects": "received_on", "estimates": "made_on", "time_entries": "", "milestones": "finished_on"}


def without_what_came_later(name: str, frame: pd.DataFrame, days: str, cut: str) -> pd.DataFrame:
    when = (
        frame["started_at"].str[:10].where(frame["started_at"] != "", frame["date"])
        if name == "time_entries"
        else frame[days]
    )
    kept = frame[when <= cut].copy()
    for later in ("finished_on",) if name == "objects" else ("approved_on",) if name == "estimates" else ():
        kept.loc[kept[later] > cut, later] = ""
    return kept


def test_with_everything_after_a_day_deleted_what_was_foretold_before_it_is_the_same_to_the_digit(
    tried: Callable[[str | None], pd.DataFrame],
) -> None:
    whole, cut = tried(None), tried(CUT)
    assert 150 < len(cut) < len(whole) and cut["predicted_on"].max() <= CUT
    both = cut.merge(
        whole, on=[*LINE, "predicted_on"], how="left", suffixes=("", " of the whole"), indicator=True
    )
    assert (both["_merge"] == "both").all()
    for name in PREDICTION_COLUMNS[5:]:
        one, other = both[name].to_numpy(float), both[f"{name} of the whole"].to_numpy(float)
        assert np.array_equal(one, other, equal_nan=True) or name == "actual_hours", name


def test_what_was_foretold_does_not_rest_on_which_lines_of_its_version_are_finished_by_now(
    commanded: Callable[[str | None], tuple[Path, str]], tried: Callable[[str | None], pd.DataFrame]
) -> None:
    now = tried(None).set_index([*LINE, "predicted_on"])
    with Store(commanded(None)[0].with_name("studio.duckdb")) as store:
        for back in (1000, 540):
            retried = rates_service.retried(store.cursor(), AS_OF - timedelta(days=back))
            then = predictions(retried).set_index([*LINE, "predicted_on"])
            assert 200 < len(then) < len(now)
            for name in PREDICTION_COLUMNS[7:]:
                assert (then[name] == now.loc[then.index, name]).all(), (back, name)


def test_every_finished_line_with_an_estimate_is_foretold_once_on_the_day_it_was_made(
    tried: Callable[[str | None], pd.DataFrame],
) -> None:
    told = tried(None)
    assert tuple(told.columns) == PREDICTION_COLUMNS and not told.duplicated(LINE).any()
    quantiles = told[list(PREDICTION_COLUMNS[7:])].to_numpy()
    assert np.isfinite(quantiles).all() and (quantiles > 0).all() and (np.diff(quantiles, axis=1) >= 0).all()
    # the same set by another way: lines of the last version made on or before the day of the first entry,
    # finished by the end
    entries = pd.read_csv(DEMO / "time_entries.csv", dtype=str, keep_default_na=False)
    entries = entries[(entries["object"] != "") & (entries["charge"] != "own_cost")]
    entries["day"] = entries["started_at"].str[:10].where(entries["started_at"] != "", entries["date"])
    first = entries.groupby(["object", "technique", "part"])["day"].min()
    estimates = pd.read_csv(DEMO / "estimates.csv", dtype=str, keep_default_na=False)
    objects = pd.read_csv(DEMO / "objects.csv", dtype=str, keep_default_na=False).set_index("object")[
        "finished_on"
    ]
    finished = {name for name, day in objects.items() if day}
    milestones = pd.read_csv(DEMO / "milestones.csv", dtype=str, keep_default_na=False)

    def closed(text: str, phase: str, made: str) -> str:
        """The first day from its estimate on when a line that was never worked was said to be finished."""
        days = [
            *milestones.loc[(milestones["object"] == text) & (milestones["phase"] == phase), "finished_on"],
            objects[text],
        ]
        return min(str(day) for day in days if day >= made)

    versions: dict[str, set[tuple[str, str]]] = {}
    for known, made_on, version in estimates[["object", "made_on", "version"]].itertuples(index=False):
        versions.setdefault(known, set()).add((made_on, version))
    expected = set()
    for (known, technique, part), lines in estimates[estimates["object"].isin(finished)].groupby(
        ["object", "technique", "part"]
    ):
        day = first.get((known, technique, part)) or closed(
            str(known), lines["phase"].iloc[0], lines["made_on"].min()
        )
        made = [version for version in versions[str(known)] if version[0] <= day]
        if made and max(made)[1] in set(lines["version"]):
            expected.add((known, technique, part, max(made)[0]))
    of_finished = told[told["object"].isin(finished)]
    assert (
        set(of_finished[["object", "technique", "part", "predicted_on"]].itertuples(index=False, name=None))
        == expected
    )


def test_the_verdict_is_what_the_predictions_give(
    commanded: Callable[[str | None], tuple[Path, str]],
) -> None:
    written, printed = commanded(None)
    said = json.loads(printed)
    assert set(said) >= {
        "lines",
        "works",
        "pinball",
        "coverage80",
        "coverage90",
        "bias_factor",
        "total_coverage80",
        "compared_with",
    }
    told = pd.read_csv(written)
    worked = told[told["actual_hours"] > 0]
    levels = np.array([int(name[1:]) / 100 for name in PREDICTION_COLUMNS[7:]])
    short = np.log(worked["actual_hours"].to_numpy())[:, None] - np.log(
        worked[list(PREDICTION_COLUMNS[7:])].to_numpy()
    )
    assert said["pinball"] == pytest.approx(np.maximum(levels * short, (levels - 1) * short).mean(), rel=1e-9)
    assert said["lines"] == len(worked) and said["bias_factor"] == pytest.approx(
        np.exp(np.log(worked["actual_hours"] / worked["q50"]).mean())
    )
    inside = worked["actual_hours"].between(worked["q10"], worked["q90"]).mean()
    assert said["coverage80"] == pytest.approx(inside, abs=0.02)  # but for lines on the edge
    assert (
        0.76 < said["coverage80"] < 0.84
        and 0.86 < said["coverage90"] < 0.94
        and 0.93 < said["bias_factor"] < 1.07
    )
    ours = said["compared_with"].pop("these ranges")
    assert len(said["compared_with"]) == 3 and all(
        ours < 0.87 * theirs for theirs in said["compared_with"].values()
    )


def test_a_studio_with_nothing_finished_has_no_promise_to_try_again(store: Store) -> None:
    retried = rates_service.retried(store.cursor(), date(2026, 1, 1))
    verdict = backtests.score(retried)
    assert (verdict.lines, verdict.works, len(retried.lines)) == (0, 0, 0) and np.isnan(verdict.pinball)
    assert backtests.by_phase(retried).empty


def test_the_first_work_is_foretold_from_nothing_but_its_figures(
    store: Store, studio: Callable[..., object]
) -> None:
    studio(
        "est.csv",
        "object,version,made_on,phase,technique,quantity,hours\n24-001,1,2024-02-01,,facing,20,3\n24-001,1,2024-02-01,,packing,,1\n24-001,1,2024-02-01,,filling,2,\n",
    )
    studio("log.csv", HEAD + "24-001,,facing,Ilse,2024-03-01,4\n24-001,,filling,Ilse,2024-03-01,2\n")
    studio("objects.csv", "object,title,finished_on\n24-001,Ferry in snow,2024-03-05\n")
    retried = rates_service.retried(store.cursor(), date(2026, 1, 1))
    told = retried.lines.set_index("technique")
    assert (
        told["actual_hours"].to_dict() == {"facing": 4.0, "filling": 2.0, "packing": 0.0}
        and (told["past_lines"] == 0).all()
    )
    assert (
        2 < number(told, "facing", "q50") < 5
        and np.isnan(number(told, "filling", "estimate_hours"))
        and np.isnan(number(told, "packing", "loss"))
    )
    assert queries.holdings(store.cursor())["versions"] == 1
