"""`plan` as a command."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime, timedelta
from typing import Any

import pandas as pd

from dashboard.cli import options
from dashboard.cli.caller import write_out
from dashboard.cli.output import progress, records, write_json, write_table, writing
from dashboard.documents import plan_ical
from dashboard.documents.csv_export import as_csv
from dashboard.formatting import day, hours
from dashboard.services import plan as plan_service
from dashboard.services import plan_new_work
from dashboard.services.plan import COLUMNS, LEAVES, Plan
from dashboard.services.result_cache import ResultCache
from dashboard.text import plan as plan_text
from dashboard.text.forecast import in_ten
from ingest.errors import BenchHoursError
from ingest.store import Store
from ingest.studio.settings import read_settings
from ingest.values import durations, numbers


def add_commands(commands: options.Commands) -> None:
    parser = commands.add_reader("plan", plan)
    options.add_files(parser, ics="write the plan as a calendar (iCalendar), works by their codes")
    parser.add_argument(
        "--hours",
        type=options.number(durations.hours),
        help="when a new work would be ready that takes about so many hours at the bench",
    )
    parser.add_argument(
        "--waiting-days",
        type=options.number(numbers.decimal),
        default=0.0,
        metavar="DAYS",
        help="with --hours: days that it presses and dries alone",
    )
    options.add_flags(parser, before_all="with --hours: taken up before all others, not behind them")


def plan(args: argparse.Namespace, store: Store) -> int:
    """When each work on the bench is ready, and what a new one would be promised for."""
    con, as_of = options.read_as_of(args, store, "A plan is made from what is known")
    new_work = args.hours is not None
    if new_work and not (
        0 < args.hours <= plan_new_work.MOST_HOURS and 0 <= args.waiting_days <= plan_new_work.MOST_DAYS
    ):
        raise BenchHoursError(
            "a new work needs hours above 0 and days of waiting from 0 on",
            f"Name at most {plan_new_work.MOST_HOURS:,} hours and {plan_new_work.MOST_DAYS:,} days.",
        )
    if not new_work and (args.waiting_days or args.before_all):
        raise BenchHoursError("--waiting-days and --before-all are about a new work", "Say its --hours too.")
    bench_plan = plan_service.plan(
        con, as_of, ResultCache(), progress_of=progress("works and commissions on the bench")
    )
    ready_days = (
        plan_new_work.with_one_more(bench_plan, args.hours, args.waiting_days, first=args.before_all)
        if new_work
        else None
    )
    files = (
        {args.ics: plan_ical.as_icalendar(bench_plan, read_settings(con).zone, datetime.now(UTC))}
        if args.ics
        else {}
    )
    with writing(files | ({args.csv: as_csv(bench_plan.works[list(COLUMNS)])} if args.csv else {})):
        pass
    if args.json:
        new = (
            [
                {
                    "object": None,
                    "leaves_on": dict(zip(("p10", "p50", "p80", "p90"), map(str, ready_days), strict=True)),
                }
            ]
            if ready_days
            else []
        )
        write_json([*(_as_json(row) for row in records(bench_plan.works)), *new])
    if not (args.json or args.csv or args.ics):
        _print(bench_plan, as_of)
        if ready_days:
            write_out(
                f"A new work of {hours(args.hours)} h and {args.waiting_days:g} days of waiting:"
                f" {plan_text.one_more(ready_days, args.before_all)}"
            )
    return 0


def _as_json(row: Any) -> dict[str, Any]:
    def iso(value: Any) -> str | None:
        return None if value is None else f"{value.date()}"

    return {
        "object": row["object"],
        "bench_hours": {"p50": row["bench_p50"], "p80": row["bench_p80"]},
        "leaves_on": {name.removeprefix("leaves_"): iso(row[name]) for name in LEAVES},
        "due_on": iso(row["due_on"]),
        "chance_late": row["chance_late"],
        "alone_on": {"p50": iso(row["alone_p50"])},
        "days_behind_others": row["queue_days"],
        "waiting_days": {"p50": row["waiting_days"]},
        "put_first": row["first"],
    }


def _print(bench_plan: Plan, as_of: Any) -> None:
    write_out(
        f"The bench from {day(as_of + timedelta(days=1))} on: when each work is ready, in the order in which"
        " they are taken up"
    )
    if bench_plan.works.empty:
        write_out("No work with an estimate is on the bench.")
    else:
        columns = {
            "work": lambda row: row["object"],
            "to come, even chance h": lambda row: hours(row["bench_p50"]),
            "4 in 5 h": lambda row: hours(row["bench_p80"]),
            "ready, even chance": lambda row: f"{row['leaves_p50']:%Y-%m-%d}",
            "4 in 5": lambda row: f"{row['leaves_p80']:%Y-%m-%d}",
            "due": lambda row: f"{row['due_on']:%Y-%m-%d}" if pd.notna(row["due_on"]) else "–",
            "later than due": lambda row: in_ten(row["chance_late"]) if pd.notna(row["chance_late"]) else "–",
            "behind others, weeks": lambda row: f"{row['queue_days'] / 7:,.1f}",
        }
        write_table(bench_plan.works, columns, right={1, 2, 7})
    for sentence in (
        *plan_text.queue_hurts(bench_plan),
        plan_text.who(bench_plan),
        plan_text.free_again(bench_plan),
        plan_text.HOW,
        *plan_text.apart(bench_plan),
    ):
        write_out(sentence)
