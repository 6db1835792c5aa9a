"""Rejected rows that wait to be mended and have come in since, by whatever file: they wait no more."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TypeVar

import numpy as np

from ingest import autosave
from ingest.importing.check import Checked
from ingest.importing.csv_file import CsvFile
from ingest.importing.pending_rejects import RejectDraft, read_drafts, read_settled, take_out
from ingest.importing.rejects import RejectedRow, stem
from ingest.importing.row_status import with_status
from ingest.schema.csv_columns import REJECT_COLUMNS, header_name
from ingest.sql import Connection

Says = TypeVar("Says", bound=Hashable)
_DAYS = {"date", "started_at", "made_on", "finished_on"}  # that tell one week's row from another's
_ACCEPTED = f'FROM raw JOIN row_lines AS l USING ("row") WHERE "row" NOT IN ({with_status("rejected")})'


def settle_come_in(con: Connection, checked: Checked) -> int:
    """Settle the rejected rows that wait and of which a row of the file that was checked last in this
    connection is the same and is not rejected again, in the caller's transaction; how many they are.

    The same is a row of a table that says the same in the table's own words; of our forms a row whose cells
    are the same, or that stands on the same line of the file of the same name and says otherwise only what
    was wrong. What another week's file of the same name has on that line is another row. Of equal rows that
    wait in a draft as many are settled as stand in the file.
    """
    drafts = read_drafts(con)
    if not drafts or checked.rows.file is None:
        return 0
    file = checked.rows.file
    origins = _origins_not_rejected(con, checked)
    settled: set[str] = set()
    count = 0
    for draft in drafts:
        come_in = _by_origin(draft, origins) | _by_cells(con, draft, file)
        if come_in:
            settled.update(take_out(con, draft, sorted(come_in)))
            count += len(come_in)
    if settled:
        autosave.put(con, autosave.SETTLED_ROWS, sorted(read_settled(con) | settled), "")
    return count


def _origins_not_rejected(con: Connection, checked: Checked) -> Counter[str]:
    """What the rows of a table say that came in, are held, or are none as a rule says, and how many do."""
    rows = checked.rows
    if rows.origins is None or rows.origins_left_out is None:
        return Counter()
    rejected = con.execute(with_status("rejected")).df()["row"].to_numpy(dtype=np.int64)
    accepted = Counter(np.concatenate([np.delete(rows.origins, rejected), rows.origins_left_out]).tolist())
    for origin in set(rows.origins[rejected].tolist()):
        accepted.pop(origin, None)
    return accepted


def _by_origin(draft: RejectDraft, origins: Mapping[str, int]) -> set[int]:
    return _as_many([(number, row.origin) for number, row in enumerate(draft.rejects.rows)], origins)


def _as_many(waiting: Iterable[tuple[int, Says]], times: Mapping[Says, int]) -> set[int]:
    """Numbers of the first of those that say something, as many as it is said."""
    left = dict(times)
    numbers = set()
    for number, says in waiting:
        if left.get(says, 0) > 0:
            left[says] -= 1
            numbers.add(number)
    return numbers


def _by_cells(con: Connection, draft: RejectDraft, file: CsvFile) -> set[int]:
    """Numbers of the rows of a draft with the cells of a row of the file, or with its line and all but what
    was wrong.
    """
    own = [number for number, name in enumerate(file.names) if name not in REJECT_COLUMNS]
    if [file.header[number] for number in own] != draft.rejects.header:
        return set()
    columns = ", ".join(f"coalesce(raw.c{number}, '')" for number in own)
    cells = f"[{columns}]"
    rows = [(number, row) for number, row in enumerate(draft.rejects.rows) if not row.origin]
    by_line = _on_lines(con, draft, file, cells)
    mended = {
        number
        for number, row in rows
        if row.line in by_line
        and _is_mended(row, by_line[row.line], draft.rejects.header, came_back=_came_back(file))
    }
    waiting = [(number, tuple(row.cells)) for number, row in rows if row.is_row]
    same = con.execute(
        f"SELECT {cells}, count(*) {_ACCEPTED} AND {cells} IN (SELECT unnest(?::VARCHAR[][])) GROUP BY ALL",
        [[list(says) for _, says in waiting]],
    ).fetchall()
    times = Counter({tuple(says): count for says, count in same})
    times.subtract(tuple(by_line[draft.rejects.rows[number].line]) for number in mended)
    return mended | _as_many([(number, says) for number, says in waiting if number not in mended], times)


def _on_lines(con: Connection, draft: RejectDraft, file: CsvFile, cells: str) -> dict[int, list[str]]:
    """By line of the draft's own file, the cells of the row that stands there and came in; of rejected rows
    that come back in a file of their own, by the line that it names.
    """
    if stem(file.path.name) != stem(draft.rejects.file):
        return {}
    line = "l.line"
    if _came_back(file):
        line = f"try_cast(raw.c{file.names.index(REJECT_COLUMNS[0])} AS BIGINT)"
    elif stem(file.path.name) != Path(file.path.name).stem:
        return {}
    lines = [row.line for row in draft.rejects.rows]
    return dict(
        con.execute(
            f"SELECT {line}, {cells} {_ACCEPTED} AND {line} IN (SELECT unnest(?))", [lines]
        ).fetchall()
    )


def _came_back(file: CsvFile) -> bool:
    """It is a file of rejected rows, which names the line of each."""
    return REJECT_COLUMNS[0] in file.names


def _is_mended(row: RejectedRow, now: Sequence[str], header: Sequence[str], *, came_back: bool) -> bool:
    """A row says otherwise only what was wrong; a line that was none has the same letters and digits. Where
    its day was wrong, it may be another week's row on that line, unless it `came_back` with its line named.
    """
    if not row.is_row:
        return bool(row.text) and _letters(row.text) == _letters(" ".join(now))
    wrong = set(row.column.split(" / "))
    if not came_back and wrong & _DAYS:
        return list(row.cells) == list(now)
    return all(
        before == after or header_name(name) in wrong
        for name, before, after in zip(header, row.cells, now, strict=True)
    )


def _letters(text: str) -> str:
    return "".join(re.findall(r"\w", text))
