"""Everything out as CSV: the six forms, and beside them what they have no column for.

Brought into a new studio, the files of an export make it equal in all that is held. What a spreadsheet would
run as a formula is made harmless (`ingest.values.csv_injection`). Titles, owners, and what is only half
written leave when they are asked for, not else.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import duckdb

from ingest.errors import BenchHoursError, unwritten
from ingest.importing.export_tables import EXPORT_TABLES, ExportTable
from ingest.importing.time_entries import content_of
from ingest.safekeeping.atomic_folder import own_folder
from ingest.schema import csv_columns
from ingest.schema.csv_columns import Form
from ingest.sql import Connection, statement
from ingest.store import Store
from ingest.studio.settings import read_settings
from ingest.values import timezones
from ingest.values.csv_injection import defused_sql


@dataclass(frozen=True, slots=True)
class ExportedFile:
    """A file of an export: what it is called, what it holds, how many rows."""

    file: str
    kind: str
    rows: int


_TITLE = "title"  # may name who is painted: as private as the owner where others may see it
_FILES = {
    csv_columns.PHASES: ("phases", "SELECT * FROM phases", "position, phase"),
    csv_columns.TECHNIQUES: (
        "techniques",
        """SELECT t.technique, t.phase, coalesce(t.unit, 'none') AS unit, t.mode, t.condition, t.cautions,
            t.note, s.aliases, p.position
        FROM techniques AS t LEFT JOIN phases AS p ON p.phase = t.phase
        LEFT JOIN (
            SELECT s.key, string_agg(s.written, '|' ORDER BY s.written) AS aliases FROM spellings AS s
            JOIN techniques AS n ON n.key = s.key
            WHERE s.kind = 'technique' AND s.written <> n.technique AND NOT contains(s.written, '|')
            GROUP BY s.key
        ) AS s ON s.key = t.key""",
        "position, technique",
    ),
    csv_columns.OBJECTS: ("objects", "SELECT * FROM objects", "object"),
    csv_columns.ESTIMATES: (
        "estimates",
        statement("ingest.safekeeping", "export_estimates"),
        "object, version, position, technique, part, option, hours, quantity",
    ),
    csv_columns.TIME_ENTRIES: ("time_entries", "", "day, began_at, entry"),
    csv_columns.MILESTONES: (
        "milestones",
        "SELECT * FROM milestones",
        "object, finished_on, phase, technique, part",
    ),
}
_KEPT_FILES = {
    csv_columns.SETTINGS: "settings",
    csv_columns.PHASE_NAMES: "phase_names",
    csv_columns.TECHNIQUE_NAMES: "technique_names",
    csv_columns.SPELLINGS: "spellings",
    csv_columns.PEOPLE: "people",
    csv_columns.PEOPLE_SPELLINGS: "people_spellings",
    csv_columns.ENTRY_CONTENTS: "entry_contents",
    csv_columns.HELD_BACK: "held_back",
    csv_columns.DRAFTS: "drafts",
    csv_columns.UNSAVED: "unsaved",
    csv_columns.IMPORTS: "files_brought_in",
    csv_columns.PHONE_ACTIONS: "phone_actions",
    csv_columns.PHONE_OUTCOMES: "phone_outcomes",
    csv_columns.IN_HAND: "spells_in_hand",
    csv_columns.PINNED_RATES: "pinned_rates",
    csv_columns.QUOTES: "saved_quotes",
    csv_columns.QUOTED_OPTIONS: "saved_quotes_options",
    csv_columns.QUOTED_LINES: "saved_quotes_lines",
    csv_columns.ENDED_VERSIONS: "versions_ended",
    csv_columns.FOREIGN_TABLES: "tables_read",
    csv_columns.FOREIGN_WORDS: "words_of_tables",
    csv_columns.SPELLING_ORIGINS: "origins_of_spellings",
    csv_columns.HISTORY: "history",
}

_ALWAYS = (csv_columns.SETTINGS, csv_columns.HISTORY)  # the others only where there is something in them


def export(store: Store, folder: Path, *, private: bool = False) -> list[ExportedFile]:
    """Write everything held into a new folder, as it stood at one moment; all files or none.

    Parameters
    ----------
    folder : made where it is missing; one with something in it is refused.
    private : titles, owners and their addresses too, in the history as well, what waits or is half written,
        and the names of files brought in.
    """
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise BenchHoursError(f"{folder} is there already, and not empty", "Name a new folder.")
        folder.parent.mkdir(parents=True, exist_ok=True)
        with own_folder("export", folder.parent) as own:
            partial = own / "out"
            partial.mkdir(mode=0o700 if private else 0o755)
            with store.reading() as con:
                written = _write_all(con, partial, private)
            if folder.exists():
                folder.rmdir()  # not every system lets a folder take the place of an empty one
            os.replace(partial, folder)
    except (OSError, duckdb.Error) as error:
        raise unwritten(f"{folder} cannot be written", error, ", or name another") from error
    return written


def _write_all(con: Connection, folder: Path, private: bool) -> list[ExportedFile]:
    written = []

    def write(name: str, form: Form, columns: tuple[str, ...], source: str, order: str) -> None:
        rows = _write(con, folder / f"{name}.csv", form, columns, source, order)
        written.append(ExportedFile(f"{name}.csv", form.kind, rows))

    for form, (name, source, order) in _FILES.items():
        columns = tuple(
            column.name for column in form.columns if private or not (column.private or column.name == _TITLE)
        )
        write(name, form, columns, source or _local_entries(con), order)
    for table in EXPORT_TABLES:
        if (private or table.shared) and (
            table.form in _ALWAYS or con.execute(f"SELECT EXISTS (FROM {table.table})").fetchall()[0][0]
        ):
            write(_KEPT_FILES[table.form], table.form, table.form.names, _source(table, private), table.order)
    if con.execute(f"SELECT EXISTS ({_contents()})").fetchall()[0][0]:
        write(
            _KEPT_FILES[csv_columns.ENTRY_CONTENTS],
            csv_columns.ENTRY_CONTENTS,
            csv_columns.ENTRY_CONTENTS.names,
            _contents(),
            "entry",
        )
    return written


def _source(table: ExportTable, private: bool) -> str:
    order = "" if table.table not in ("history", "imports") else ", number"
    return table.source.format(
        columns=f"{', '.join(table.form.names)}{order}",
        table=table.table,
        private="true" if private else "false",
    )


def _write(con: Connection, path: Path, form: Form, columns: tuple[str, ...], source: str, order: str) -> int:
    """Write the rows of a query as CSV (RFC 4180, UTF-8); how many."""
    types = dict(con.execute(f"SELECT column_name, column_type FROM (DESCRIBE {source})").fetchall())
    cells = ", ".join(f"{_cell(f'o.{name}', types[name])} AS {name}" for name in columns)
    place = str(path).replace("'", "''")
    count: int = con.execute(
        f"""COPY (
            SELECT {cells} FROM ({source}) AS o
            ORDER BY {", ".join(f"o.{name.strip()}" for name in order.split(","))}
        ) TO '{place}' (FORMAT csv, HEADER, DELIMITER ',', QUOTE '"', ESCAPE '"', NULLSTR '')"""
    ).fetchall()[0][0]
    return count


def _cell(value: str, kind: str) -> str:
    """SQL for a value as its reader reads it back."""
    if kind == "BOOLEAN":
        return f"CASE {value} WHEN true THEN 'yes' WHEN false THEN 'no' END"
    if kind == "DOUBLE":
        plain = (
            f"CASE WHEN contains({value}::VARCHAR, 'e') THEN rtrim(format('{{:.40f}}', {value}), '0') ELSE"
            f" regexp_replace({value}::VARCHAR, '\\.0$', '') END"
        )
        # as `notation.written` does: what ends in three decimals could be of thousands
        return f"regexp_replace({plain}, '^(-?[1-9][0-9]{{0,2}}\\.[0-9]{{3}})$', '\\10')"
    return defused_sql(f"{value}") if kind == "VARCHAR" else f"{value}::VARCHAR"


def _local_entries(con: Connection) -> str:
    """SQL of the time entries with times of the studio's clock, by the same table of its changes by which
    they are read.
    """
    zone = read_settings(con).zone
    con.execute(
        """CREATE OR REPLACE TEMP TABLE local_spells AS
        SELECT *, timezone(?, timezone('UTC', started_at)) AS local_start,
            timezone(?, timezone('UTC', ended_at)) AS local_end
        FROM time_entries""",
        [zone, zone],
    )
    days = con.execute(
        """SELECT DISTINCT unnest([local_start::DATE, local_end::DATE]) AS day FROM local_spells
        WHERE started_at IS NOT NULL"""
    ).fetchall()
    timezones.prepare_days(con, sorted(row[0] for row in days), zone)
    return statement(
        "ingest.safekeeping",
        "export_time_entries",
        start_in_change=timezones.in_change("e.local_start", "s."),
        start_utc=timezones.utc_of("e.local_start", "s."),
        end_in_change=timezones.in_change("e.local_end", "f."),
        end_utc=timezones.utc_of("e.local_end", "f."),
    )


def _contents() -> str:
    """SQL of the entries whose content hash differs from their words, as people were merged since."""
    return f"""SELECT e.entry, {content_of("e")} AS content_as_read, e.content FROM time_entries AS e
        LEFT JOIN phases AS p ON p.phase = e.phase LEFT JOIN techniques AS t ON t.technique = e.technique
        LEFT JOIN person_spellings AS w ON w.written = e.person
        WHERE content_as_read <> e.content"""
