"""`rates` and `backtest` as commands."""

from __future__ import annotations

import argparse
import dataclasses
import math
from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from dashboard import queries
from dashboard.analysis.validation import backtest as backtests
from dashboard.analysis.validation.backtest import BacktestScores
from dashboard.cli import options
from dashboard.cli.caller import write_err, write_out
from dashboard.cli.output import progress, records, text_table, write_frame, write_json, write_table, writing
from dashboard.documents.csv_export import as_csv
from dashboard.formatting import counted, day, hours, rate
from dashboard.services import rates as rates_service
from dashboard.services.rates import predictions
from dashboard.text.backtest import ranges_verdict, totals_verdict, trust
from dashboard.text.rates import per, usual
from dashboard.text.remembered import left_out, works_behind
from ingest.errors import BenchHoursError
from ingest.sql import Connection
from ingest.store import Store
from ingest.studio.vocabulary import read_vocabulary
from ingest.values.line_names import line_name


def add_commands(commands: options.Commands) -> None:
    commands.add_reader("rates", rates).add_argument("--technique", help="of this technique only")
    tried = commands.add_reader("backtest", backtest)
    options.add_files(tried, predictions="write what was foretold of each line as CSV, in hours")


def rates(args: argparse.Namespace, store: Store) -> int:
    """What each technique really takes in this studio, and how sure that is, from the finished works."""
    con, as_of = options.read_as_of(args, store)
    technique = _technique(con, args.technique) if args.technique else None
    calibrated = rates_service.calibrated(con, as_of)
    table = rates_service.rate_table(con, as_of, calibrated)
    if technique is None:
        wholes = rates_service.rates_of_wholes(con, as_of, calibrated)
        table = table if wholes.empty else pd.concat([table, wholes], ignore_index=True)
    shown = table if technique is None else table[table["technique"] == technique].reset_index(drop=True)
    if args.json or args.csv:
        return write_frame(shown.drop(columns="position"), args)
    if table["rate"].isna().all():
        write_out(
            "Nothing is finished yet, and no rate can be had: log hours, and set milestones where lines are"
            " finished."
        )
        return 0
    listed = shown if technique else shown[(shown["lines"] > 0) | shown["pinned_rate"].notna()]
    write_out(
        f"Our rates, as of {day(as_of)}: hours, with the range that holds the true rate 4 times in 5, and the"
        " next line of the usual quantity"
    )
    columns = {
        "technique": lambda row: line_name(row["phase"], row["technique"]),
        "works": lambda row: works_behind(row["works"], row["remembered"]),
        "rate": _shown,
        "from": lambda row: rate(row["rate_low"]),
        "to": lambda row: rate(row["rate_high"]),
        "per": _per,
        "usual line": usual,
        "even chance h": lambda row: hours(row["p50"]),
        "4 in 5 h": lambda row: hours(row["p80"]),
        "9 in 10 h": lambda row: hours(row["p90"]),
    }
    write_table(listed, columns, right={1, 2, 3, 4, 7, 8, 9})
    for row in listed[listed["pinned_rate"].notna()].to_dict("records"):
        write_out(
            f"* {line_name(row['phase'], row['technique'])}: pinned at {rate(row['pinned_rate'])} on"
            f" {day(row['pinned_on'])}: {row['pinned_reason']}. The record says {rate(row['rate'])}."
        )
    if not technique and (without := int((table["lines"] == 0).sum())):
        write_out(
            f"{counted(without, 'technique')} without a finished line: their phase's rate stands for them,"
            " with a wide range (bench-hours rates --technique)."
        )
    return 0


def _technique(con: Connection, text: str) -> str:
    try:
        return read_vocabulary(con).technique(text)
    except BenchHoursError as error:
        raise BenchHoursError(f'"{text}" {error.what}', error.mend) from error


def _shown(row: Mapping[Hashable, Any]) -> str:
    return f"{rate(row['pinned_rate'])}*" if pd.notna(row["pinned_rate"]) else rate(row["rate"])


def _per(row: Mapping[Hashable, Any]) -> str:
    """The unit of the rate that is shown."""
    return per(row, row["counted_in"] if pd.notna(row["pinned_rate"]) else row["unit"])


def backtest(args: argparse.Namespace, store: Store) -> int:
    """Past promises tried again: each finished line foretold from what was finished before its estimate was
    made.
    """
    con, as_of = options.read_as_of(args, store)
    retried = rates_service.retried(con, as_of, progress("days on which estimates were made"))
    verdict, phases = backtests.score(retried), backtests.by_phase(retried)
    files = {args.predictions: as_csv(predictions(retried))} if args.predictions else {}
    with writing(files | ({args.csv: as_csv(phases)} if args.csv else {})):
        pass
    if args.predictions:
        write_err(
            f"{args.predictions}: {counted(len(retried.lines), 'line')}, each foretold from what was finished"
            " before its estimate was made"
        )
    if args.json:
        write_json(as_json(verdict, phases))
    if not (args.json or args.csv):
        _print(verdict, phases, as_of)
        if sentence := left_out(len(queries.remembered(con))):
            write_out(sentence)
    return 0


def as_json(verdict: BacktestScores, phases: pd.DataFrame) -> dict[str, Any]:
    """The verdict with what is unknown as None."""
    values = {
        name: _none_if_nan(value)
        for name, value in dataclasses.asdict(verdict).items()
        if name != "compared_with"
    }
    return values | {
        "compared_with": {name: _none_if_nan(value) for name, value in verdict.compared_with.items()},
        "phases": records(phases),
    }


def _none_if_nan(value: float) -> float | None:
    return None if isinstance(value, float) and math.isnan(value) else value


def _print(verdict: BacktestScores, phases: pd.DataFrame, as_of: Any) -> None:
    write_out(
        f"Past promises tried again, as of {day(as_of)}: each line foretold from what was finished before its"
        " estimate was made"
    )
    for sentence in (ranges_verdict(verdict), totals_verdict(verdict)):
        write_out(sentence)
    if not verdict.lines:
        return
    rows = [[name, f"{value:.3f}"] for name, value in verdict.compared_with.items()]
    write_out(text_table(["lost by (less is better)", "on average"], rows, right={1}))
    columns = {
        "phase": lambda row: row["phase"],
        "lines": lambda row: f"{row['lines']}",
        "can its ranges be trusted?": trust,
    }
    write_table(phases, columns, right={1})
