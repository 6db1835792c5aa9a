"""Approvals of estimate versions by the owner, and the price and tax agreed with them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from ingest.errors import BenchHoursError
from ingest.importing.estimate_versions import record_versions
from ingest.sql import Connection
from ingest.studio.settings import read_settings
from ingest.tables.audit_log import Change
from ingest.values.calendar_days import day_in_words

_ONE = "(SELECT ?::VARCHAR AS object, ?::INTEGER AS version)"


def approve(
    con: Connection,
    known_object: str,
    version: int,
    on: date,
    option: str | None,
    change: Change,
    price: tuple[float, str] | None = None,
    tax: tuple[bool | None, float | None] | None = None,
) -> None:
    """Record that the owner approved a version; raises where that cannot be.

    Parameters
    ----------
    option : the one that was approved, where the version has options.
    price : agreed amount and its currency; None: as stored, or as that option was quoted.
    tax : whether tax is in that price, and its per cent; None: as stored.
    """
    _check_approval(con, known_object, version, on, change)
    options = {
        row[0]
        for row in con.execute(
            """SELECT DISTINCT option FROM estimate_lines
            WHERE object = ? AND version = ? AND option IS NOT NULL""",
            [known_object, version],
        ).fetchall()
    }
    if options and option not in options:
        raise BenchHoursError(
            f"version {version} has the options {', '.join(sorted(options))}", "Say which one was approved."
        )
    record_versions(con, replace(change, event="approved"), _ONE, [known_object, version])
    con.execute(
        "UPDATE estimate_versions SET approved_on = ?, approved_option = ? WHERE object = ? AND version = ?",
        [on, option if options else None, known_object, version],
    )
    if price is None:  # of options each was quoted at its own
        rows = con.execute(
            """SELECT price, currency FROM quoted_options
            WHERE object = ? AND version = ? AND option = ? AND price IS NOT NULL""",
            [known_object, version, option or ""],
        ).fetchall()
        price = rows[0] if rows else None
    if price is not None:
        _set_price(con, known_object, version, *price)
    if tax is not None:
        _set_tax(con, known_object, version, *tax)


def _check_approval(con: Connection, known_object: str, version: int, on: date, change: Change) -> None:
    """Raise where the version was approved or ended before, or the day cannot be."""
    made_on, approved_on = version_days(con, known_object, version)
    if approved_on:
        raise BenchHoursError(
            f"version {version} of {known_object} was approved on {day_in_words(approved_on)} already",
            "Make the next version for a change.",
        )
    ended = con.execute(
        "SELECT outcome, ended_on FROM ended_versions WHERE object = ? AND version = ?",
        [known_object, version],
    ).fetchall()
    if ended:
        raise BenchHoursError(
            f"version {version} was {ended[0][0]} on {day_in_words(ended[0][1])}",
            "Take that back first, if it stands after all.",
        )
    if on < made_on:
        raise BenchHoursError(
            f"version {version} was made on {day_in_words(made_on)}, after that day",
            "Give the day of the owner's word.",
        )
    if (
        on
        > con.execute(
            "SELECT timezone(?, timezone('UTC', ?::TIMESTAMP))::DATE", [read_settings(con).zone, change.at]
        ).fetchall()[0][0]
    ):
        raise BenchHoursError(
            f"{day_in_words(on)} lies in the future", "Note the approval when it has been given."
        )


def _set_price(
    con: Connection, known_object: str, version: int, price: float | None, currency: str | None
) -> None:
    con.execute(
        "UPDATE estimate_versions SET price = ?, currency = ? WHERE object = ? AND version = ?",
        [price, currency, known_object, version],
    )


def _set_tax(
    con: Connection, known_object: str, version: int, included: bool | None, rate: float | None
) -> None:
    con.execute(
        """UPDATE estimate_versions SET tax_in_price = ?, tax_per_cent = ?
        WHERE object = ? AND version = ?""",
        [included, rate, known_object, version],
    )


def set_tax(
    con: Connection, known_object: str, version: int, change: Change, tax: tuple[bool, float | None]
) -> None:
    """Record whether tax is in a version's price, and its per cent, where that was not known."""
    version_days(con, known_object, version)
    if (
        con.execute(
            "SELECT tax_in_price FROM taxed_versions WHERE object = ? AND version = ?",
            [known_object, version],
        ).fetchall()[0][0]
        is not None
    ):
        raise BenchHoursError(
            f"version {version} of {known_object} says already whether tax is in its price",
            "Load the page again.",
        )
    record_versions(con, change, _ONE, [known_object, version])
    _set_tax(con, known_object, version, *tax)


def take_back_approval(con: Connection, known_object: str, version: int, change: Change) -> None:
    """Take an approval back that was noted by mistake."""
    if not version_days(con, known_object, version)[1]:
        raise BenchHoursError(f"version {version} of {known_object} is not approved", "Load the page again.")
    record_versions(con, replace(change, event="taken back"), _ONE, [known_object, version])
    con.execute(
        """UPDATE estimate_versions SET approved_on = NULL, approved_option = NULL
        WHERE object = ? AND version = ?""",
        [known_object, version],
    )
    # the price as it was before one was agreed; an entry of an earlier form does not say what it included
    before = con.execute(
        """SELECT (earlier->>'$.version.price')::DOUBLE, earlier->>'$.version.currency',
            json_exists(earlier, '$.version.tax_in_price'), (earlier->>'$.version.tax_in_price')::BOOLEAN,
            (earlier->>'$.version.tax_per_cent')::DOUBLE
        FROM history
        WHERE kind = 'estimate_versions' AND key = ? AND event <> 'made'
            AND earlier->>'$.version.approved_on' IS NULL
        ORDER BY number DESC LIMIT 1""",
        [f"{known_object} version {version}"],
    ).fetchall()
    if before:
        price, currency, says_tax, *tax = before[0]
        _set_price(con, known_object, version, price, currency)
        if says_tax:
            _set_tax(con, known_object, version, *tax)


def version_days(con: Connection, known_object: str, version: int) -> tuple[date, date | None]:
    """On which day a version was made, and on which approved; raises where there is no such version."""
    rows = con.execute(
        "SELECT made_on, approved_on FROM estimate_versions WHERE object = ? AND version = ?",
        [known_object, version],
    ).fetchall()
    if not rows:
        raise BenchHoursError(f"{known_object} has no version {version}", "Load the page again.")
    return rows[0][0], rows[0][1]
