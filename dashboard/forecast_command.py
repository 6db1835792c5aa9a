"""`forecast` as a command."""

from __future__ import annotations

import argparse
from typing import Any

import pandas as pd

from dashboard import forecast_sentences as said_of
from dashboard import forecasting, options, prices, reading
from dashboard.bench_lines import LINE
from dashboard.forecasting import FORECAST_KEYS, Bench
from dashboard.giving import give_json, laid_out, progress, records, write_csv
from dashboard.remembered import Memory
from dashboard.voice import complain, tell
from dashboard.words import day, hours
from ingest.errors import BenchHoursError
from ingest.settings import read_settings
from ingest.store import Store

LINE_KEYS = (*LINE[1:], "estimated_hours", "actual_hours", "p10", "p50", "p80", "p90", "finished", "works")
_MORE = ("hours_over", "break_even_hours", "chance_over_break_even", "earned_hours", "commission")


def add_commands(commands: options.Commands) -> None:
    commands.add_reader("forecast", forecast).add_argument("--object", metavar="OBJECT", help="this work only, with its lines")


def forecast(args: argparse.Namespace, store: Store) -> int:
    """Where each work on the bench will end, and which owner to write to."""
    con = store.cursor()
    as_of = args.as_of or reading.today(con)
    if as_of > reading.today(con):
        raise BenchHoursError(f"{day(as_of)} lies in the future", "What is foretold is told from what is known: name today, or an earlier day.")
    code = reading.known(con, args.object) if args.object else None
    bench = forecasting.bench(con, as_of, Memory(), only=code, progress_of=progress("works and commissions on the bench"))
    works = bench.works if code is None else bench.works[bench.works["object"] == code]
    if code is not None and works.empty:
        raise BenchHoursError(
            f"{code} is not on the bench on {day(as_of)}", "It is finished, or nothing of it is begun or approved: bench-hours quote says what it will take."
        )
    if args.csv:
        write_csv(works[[*FORECAST_KEYS, *_MORE]] if code is None else _lines(bench, code), args.csv)
    if args.json:
        give_json([_as_json(bench, row) for row in records(works)])
    if not (args.json or args.csv):
        _tell(bench, works, as_of)
        if asked := prices.ask(bench.unsaid_prices, read_settings(con)):
            complain(asked)
    return 0


def _lines(bench: Bench, code: str) -> pd.DataFrame:
    of = bench.lines[bench.lines["object"] == code]
    return of[["object", *LINE_KEYS]].reset_index(drop=True)


def _as_json(bench: Bench, row: Any) -> dict[str, Any]:
    work = pd.Series({name: float("nan") if value is None and name not in ("commission", "object") else value for name, value in row.items()})
    return {
        **{name: row[name] for name in FORECAST_KEYS}, "lines": records(_lines(bench, row["object"]).drop(columns="object")), **{name: row[name] for name in _MORE},
        "may_turn_up": [
            {"technique": one.found.technique, "phase": one.found.phase, "another_part": one.found.another, "chance": one.found.chance, "hours_if_found": one.hours_if_found}
            for one in bench.found.get(row["object"], ())
        ],
        "standing": said_of.standing(work), "reasons": [{"words": one.words, "since": one.since.isoformat() if one.since else None, "hours": one.hours} for one in said_of.reasons(bench, work)],
    }  # fmt: skip


def _tell(bench: Bench, works: pd.DataFrame, as_of: Any) -> None:
    tell(f"On the bench, as of {day(as_of)}: where each work ends in hours, what was most above first")
    if len(works) == len(bench.works):
        tell(said_of.how_they_stand(bench))
    if works.empty:
        return
    heads = ["work", "so far h", "approved h", "even chance h", "4 in 5 h", "9 in 10 h", "above what was approved"]
    rows = [
        [row["object"], *(hours(row[name]) for name in ("actual_hours", "approved_hours", "p50", "p80", "p90")), said_of.in_ten(row["chance_over_approved"]) if pd.notna(row["chance_over_approved"]) else "–"]
        for row in works.to_dict("records")
    ]  # fmt: skip
    tell(laid_out(heads, rows, right={1, 2, 3, 4, 5}))
    for _, work in works.iterrows():
        if said_of.standing(work) == "fine" and len(works) > 1:
            continue
        tell(f"{work['object']}: {said_of.ends(work)}")
        for one in said_of.reasons(bench, work) if pd.notna(work["p50"]) else []:
            tell(f"  {said_of.said(one)}")
    for sentence in said_of.apart(bench):
        tell(sentence)
