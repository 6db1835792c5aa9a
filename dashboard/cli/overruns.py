"""The command `overruns`: actual hours against the estimate."""

from __future__ import annotations

import argparse
from collections.abc import Collection, Hashable, Sequence
from datetime import date
from typing import Any

import pandas as pd

from dashboard import queries
from dashboard.analysis.report.overruns import CAUSES, by_phase, compare, totals
from dashboard.analysis.report.phase_names import overdue_works, promised_under_another
from dashboard.cli import options
from dashboard.cli.caller import write_out
from dashboard.cli.output import records, text_table, write_frame, write_table
from dashboard.formatting import day, text
from dashboard.queries import Row
from dashboard.text import html_blocks
from dashboard.text import prices as prices_text
from dashboard.text.overruns import (
    ROUNDED,
    forgotten_parts,
    levels,
    most_over,
    most_under,
    named,
    remarks,
    two_names,
)
from dashboard.text.remembered import works_behind
from ingest.store import Store
from ingest.studio.settings import Settings, read_settings
from ingest.values.line_names import line_cells


def add_commands(commands: options.Commands) -> None:
    commands.add_reader("overruns", _overruns).add_argument("--object", help="the lines of this object")


def _overruns(args: argparse.Namespace, store: Store) -> int:
    """Where the hours went over the estimate, and why: by phase, or by line of one object."""
    con, as_of = options.read_as_of(args, store)
    code = queries.known(con, args.object) if args.object else None
    lines = queries.overruns(con, as_of, code)
    if args.json or args.csv:
        lines = lines.drop(columns="position")
        if args.json and code is not None:
            history = _line_history(queries.line_history(con, as_of, code), lines)
            lines = lines.assign(versions=pd.Series(history, index=lines.index, dtype=object))
        return write_frame(lines, args)
    overdue = overdue_works(queries.works(con, as_of), as_of)
    doubts = two_names(promised_under_another(lines, overdue), None if code else {})
    print_overruns(lines, as_of, code, remembered=queries.remembered(con), doubts=doubts)
    if code is not None:
        _print_versions(queries.versions(con, code), as_of, read_settings(con))
    return 0


def _line_history(frame: pd.DataFrame, lines: pd.DataFrame) -> list[list[dict[Hashable, Any]]]:
    """Of each line what every version said of it, the first first."""
    of = {
        key: records(inside.drop(columns=["phase", "technique", "part"]))
        for key, inside in frame.groupby(["phase", "technique", "part"])
    }
    return [of.get((row["phase"], row["technique"], row["part"]), []) for row in lines.to_dict("records")]


def _print_versions(versions: pd.DataFrame, as_of: date, studio: Settings) -> None:
    """The history of its estimate: what each version said, and what became of it."""
    versions = versions[versions["made_on"] <= pd.Timestamp(as_of)]
    if versions.empty:
        return
    versions = versions.assign(
        outcome=versions["outcome"].where(versions["ended_on"] <= pd.Timestamp(as_of)),
        approved_on=versions["approved_on"].where(versions["approved_on"] <= pd.Timestamp(as_of)),
    )
    write_out("Versions of its estimate")
    columns = {
        "version": lambda row: f"{row['version']}",
        "option": lambda row: text(row["option"]),
        "made": lambda row: day(row["made_on"]),
        "the owner": _answer,
        "hours": html_blocks.hours_of,
        "price": lambda row: prices_text.price_words(row, studio),
        "from": _origin,
        "reason": lambda row: text(row["reason"]),
    }
    write_table(versions, columns, right={4, 5})


def _answer(row: Row) -> str:
    """The owner's answer to a version."""
    if text(row["outcome"]):
        return f"{row['outcome']} {day(row['ended_on'])}"
    return f"approved {day(row['approved_on'])}" if pd.notna(row["approved_on"]) else "not approved"


def _origin(row: Row) -> str:
    """The quote from which a version was saved."""
    return f"quote {row['quote']:.0f}" if pd.notna(row["quote"]) else "quote" if row["quoted"] else "by hand"


def print_overruns(
    lines: pd.DataFrame,
    as_of: date,
    code: str | None = None,
    *,
    remembered: Collection[str],
    doubts: Sequence[str] = (),
) -> None:
    """The readable table: by phase, or by line of one object.

    Parameters
    ----------
    remembered : codes of works told from memory.
    doubts : sentences on what its phases are called.
    """
    comparison = compare(named(lines))
    if lines.empty:
        what = f"of {code}" if code else "in this studio"
        write_out(
            f"Nothing {what} is estimated or logged yet: bring in estimates and time entries with bench-hours"
            " import FILE…"
        )
        return
    heads = ["estimated h", "actual h", "difference h", *(f"{words} h" for words in CAUSES.values())]
    if code is None:
        phases = by_phase(comparison)
        of_memory = len(set(remembered).intersection(comparison.finished["object"]))
        works = works_behind(comparison.works, of_memory, "work")
        write_out(f"Where the hours went, as of {day(as_of)}: finished lines of {works}")
        if phases.empty:
            write_out("No line that was estimated is finished yet.")
        else:
            rows = [
                [row["phase"], f"{row['works']}", *html_blocks.sum_cells(row)] for _, row in phases.iterrows()
            ]
            rows.append(["all phases", f"{comparison.works}", *html_blocks.sum_cells(totals(phases))])
            write_out(text_table(["phase", "works", *heads], rows, right=set(range(1, 9))))
            write_out(" ".join(filter(None, (most_over(phases), most_under(phases)))))
            for sentence in levels(comparison.finished):
                write_out(sentence)
    else:
        write_out(f"Where the hours of {code} went, as of {day(as_of)}")
        rows = [
            [
                *line_cells(row["phase"], row["technique"], row["part"]),
                "finished" if row["finished"] else "open",
                *html_blocks.sum_cells(row),
            ]
            for _, row in lines.iterrows()
        ]
        write_out(text_table(["phase", "technique", "part", "line", *heads], rows, right=set(range(4, 11))))
    if code is not None and comparison.unquoted_works:
        write_out(f"{code} has no estimate: these are its hours, and there is nothing to hold them against.")
        return
    for sentence in [*remarks(comparison), *(forgotten_parts(lines) if code else []), *doubts, ROUNDED]:
        write_out(sentence)
