"""`rates` and `backtest` as commands."""

from __future__ import annotations

import argparse
import dataclasses
import math
from collections.abc import Hashable, Mapping
from typing import Any

import duckdb
import pandas as pd

from dashboard import calibrating, options, reading
from dashboard.analysis import backtest as trying
from dashboard.analysis.backtest import QUANTILE_COLUMNS, Retried, Verdict
from dashboard.giving import as_csv, give, give_json, laid_out, progress, records, written
from dashboard.sentences import how_the_ranges_did, how_the_totals_did, trust
from dashboard.voice import complain, tell
from dashboard.words import UNITS, counted, day, hours, per_unit, rate, text
from ingest.errors import BenchHoursError
from ingest.store import Store
from ingest.vocabulary import read_vocabulary

PREDICTION_COLUMNS = ("object", "phase", "technique", "part", "predicted_on", "estimate_hours", "actual_hours", *QUANTILE_COLUMNS)


def add_commands(commands: options.Commands) -> None:
    commands.add_reader("rates", rates).add_argument("--technique", metavar="TECHNIQUE", help="of this technique only")
    tried = commands.add_reader("backtest", backtest)
    tried.add_argument("--predictions", type=options.file, metavar="FILE", help="write what was foretold of each line as CSV, in hours")


def rates(args: argparse.Namespace, store: Store) -> int:
    """What each technique really takes in this studio, and how sure that is, from the finished works."""
    con = store.cursor()
    as_of = args.as_of or reading.today(con)
    technique = _technique(con, args.technique) if args.technique else None
    table = calibrating.rate_table(con, as_of, calibrating.calibrated(con, as_of))
    shown = table if technique is None else table[table["technique"] == technique].reset_index(drop=True)
    if args.json or args.csv:
        return give(shown.drop(columns="position"), args)
    if table["rate"].isna().all():
        tell("Nothing is finished yet, and no rate can be had: log hours, and set milestones where lines are finished.")
        return 0
    known = shown if technique else shown[(shown["lines"] > 0) | shown["pinned_rate"].notna()]
    tell(f"Our rates, as of {day(as_of)}: hours, with the range that holds the true rate 4 times in 5, and the next line of the usual quantity")
    heads = ["technique", "works", "rate", "from", "to", "per", "usual line", "even chance h", "4 in 5 h", "9 in 10 h"]
    rows = [
        [row["technique"], f"{row['works']}", _shown(row), rate(row["rate_low"]), rate(row["rate_high"]), _per(row), usual(row), hours(row["p50"]), hours(row["p80"]), hours(row["p90"])]
        for row in known.to_dict("records")
    ]  # fmt: skip
    tell(laid_out(heads, rows, right={1, 2, 3, 4, 7, 8, 9}))
    for row in known[known["pinned_rate"].notna()].to_dict("records"):
        tell(
            f"* {row['technique']}: pinned at {rate(row['pinned_rate'])} on {day(row['pinned_on'])}: {row['pinned_reason']}. The record says {rate(row['rate'])}."
        )
    if not technique and (without := int((table["lines"] == 0).sum())):
        tell(f"{counted(without, 'technique')} without a finished line: their phase's rate stands for them, with a wide range (bench-hours rates --technique).")
    return 0


def _technique(con: duckdb.DuckDBPyConnection, text: str) -> str:
    try:
        return read_vocabulary(con).technique(text)
    except BenchHoursError as error:
        raise BenchHoursError(f'"{text}" {error.what}', error.mend) from error


def _shown(row: Mapping[Hashable, Any]) -> str:
    return f"{rate(row['pinned_rate'])}*" if pd.notna(row["pinned_rate"]) else rate(row["rate"])


def _per(row: Mapping[Hashable, Any]) -> str:
    """What the rate that is shown is held against."""
    return per_unit(row["counted_in"] if pd.notna(row["pinned_rate"]) else row["unit"])


def usual(row: Mapping[Hashable, Any] | pd.Series) -> str:
    """The quantity of a usual line."""
    if text(row["counted_in"]) and not text(row["unit"]):
        return f"a line on {row['usual_area']:,.0f} dm²" if pd.notna(row["usual_area"]) else "a line, not measured"
    return f"{row['reference_quantity']:,.10g} {UNITS[row['unit']]}" if text(row["unit"]) else "one line"


def backtest(args: argparse.Namespace, store: Store) -> int:
    """Past promises tried again: each finished line foretold from what was finished before its estimate was made."""
    con = store.cursor()
    as_of = args.as_of or reading.today(con)
    retried = calibrating.retried(con, as_of, progress("days on which estimates were made"))
    verdict, phases = trying.judge(retried), trying.by_phase(retried)
    files = {args.predictions: as_csv(predictions(retried))} if args.predictions else {}
    with written(files | ({args.csv: as_csv(phases)} if args.csv else {})):
        pass
    if args.predictions:
        complain(f"{args.predictions}: {counted(len(retried.lines), 'line')}, each foretold from what was finished before its estimate was made")
    if args.json:
        give_json(as_json(verdict, phases))
    if not (args.json or args.csv):
        _tell(verdict, phases, as_of)
    return 0


def predictions(retried: Retried) -> pd.DataFrame:
    """The columns of a predictions file, in hours."""
    lines = retried.lines
    days = pd.to_datetime(lines["predicted_on"], unit="D").dt.strftime("%Y-%m-%d")
    return lines.assign(predicted_on=days)[list(PREDICTION_COLUMNS)].sort_values(["predicted_on", "object", "phase", "technique", "part"], ignore_index=True)


def as_json(verdict: Verdict, phases: pd.DataFrame) -> dict[str, Any]:
    """The verdict with what is unknown as None."""
    known = {name: _known(value) for name, value in dataclasses.asdict(verdict).items() if name != "compared_with"}
    return known | {"compared_with": {name: _known(value) for name, value in verdict.compared_with.items()}, "phases": records(phases)}


def _known(value: float) -> float | None:
    return None if isinstance(value, float) and math.isnan(value) else value


def _tell(verdict: Verdict, phases: pd.DataFrame, as_of: Any) -> None:
    tell(f"Past promises tried again, as of {day(as_of)}: each line foretold from what was finished before its estimate was made")
    for sentence in (how_the_ranges_did(verdict), how_the_totals_did(verdict)):
        tell(sentence)
    if not verdict.lines:
        return
    rows = [[name, f"{value:.3f}"] for name, value in verdict.compared_with.items()]
    tell(laid_out(["lost by (less is better)", "on average"], rows, right={1}))
    tell(
        laid_out(
            ["phase", "lines", "can its ranges be trusted?"], [[row["phase"], f"{row['lines']}", trust(row)] for row in phases.to_dict("records")], right={1}
        )
    )
