"""The command `statement`: the dated hours of one object."""

from __future__ import annotations

import argparse

from dashboard import queries
from dashboard.cli import options
from dashboard.cli.caller import write_out
from dashboard.cli.output import text_table, write_frame
from dashboard.formatting import amount, day, hours
from ingest.store import Store
from ingest.values.line_names import line_cells


def add_commands(commands: options.Commands) -> None:
    parser = commands.add_reader("statement", _statement)
    parser.add_argument("--object", required=True)
    notes = "give the notes of the entries too (CSV, JSON); read them first, a note may name somebody"
    options.add_flags(parser, with_notes=notes)


def _statement(args: argparse.Namespace, store: Store) -> int:
    """The dated hours of one object, for its treatment report."""
    con, as_of = options.read_as_of(args, store)
    code = queries.known(con, args.object)
    frame = queries.dated_hours(con, as_of, code)
    area = queries.area_dm2(con, code)
    if args.json or args.csv:
        left_out = ["position", *([] if args.with_notes else ["note"])]
        return write_frame(frame.assign(day=frame["day"].astype(str)).drop(columns=left_out), args)
    write_out(f"Dated hours of {code}{f' ({area:,.1f} dm²)' if area else ''}, to {day(as_of)}")
    rows = [
        [
            f"{row['day']:%Y-%m-%d}",
            *line_cells(row["phase"], row["technique"], row["part"]),
            hours(row["hours"]),
            hours(row["unattended_hours"]) if row["unattended_hours"] else "",
            amount(row["quantity"], row["unit"]),
            "" if row["charge"] == "quoted" else row["charge"].replace("_", " "),
        ]
        for row in frame.to_dict("records")
    ]
    total, unattended = hours(frame["hours"].sum()), hours(frame["unattended_hours"].sum())
    rows.append(["", "all (exact hours)", "", "", total, unattended, "", ""])
    heads = ["day", "phase", "technique", "part", "hours", "unattended, h elapsed", "quantity", "charge"]
    write_out(text_table(heads, rows, right={4, 5, 6}))
    return 0
