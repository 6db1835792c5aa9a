"""Status of each row of a check, and the counts."""

from __future__ import annotations

from dataclasses import dataclass

from ingest.sql import Connection


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


class RowStatus:
    """The status of every row that is not simply stored, in the temporary table `row_status`; rows that
    correct something held are in `corrections`.
    """

    def __init__(self, con: Connection) -> None:
        self._con = con
        con.execute('CREATE OR REPLACE TEMP TABLE row_status ("row" BIGINT, status VARCHAR)')
        con.execute('CREATE OR REPLACE TEMP TABLE corrections ("row" BIGINT, entry VARCHAR)')

    def mark(self, status: str, query: str) -> None:
        """Give the rows of a query a status; the first status of a row stands."""
        self._con.execute(
            f"""INSERT INTO row_status
            SELECT DISTINCT "row", ? FROM ({query})
            WHERE "row" NOT IN (SELECT "row" FROM row_status)""",
            [status],
        )

    def unmark(self, status: str, query: str) -> None:
        """Take a status from the rows of a query."""
        self._con.execute(f'DELETE FROM row_status WHERE status = ? AND "row" IN ({query})', [status])

    def mark_repeats(self, columns: str, where: str | None = None) -> None:
        """Mark all but the first of the rows of `resolved` that are equal in these columns.

        Parameters
        ----------
        where : SQL condition on the rows compared; those without a status if None.
        """
        self.mark(
            "already held",
            f"""SELECT "row" FROM resolved WHERE {where or untouched()}
            QUALIFY row_number() OVER (PARTITION BY {columns} ORDER BY "row") > 1""",
        )

    def reject_faulty(self) -> None:
        """Reject the rows that have a fault."""
        if has_faults(self._con):
            self.mark("rejected", 'SELECT "row" FROM faults')

    def outcome(self) -> Outcome:
        """The counts, once every row has its status."""
        counts = dict(self._con.execute("SELECT status, count(*) FROM row_status GROUP BY status").fetchall())
        rows, corrected = self._con.execute(
            "SELECT (SELECT count(*) FROM resolved), (SELECT count(*) FROM corrections)"
        ).fetchall()[0]
        return Outcome(
            stored=rows - sum(counts.values()) - corrected,
            corrected=corrected,
            already_held=counts.get("already held", 0),
            held_back=counts.get("held back", 0),
            rejected=counts.get("rejected", 0),
        )


def has_faults(con: Connection) -> bool:
    """True if some row has a fault."""
    any_fault: bool = con.execute("SELECT EXISTS (FROM faults)").fetchall()[0][0]
    return any_fault


def untouched(table: str = "") -> str:
    """SQL condition: the row has no status yet, so it will be stored."""
    row = f'{table}."row"' if table else '"row"'
    return f'{row} NOT IN (SELECT "row" FROM row_status)'


def with_status(status: str) -> str:
    """SQL query for the rows of a status."""
    return f"SELECT \"row\" FROM row_status WHERE status = '{status}'"
