"""Warnings about estimates: repeated lines, approvals without an option, prices that are far off."""

from __future__ import annotations

from typing import NamedTuple

from ingest.importing.cell_readers import Context
from ingest.importing.cell_values import note_all
from ingest.importing.row_status import untouched
from ingest.schema.csv_columns import FAR_OFF
from ingest.sql import Connection, quoted, statement
from ingest.values.numbers import written


class Features(NamedTuple):
    """Which questions there are at all: most sheets need few of them, and each costs more to plan than to
    answer.
    """

    unreadable: bool
    heads_differ: bool
    approved: bool
    options: bool
    prices: bool
    repeated: bool
    stored: bool

    @classmethod
    def of(cls, con: Connection) -> Features:
        """In the table `resolved`: rows without a readable object or version; versions whose rows differ in
        what is of the version; approvals; options; prices; lines that stand several times; versions that are
        held.
        """
        return cls(*con.execute(statement("ingest.importing", "estimate_features")).fetchall()[0])


def warn_of_lines(con: Connection, features: Features) -> None:
    if features.repeated:
        note_all(
            con,
            "warnings",
            "technique",
            LINES_SUMMED,
            f"""(
                SELECT min("row") AS "row", technique, version, object, count(*) AS times FROM resolved
                WHERE {untouched()} GROUP BY object, version, phase, technique, part, option
                HAVING count(*) > 1
            )""",
            times="times",
            version="version",
            object="object",
        )
    if features.approved and features.options:
        note_all(
            con,
            "warnings",
            "approved_on",
            "no_option_approved",
            f"""(
                SELECT min("row") AS "row", object, version FROM resolved
                WHERE {untouched()} GROUP BY object, version
                HAVING count(option) > 0 AND count(approved_on) > 0
                    AND count(approved_on) FILTER (option IS NOT NULL) = 0
            )""",
            version="version",
            object="object",
        )


def warn_of_prices(con: Connection, context: Context) -> None:
    """A price that is far off what its hours come to at the studio's rate. Tax, which is in it or not, is too
    little to matter here.
    """
    studio = context.settings
    if not studio.hourly_rate:
        return
    rate, currency = f"{studio.hourly_rate!r}", quoted(studio.currency)
    note_all(
        con,
        "warnings",
        "price",
        "price_far_off",
        f"""(
            SELECT min("row") AS "row", any_value(price) AS price, sum(hours) AS hours FROM resolved
            WHERE {untouched()} GROUP BY object, version
            HAVING count(price) > 0 AND count(hours) = count(*) AND count(option) = 0 AND sum(hours) > 0
                AND any_value(price) > 0 AND coalesce(any_value(currency), {currency}) = {currency}
        )
        WHERE greatest(price / hours / {rate}, {rate} * hours / price) >= {FAR_OFF}""",
        hourly="round(price / hours, 2)",
        currency=currency,
        hours="round(hours, 1)",
        rate=quoted(written(studio.hourly_rate)),
    )


LINES_SUMMED = "lines_summed"
