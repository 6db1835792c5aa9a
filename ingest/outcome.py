"""What becomes of each row of a file, and the count of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import duckdb

from ingest.history import Change
from ingest.settings import read_settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Rows of one file by what became of them."""

    stored: int = 0
    corrected: int = 0
    already_held: int = 0
    held_back: int = 0
    rejected: int = 0

    @property
    def rows(self) -> int:
        return self.stored + self.corrected + self.already_held + self.held_back + self.rejected


class Fate:
    """The temporary table `fate`: a verdict for every row that is not simply stored.

    Parameters
    ----------
    file : name of the file, or what stands for it.
    change : what the history notes of this import.
    typed : the rows were typed on a page: an empty cell is empty, and what is said now stands even if it was said before.
        In a file an empty cell says nothing, and what an earlier version said never overrides a later one.
    """

    def __init__(self, con: duckdb.DuckDBPyConnection, *, file: str, change: Change, typed: bool = False) -> None:
        self._con, self.file, self.change, self.typed = con, file, change, typed
        self.earlier_counts = "false" if typed else "true"  # SQL condition: a row that says what was said before is held already
        con.execute('CREATE OR REPLACE TEMP TABLE fate ("row" BIGINT, verdict VARCHAR)')
        con.execute('CREATE OR REPLACE TEMP TABLE corrections ("row" BIGINT, entry VARCHAR)')

    @property
    def now(self) -> datetime:
        return self.change.at

    @cached_property
    def today(self) -> str:
        """SQL for the present day on the studio's own calendar."""
        zone = read_settings(self._con).zone
        return f"timezone('{zone}', timezone('UTC', TIMESTAMP '{self.now:%Y-%m-%d %H:%M:%S}'))::DATE"

    def mark(self, verdict: str, query: str) -> None:
        """Give the rows of a query a verdict; the first verdict of a row stands."""
        self._con.execute(f'INSERT INTO fate SELECT DISTINCT "row", ? FROM ({query}) WHERE "row" NOT IN (SELECT "row" FROM fate)', [verdict])

    def reject_problems(self) -> None:
        self.mark("rejected", 'SELECT "row" FROM problems')

    def untouched(self, table: str = "") -> str:
        """SQL condition: the row has no verdict yet."""
        row = f'{table}."row"' if table else '"row"'
        return f'{row} NOT IN (SELECT "row" FROM fate)'

    def not_rejected(self, table: str = "") -> str:
        """SQL condition: the row is not rejected; it may be held already."""
        row = f'{table}."row"' if table else '"row"'
        return f"{row} NOT IN ({self.rows('rejected')})"

    def rows(self, verdict: str) -> str:
        return f"SELECT \"row\" FROM fate WHERE verdict = '{verdict}'"

    def outcome(self) -> Outcome:
        """The counts, once every row has met its fate."""
        counts = dict(self._con.execute("SELECT verdict, count(*) FROM fate GROUP BY verdict").fetchall())
        corrected = int(self._con.execute("SELECT count(*) FROM corrections").fetchall()[0][0])
        rows = int(self._con.execute("SELECT count(*) FROM resolved").fetchall()[0][0])
        return Outcome(
            stored=rows - sum(counts.values()) - corrected,
            corrected=corrected,
            already_held=counts.get("already held", 0),
            held_back=counts.get("held back", 0),
            rejected=counts.get("rejected", 0),
        )
