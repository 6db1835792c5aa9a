"""Rejected rows that are kept until they are mended on a page, left out, or come in by another door."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace

from ingest import autosave
from ingest.importing.rejects import RejectedRow, Rejects, csv_line, stem
from ingest.sql import Connection
from ingest.store import Store

MOST_KEPT = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class RejectDraft:
    """Rejected rows being mended.

    Attributes
    ----------
    what : the name under which they are kept.
    rejects : the rows as they came.
    cells : the cells of each row as they are now, all rows of one length; what stands beyond the header has
        no column.
    autosaved : when and from which visit the last cell was stored.
    """

    what: str
    rejects: Rejects
    cells: list[list[str]]
    autosaved: autosave.Autosaved

    def left(self, cells: Sequence[Sequence[str]]) -> list[int]:
        """Which rows cannot come in yet: those that never were rows and are as they were, or have a cell
        beyond the header.
        """
        width = len(self.rejects.header)
        as_were = _padded(self.rejects)
        return [
            number
            for number, (row, now) in enumerate(zip(self.rejects.rows, cells, strict=True))
            if not row.is_row and (list(now) == as_were[number] or any(now[width:]))
        ]

    def as_text(self, cells: Sequence[Sequence[str]]) -> str:
        """The rows that can come in, as CSV in the form of their file."""
        return (
            "\r\n".join(
                [
                    csv_line(self.rejects.header, self.rejects.separator),
                    *(text for _, text in self._to_come_in(cells)),
                ]
            )
            + "\r\n"
        )

    def rows_by_line(self, cells: Sequence[Sequence[str]]) -> dict[int, RejectedRow]:
        """By line of that CSV, the row as it came."""
        rows, line = {}, 2
        for number, text in self._to_come_in(cells):
            rows[line] = self.rejects.rows[number]
            line += 1 + text.count("\n")
        return rows

    def _to_come_in(self, cells: Sequence[Sequence[str]]) -> list[tuple[int, str]]:
        width, left = len(self.rejects.header), set(self.left(cells))
        return [
            (number, csv_line(row[:width], self.rejects.separator))
            for number, row in enumerate(cells)
            if number not in left
        ]


def _padded(rejects: Rejects) -> list[list[str]]:
    width = max(len(rejects.header), *(len(row.cells) for row in rejects.rows))
    return [[*row.cells, *[""] * (width - len(row.cells))] for row in rejects.rows]


def keep(store: Store, rejects: Rejects, by: str) -> bool:
    """Store rejected rows until they are mended, except those stored or settled before; false where they are
    too many. A row of a table that is rejected otherwise than before, as more was said of the table, stands
    in the place of the earlier one, unless somebody has typed in that.
    """
    now = {_row_name(rejects, row): row for row in rejects.rows}
    settled, instead = read_settled(store.cursor()), set()
    for draft in read_drafts(store.cursor()):
        stale = [
            number
            for number, row in enumerate(draft.rejects.rows)
            if _is_stale(row, now.get(_row_name(draft.rejects, row)), draft.cells[number])
        ]
        if stale:
            with store.writing(counts=False) as con:
                # an equal one may have been settled
                instead.update(take_out(con, draft, stale))
        settled |= {
            _row_name(draft.rejects, row)
            for number, row in enumerate(draft.rejects.rows)
            if number not in stale
        }
    new = replace(
        rejects, rows=[row for row in rejects.rows if _row_name(rejects, row) not in settled - instead]
    )
    if len(new.rows) > MOST_KEPT:
        return False
    if new.rows:
        autosave.keep(store, _name(new), _to_json(new, _padded(new)), by)
    return True


def waiting_of(con: Connection, rejects: Rejects) -> int:
    """How many of these rejected rows wait to be mended."""
    wait = {_row_name(draft.rejects, row) for draft in read_drafts(con) for row in draft.rejects.rows}
    return sum(_row_name(rejects, row) in wait for row in rejects.rows)


def read_drafts(con: Connection) -> list[RejectDraft]:
    """All rows that wait to be mended, file by file."""
    drafts = []
    for what, autosaved in autosave.read_all(con, autosave.REJECTED_ROWS).items():
        content = autosaved.value["rejects"]
        rejects = Rejects(**{**content, "rows": [RejectedRow(**row) for row in content["rows"]]})
        drafts.append(
            RejectDraft(what=what, rejects=rejects, cells=autosaved.value["cells"], autosaved=autosaved)
        )
    return drafts


def keep_cells(store: Store, mending: RejectDraft, cells: list[list[str]], by: str) -> autosave.Autosaved:
    """Store the cells as typed."""
    return autosave.keep(store, mending.what, _to_json(mending.rejects, cells), by)


def brought_in(
    store: Store, mending: RejectDraft, cells: list[list[str]], again: Rejects | None, by: str
) -> None:
    """The mended rows are stored: they are settled; those that could not come in, and those rejected `again`,
    are kept on.
    """
    left = mending.left(cells)
    rows = [mending.rejects.rows[number] for number in left]
    now = [cells[number] for number in left]
    if again:
        before = mending.rows_by_line(cells)
        rows += [
            replace(row, line=before[row.line].line, origin=before[row.line].origin)
            if row.line in before
            else row
            for row in again.rows
        ]
        now += _padded(again)
    rest = replace(mending.rejects, rows=rows)
    _settle(
        store,
        mending,
        (
            {
                _name(rest): _to_json(
                    rest,
                    _padded(
                        replace(
                            rest, rows=[replace(row, cells=cell) for row, cell in zip(rows, now, strict=True)]
                        )
                    ),
                )
            }
            if rows
            else {}
        ),
        by,
    )


def leave_out(store: Store, mending: RejectDraft, by: str) -> None:
    """The rows stay out: they are not offered again when their file comes again."""
    _settle(store, mending, {}, by)


def _settle(store: Store, mending: RejectDraft, instead: Mapping[str, object], by: str) -> None:
    done = read_settled(store.cursor()) | {_row_name(mending.rejects, row) for row in mending.rejects.rows}
    autosave.replace(store, mending.what, {autosave.SETTLED_ROWS: sorted(done), **instead}, by)


def read_settled(con: Connection) -> set[str]:
    """Names of the rejected rows that were mended or left out."""
    saved = autosave.read(con, autosave.SETTLED_ROWS)
    return set(saved.value) if saved else set()


def _row_name(rejects: Rejects, row: RejectedRow) -> str:
    """A rejected row by what it says, of a table in the table's own words: the same when its file comes
    again.
    """
    says = [row.origin] if row.origin else [rejects.header, row.cells, row.text]
    return hashlib.md5(json.dumps([stem(rejects.file), *says]).encode(), usedforsecurity=False).hexdigest()


def _is_stale(row: RejectedRow, now: RejectedRow | None, cells: Sequence[str]) -> bool:
    """A row of a table is rejected otherwise now, and nobody has typed in it."""
    return bool(
        row.origin
        and now is not None
        and (now.cells, now.reason, now.mend) != (row.cells, row.reason, row.mend)
        and list(cells[: len(row.cells)]) == row.cells
    )


def take_out(con: Connection, draft: RejectDraft, numbers: Sequence[int]) -> list[str]:
    """Take rows, by their number in a draft, out of it in the caller's transaction; the names under which
    they are settled.
    """
    out = set(numbers)
    staying = [number for number in range(len(draft.cells)) if number not in out]
    rest = replace(draft.rejects, rows=[draft.rejects.rows[number] for number in staying])
    # under another name: a page that shows these rows takes up those that stay anew
    autosave.put_instead(
        con,
        draft.what,
        {_name(rest): _to_json(rest, [draft.cells[number] for number in staying])} if staying else {},
        draft.autosaved.by,
    )
    return [_row_name(draft.rejects, draft.rejects.rows[number]) for number in numbers]


def _name(rejects: Rejects) -> str:
    content = json.dumps([rejects.header, *(row.cells for row in rejects.rows)])
    return (
        f"{autosave.REJECTED_ROWS}{stem(rejects.file)}"
        f" {hashlib.md5(content.encode(), usedforsecurity=False).hexdigest()}"
    )


def _to_json(rejects: Rejects, cells: list[list[str]]) -> dict[str, object]:
    return {"rejects": asdict(rejects), "cells": cells}
