"""`plan` as a command."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime, timedelta
from typing import Any

import pandas as pd

from dashboard import options, plan_calendar, planning, reading
from dashboard import plan_sentences as said_of
from dashboard.forecast_sentences import in_ten
from dashboard.giving import as_csv, give_json, laid_out, progress, records, written
from dashboard.planning import LEAVES, Plan
from dashboard.remembered import Memory
from dashboard.voice import tell
from dashboard.words import day, hours
from ingest import notation
from ingest.errors import BenchHoursError
from ingest.settings import read_settings
from ingest.store import Store

COLUMNS = (
    "object", "bench_p50", "bench_p80", *LEAVES, "due_on", "chance_late", "alone_p50", "queue_days", "waiting_days", "first",
)  # fmt: skip


def add_commands(commands: options.Commands) -> None:
    parser = commands.add_reader("plan", plan)
    parser.add_argument("--ics", type=options.file, metavar="FILE", help="write the plan as a calendar (iCalendar), works by their codes")
    parser.add_argument(
        "--hours", type=options.number(notation.hours), metavar="HOURS", help="when a new work would be ready that takes about so many hours at the bench"
    )
    parser.add_argument(
        "--waiting-days", type=options.number(notation.decimal), default=0.0, metavar="DAYS", help="with --hours: days that it presses and dries alone"
    )
    parser.add_argument("--before-all", action="store_true", help="with --hours: taken up before all others, not behind them")


def plan(args: argparse.Namespace, store: Store) -> int:
    """When each work on the bench is ready, and what a new one would be promised for."""
    con = store.cursor()
    today = reading.today(con)
    as_of = args.as_of or today
    if as_of > today:
        raise BenchHoursError(f"{day(as_of)} lies in the future", "A plan is made from what is known: name today, or an earlier day.")
    asked = args.hours is not None
    if asked and not (0 < args.hours <= planning.MOST_HOURS and 0 <= args.waiting_days <= planning.MOST_DAYS):
        raise BenchHoursError(
            "a new work needs hours above 0 and days of waiting from 0 on", f"Name at most {planning.MOST_HOURS:,} hours and {planning.MOST_DAYS:,} days."
        )
    if not asked and (args.waiting_days or args.before_all):
        raise BenchHoursError("--waiting-days and --before-all are about a new work", "Say its --hours too.")
    found = planning.plan(con, as_of, Memory(), progress_of=progress("works and commissions on the bench"))
    more = planning.with_one_more(found, args.hours, args.waiting_days, first=args.before_all) if asked else None
    files = {args.ics: plan_calendar.as_icalendar(found, read_settings(con).zone, datetime.now(UTC))} if args.ics else {}
    with written(files | ({args.csv: as_csv(found.works[list(COLUMNS)])} if args.csv else {})):
        pass
    if args.json:
        new = [{"object": None, "leaves_on": dict(zip(("p10", "p50", "p80", "p90"), map(str, more), strict=True))}] if more else []
        give_json([*(_as_json(row) for row in records(found.works)), *new])
    if not (args.json or args.csv or args.ics):
        _tell(found, as_of)
        if more:
            tell(f"A new work of {hours(args.hours)} h and {args.waiting_days:g} days of waiting: {said_of.one_more(more, args.before_all)}")
    return 0


def _as_json(row: Any) -> dict[str, Any]:
    def iso(value: Any) -> str | None:
        return None if value is None else f"{value.date()}"

    return {
        "object": row["object"], "bench_hours": {"p50": row["bench_p50"], "p80": row["bench_p80"]},
        "leaves_on": {name.removeprefix("leaves_"): iso(row[name]) for name in LEAVES}, "due_on": iso(row["due_on"]), "chance_late": row["chance_late"],
        "alone_on": {"p50": iso(row["alone_p50"])}, "days_behind_others": row["queue_days"], "waiting_days": {"p50": row["waiting_days"]}, "put_first": row["first"],
    }  # fmt: skip


def _tell(found: Plan, as_of: Any) -> None:
    tell(f"The bench from {day(as_of + timedelta(days=1))} on: when each work is ready, in the order in which they are taken up")
    if found.works.empty:
        tell("No work with an estimate is on the bench.")
    else:
        heads = ["work", "to come, even chance h", "4 in 5 h", "ready, even chance", "4 in 5", "due", "later than due", "behind others, weeks"]
        rows = [
            [
                row["object"], hours(row["bench_p50"]), hours(row["bench_p80"]), f"{row['leaves_p50']:%Y-%m-%d}", f"{row['leaves_p80']:%Y-%m-%d}",
                f"{row['due_on']:%Y-%m-%d}" if pd.notna(row["due_on"]) else "–", in_ten(row["chance_late"]) if pd.notna(row["chance_late"]) else "–", f"{row['queue_days'] / 7:,.1f}",
            ]
            for row in found.works.to_dict("records")
        ]  # fmt: skip
        tell(laid_out(heads, rows, right={1, 2, 7}))
    for sentence in (*said_of.queue_hurts(found), said_of.who(found), said_of.free_again(found), said_of.HOW, *said_of.apart(found)):
        tell(sentence)
