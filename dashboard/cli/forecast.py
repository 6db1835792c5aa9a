"""`forecast` as a command."""

from __future__ import annotations

import argparse
from typing import Any

import pandas as pd

from dashboard import queries
from dashboard.cli import options
from dashboard.cli.caller import write_err, write_out
from dashboard.cli.output import progress, records, write_csv, write_json, write_table, written_technique
from dashboard.formatting import day, hours
from dashboard.services import forecast as forecast_service
from dashboard.services.forecast import Bench
from dashboard.services.forecast_works import FORECAST_KEYS
from dashboard.services.open_lines import LINE
from dashboard.services.result_cache import ResultCache
from dashboard.text import forecast as forecast_text
from dashboard.text import prices as prices_text
from ingest.errors import BenchHoursError
from ingest.store import Store
from ingest.studio.settings import read_settings

LINE_KEYS = (
    *LINE[1:],
    "estimated_hours",
    "actual_hours",
    "p10",
    "p50",
    "p80",
    "p90",
    "finished",
    "works",
    "remembered",
)
_MORE = ("hours_over", "break_even_hours", "chance_over_break_even", "earned_hours", "commission")


def add_commands(commands: options.Commands) -> None:
    commands.add_reader("forecast", forecast).add_argument("--object", help="this work only, with its lines")


def forecast(args: argparse.Namespace, store: Store) -> int:
    """Where each work on the bench will end, and which owner to write to."""
    con, as_of = options.read_as_of(args, store, "What is foretold is told from what is known")
    code = queries.known(con, args.object) if args.object else None
    bench = forecast_service.bench(
        con, as_of, ResultCache(), only=code, progress_of=progress("works and commissions on the bench")
    )
    works = bench.works if code is None else bench.works[bench.works["object"] == code]
    if code is not None and works.empty:
        raise BenchHoursError(
            f"{code} is not on the bench on {day(as_of)}",
            "It is finished, or nothing of it is begun or approved: bench-hours quote says what it will"
            " take.",
        )
    if args.csv:
        write_csv(works[[*FORECAST_KEYS, *_MORE]] if code is None else _lines(bench, code), args.csv)
    if args.json:
        write_json([_as_json(bench, row) for row in records(works)])
    if not (args.json or args.csv):
        _print(bench, works, as_of)
        if question := prices_text.ask(bench.unsaid_prices, read_settings(con)):
            write_err(question)
    return 0


def _lines(bench: Bench, code: str) -> pd.DataFrame:
    of = bench.lines[bench.lines["object"] == code]
    return of[["object", *LINE_KEYS]].reset_index(drop=True)


def _as_json(bench: Bench, row: Any) -> dict[str, Any]:
    work = pd.Series(
        {
            name: float("nan") if value is None and name not in ("commission", "object") else value
            for name, value in row.items()
        }
    )
    return {
        **{name: row[name] for name in FORECAST_KEYS},
        "lines": records(_lines(bench, row["object"]).drop(columns="object")),
        **{name: row[name] for name in _MORE},
        "may_turn_up": [
            {
                "technique": written_technique(item.discovery.phase, item.discovery.technique),
                "phase": item.discovery.phase,
                "another_part": item.discovery.another,
                "chance": item.discovery.chance,
                "hours_if_found": item.hours_if_found,
            }
            for item in bench.discoveries.get(row["object"], ())
        ],
        "standing": forecast_text.standing(work),
        "reasons": [
            {
                "words": reason.words,
                "since": reason.since.isoformat() if reason.since else None,
                "hours": reason.hours,
            }
            for reason in forecast_text.reasons(bench, work)
        ],
    }


def _print(bench: Bench, works: pd.DataFrame, as_of: Any) -> None:
    write_out(f"On the bench, as of {day(as_of)}: where each work ends in hours, what was most above first")
    if len(works) == len(bench.works):
        write_out(forecast_text.how_they_stand(bench))
    if works.empty:
        return
    above = "chance_over_approved"
    columns = {
        "work": lambda row: row["object"],
        "so far h": lambda row: hours(row["actual_hours"]),
        "approved h": lambda row: hours(row["approved_hours"]),
        "even chance h": lambda row: hours(row["p50"]),
        "4 in 5 h": lambda row: hours(row["p80"]),
        "9 in 10 h": lambda row: hours(row["p90"]),
        "above what was approved": lambda row: (
            forecast_text.in_ten(row[above]) if pd.notna(row[above]) else "–"
        ),
    }
    write_table(works, columns, right={1, 2, 3, 4, 5})
    for _, work in works.iterrows():
        if forecast_text.standing(work) == "fine" and len(works) > 1:
            continue
        write_out(f"{work['object']}: {forecast_text.ends(work)}")
        for reason in forecast_text.reasons(bench, work) if pd.notna(work["p50"]) else []:
            write_out(f"  {forecast_text.reason_sentence(reason)}")
    for sentence in forecast_text.apart(bench):
        write_out(sentence)
