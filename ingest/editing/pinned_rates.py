"""Rates that the principal pins with a reason: shown as pinned wherever they are used, beside what the record
says.
"""

from __future__ import annotations

import math
from datetime import date

from ingest.errors import BenchHoursError
from ingest.sql import Connection
from ingest.tables.audit_log import Change
from ingest.values.durations import hours
from ingest.values.numbers import number_called

MOST_HOURS = 1000


def pin(con: Connection, technique: str, rate: float, on: date, change: Change, *, phase: str = "") -> None:
    """Pin the rate of a technique, of a phase as a whole or of the work as a whole, in place of an earlier
    pin.

    Parameters
    ----------
    technique, phase : a technique alone, whatever phase it is done in; a phase alone, as a whole; neither:
        the work as a whole.
    rate : hours per unit of the technique, or per line where it has none.
    on : the present day of the studio's calendar.
    change : whose reason stands beside the rate.
    """
    reason = change.reason.strip()
    if not math.isfinite(rate) or not 0 < rate <= MOST_HOURS:
        raise BenchHoursError(f"{rate:g} hours is no rate", f"Write hours above 0 and up to {MOST_HOURS:,}.")
    if not reason:
        raise BenchHoursError(
            "a pinned rate needs a reason", "Write why, in a few words: it is shown beside the rate."
        )
    unit = _unit(con, technique, phase)
    _end(con, technique, phase, on)
    con.execute(
        """INSERT INTO pinned_rates (technique, phase, rate, unit, reason, pinned_on, pinned_by)
        VALUES (?, ?, ?, ?, ?, ?, ?)""",
        [technique, phase, rate, unit, reason, on, change.by],
    )


def read_rate(per: str, text: str) -> float:
    """Hours per unit as they are typed, `0.45`, `1:30` or `20 min`; `per` is the unit in words."""
    return number_called(f"Hours per {per}", text.strip(), MOST_HOURS, read=hours)


def withdraw(con: Connection, technique: str, on: date, *, phase: str = "") -> None:
    """Withdraw a pinned rate: the record gives it again."""
    _unit(con, technique, phase)
    _end(con, technique, phase, on)


def _end(con: Connection, technique: str, phase: str, on: date) -> None:
    later = con.execute(
        """SELECT max(greatest(pinned_on, withdrawn_on)) FROM pinned_rates
        WHERE technique = ? AND phase = ?""",
        [technique, phase],
    ).fetchall()[0][0]
    if later and later > on:
        raise BenchHoursError(
            f"the rate was last pinned or let go on {later}, and today is {on} by the clock of this machine",
            "Put its clock right.",
        )
    # what was pinned today is no past rate yet
    con.execute(
        "DELETE FROM pinned_rates WHERE technique = ? AND phase = ? AND pinned_on = ?", [technique, phase, on]
    )
    con.execute(
        """UPDATE pinned_rates SET withdrawn_on = ?
        WHERE technique = ? AND phase = ? AND withdrawn_on IS NULL""",
        [on, technique, phase],
    )


def _unit(con: Connection, technique: str, phase: str) -> str | None:
    """The unit of a technique; None of a phase or work as a whole, of which nothing is counted."""
    if not technique:
        known = con.execute("SELECT count(*) FROM phases WHERE phase = ?", [phase]).fetchall()[0][0]
        if phase and not known:
            raise BenchHoursError(f'there is no phase "{phase}"', "Choose one of the studio's.")
        return None
    rows: list[tuple[str | None]] = con.execute(
        "SELECT unit FROM techniques WHERE technique = ?", [technique]
    ).fetchall()
    if not rows:
        raise BenchHoursError(f'there is no technique "{technique}"', "Choose one of the studio's.")
    return rows[0][0]
