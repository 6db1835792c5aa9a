"""Rejected rows: written to a file in the input's own form, or kept until they are mended on a page."""

from __future__ import annotations

import csv
import hashlib
import io
import itertools
import json
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import pandas as pd

from ingest import autosave
from ingest.errors import FileError
from ingest.faults import sentence, worded
from ingest.importing.rows import Rows
from ingest.schema.csv_columns import REJECT_COLUMNS
from ingest.sql import Connection
from ingest.store import Store
from ingest.values.csv_injection import defused, defused_again, defused_line

MOST_KEPT = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class RejectedRow:
    """A row that did not come in.

    Attributes
    ----------
    line : on which it stood in its file.
    column, reason, mend : as remarks have them; of several faults, with ` / ` between.
    cells : as written, without what an earlier rejects file put before them.
    is_row : false for a line whose cells do not fit the header.
    text : such a line as it lies; empty where it is too long to keep.
    """

    line: int
    column: str
    reason: str
    mend: str
    cells: list[str]
    is_row: bool = True
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejects:
    """The rejected rows of one file, in the order of their lines, with what is needed to write them as it was
    written.
    """

    file: str
    header: list[str]
    separator: str
    encoding: str
    rows: list[RejectedRow]

    @property
    def name(self) -> str:
        """File name for these rows."""
        return f"{_stem(self.file)}.rejects.csv"

    def as_text(self) -> str:
        """The rows as CSV, each with its line and what to mend in front."""
        lines = [_csv_line([*REJECT_COLUMNS, *self.header], self.separator)]
        for row in self.rows:
            front = [row.line, row.column, defused(row.reason), defused(row.mend)]
            lines.append(
                _csv_line([*front, *map(defused_again, row.cells)], self.separator)
                if row.is_row
                else self.separator.join(
                    (_csv_line(front, self.separator), defused_line(row.text, self.separator))
                )
            )
        return "\r\n".join(lines) + "\r\n"


def rejects_of(con: Connection, rows: Rows, faults: pd.DataFrame) -> Rejects:
    """The rejected rows of the file that was checked last in this connection, and the lines that are no rows;
    `faults` as `ingest.importing.check.Checked` has them.
    """
    file = rows.file
    assert file is not None
    # a file that came back keeps one set of remarks
    own = [number for number, name in enumerate(file.names) if name not in REJECT_COLUMNS]
    came_back = len(own) < len(file.header)
    cells = ", ".join(f"coalesce(raw.c{number}, '')" for number in own)
    texts = con.execute(
        f"""SELECT "row", l.line, [{cells}] FROM raw JOIN row_lines AS l USING ("row")
        WHERE "row" IN (SELECT "row" FROM faults)"""
    ).fetchall()
    remarks: dict[int, list[tuple[str, str, str]]] = {}
    # by row and not by line: of a table with a column a day several rows stand on one line
    for row, *remark in worded(faults.dropna(subset=["row"]))[["row", "column", "reason", "mend"]].itertuples(
        index=False, name=None
    ):
        remarks.setdefault(row, []).append(tuple(remark))
    rejected = []
    for row, line, text in texts:
        column, reason, mend = map(" / ".join, zip(*remarks[row], strict=True))
        rejected.append(RejectedRow(line=line, column=column, reason=reason, mend=mend, cells=text))
    for fault in rows.faults:
        parts = list(fault.cells[len(REJECT_COLUMNS) :] if came_back else fault.cells)
        text = _csv_line(parts, file.separator) if came_back else fault.text
        reason, mend = sentence(fault.code, fault.details)
        rejected.append(
            RejectedRow(
                line=fault.line, column="", reason=reason, mend=mend, cells=parts, is_row=False, text=text
            )
        )
    return Rejects(
        file=file.path.name,
        header=[file.header[number] for number in own],
        separator=file.separator,
        encoding=file.encoding,
        rows=sorted(rejected, key=lambda row: row.line),
    )


def write(rejects: Rejects, beside: Path) -> Path:
    """Write `NAME.rejects.csv` beside a file, or where that may not be, in the working or a temporary folder;
    the place.
    """
    body = rejects.as_text().encode(rejects.encoding, errors="replace")
    for folder in (beside.parent, Path.cwd(), Path(tempfile.gettempdir())):
        try:
            return _write_new(folder, _stem(rejects.file), body)
        except OSError:
            continue  # a folder that may not be written: the next one will do
    raise FileError(
        f"the rejects of {rejects.file} can be written nowhere", "Free some disk space, then try again."
    )


def _write_new(folder: Path, stem: str, body: bytes) -> Path:
    """Write under a name of its own: an earlier rejects file may be half mended and is never written over."""
    for number in itertools.count(1):
        place = folder / f"{stem}.rejects{'' if number == 1 else f'-{number}'}.csv"
        try:
            with place.open("xb") as out:
                out.write(body)
            return place
        except FileExistsError:
            if place.read_bytes() == body:
                return place
    raise AssertionError  # itertools.count has no end


def _stem(file: str) -> str:
    return re.sub(r"\.rejects(-\d+)?$", "", Path(file).stem)


def _csv_line(cells: Sequence[object], separator: str) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator="").writerow(cells)
    return out.getvalue()


# --- kept until they are mended or left out


@dataclass(frozen=True, slots=True, kw_only=True)
class RejectDraft:
    """Rejected rows being mended.

    Attributes
    ----------
    what : the name under which they are kept.
    rejects : the rows as they came.
    cells : the cells of each row as they are now, all rows of one length; what stands beyond the header has
        no column.
    kept : when and from which visit the last cell was kept.
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
                    _csv_line(self.rejects.header, self.rejects.separator),
                    *(text for _, text in self._to_come_in(cells)),
                ]
            )
            + "\r\n"
        )

    def lines(self, cells: Sequence[Sequence[str]]) -> dict[int, int]:
        """Line of that CSV to the line on which the row stood in its own file."""
        lines, line = {}, 2
        for number, text in self._to_come_in(cells):
            lines[line] = self.rejects.rows[number].line
            line += 1 + text.count("\n")
        return lines

    def _to_come_in(self, cells: Sequence[Sequence[str]]) -> list[tuple[int, str]]:
        width, left = len(self.rejects.header), set(self.left(cells))
        return [
            (number, _csv_line(row[:width], self.rejects.separator))
            for number, row in enumerate(cells)
            if number not in left
        ]


def _padded(rejects: Rejects) -> list[list[str]]:
    width = max(len(rejects.header), *(len(row.cells) for row in rejects.rows))
    return [[*row.cells, *[""] * (width - len(row.cells))] for row in rejects.rows]


def keep(store: Store, rejects: Rejects, by: str) -> bool:
    """Store rejected rows until they are mended, except those stored or settled before; false where they are
    too many.
    """
    settled = _settled(store.cursor()) | {
        _row_name(item.rejects, row) for item in read_drafts(store.cursor()) for row in item.rejects.rows
    }
    new = replace(rejects, rows=[row for row in rejects.rows if _row_name(rejects, row) not in settled])
    if len(new.rows) > MOST_KEPT:
        return False
    if new.rows:
        autosave.keep(store, _name(new), _to_json(new, _padded(new)), by)
    return True


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
        lines = mending.lines(cells)
        rows += [replace(row, line=lines.get(row.line, row.line)) for row in again.rows]
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
    done = _settled(store.cursor()) | {_row_name(mending.rejects, row) for row in mending.rejects.rows}
    autosave.replace(store, mending.what, {autosave.SETTLED_ROWS: sorted(done), **instead}, by)


def _settled(con: Connection) -> set[str]:
    """Names of the rejected rows that were mended or left out."""
    saved = autosave.read(con, autosave.SETTLED_ROWS)
    return set(saved.value) if saved else set()


def _row_name(rejects: Rejects, row: RejectedRow) -> str:
    """A rejected row by what it says: the same when its file comes again."""
    return hashlib.md5(
        json.dumps([_stem(rejects.file), rejects.header, row.cells, row.text]).encode(), usedforsecurity=False
    ).hexdigest()


def _name(rejects: Rejects) -> str:
    content = json.dumps([rejects.header, *(row.cells for row in rejects.rows)])
    return (
        f"{autosave.REJECTED_ROWS}{_stem(rejects.file)}"
        f" {hashlib.md5(content.encode(), usedforsecurity=False).hexdigest()}"
    )


def _to_json(rejects: Rejects, cells: list[list[str]]) -> dict[str, object]:
    return {"rejects": asdict(rejects), "cells": cells}
