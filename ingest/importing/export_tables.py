"""Tables that an export carries beside the six forms: settings, words, people, drafts, history and more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ingest.schema import csv_columns
from ingest.schema.csv_columns import Form


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportTable:
    """Source and destination of the rows of one export form.

    Attributes
    ----------
    form : columns, named as those of the table.
    table : where the rows are stored.
    key : columns that identify a row.
    source : SQL of the exported rows, columns of the form; `{private}` is true where private columns are
        included.
    order : SQL, order of the exported rows.
    shared : included in an export for others.
    astray : reference to rows that must be stored (see above `_OBJECTS`).
    """

    form: Form
    table: str
    key: tuple[str, ...]
    source: str
    order: str
    shared: bool = True
    astray: tuple[str, str, str, str] | None = None


_WHOLE_TABLE = "SELECT {columns} FROM {table}"
# Shared settings come without absences: why somebody is away is theirs.
_SETTINGS = "SELECT {columns} FROM {table} WHERE {private} OR setting <> 'absences'"
# Shared earlier versions of a work come without title and owner, and files without their names.
_HISTORY = """SELECT kind, key, event, changed_at, changed_by,
        CASE WHEN NOT {private} AND event = 'brought in' THEN 'brought in with a file'
            ELSE reason END AS reason,
        CASE WHEN NOT {private} AND kind = 'objects' THEN json_merge_patch(
            earlier, '{{"title": null, "owner": null, "owner_address": null}}'
        ) ELSE earlier END AS earlier, content, number
    FROM history
    WHERE {private} OR NOT (kind = 'settings' AND key = 'absences')"""
# Shared quotes come without the letter and what was typed for it, which name owners.
_QUOTES = """SELECT * REPLACE (
        CASE WHEN {private} THEN written END AS written, CASE WHEN {private} THEN letter END AS letter
    )
    FROM quotes"""
_ITS_OBJECT = "coalesce(r.earlier->>'object', r.earlier->>'$.version.object')"

# References: condition on a row `r`, its column, the code of the fault, the file that has what is missing.
_OBJECTS = ("r.object NOT IN (SELECT object FROM objects)", "object", "lacks_an_earlier_file", "objects file")
_VERSIONS = (
    "(r.object, r.version) NOT IN (SELECT (object, version) FROM estimate_versions)",
    *("version", "lacks_an_earlier_file", "estimates"),
)
_SAVED_QUOTES = (
    "(r.object, r.version) NOT IN (SELECT (object, version) FROM quotes)",
    *("version", "lacks_its_file", "saved quotes"),
)
_PHASES = ("r.phase NOT IN (SELECT phase FROM phases)", "phase", "lacks_its_file", "phase names")
_PINNED = (
    """r.technique <> '' AND r.technique NOT IN (SELECT technique FROM techniques)
        OR r.phase <> '' AND r.phase NOT IN (SELECT phase FROM phases)""",
    *("technique", "lacks_its_file", "technique names and phase names"),
)
_PEOPLE = ("r.person NOT IN (SELECT person FROM people)", "person", "lacks_its_file", "people")
_ACTIONS = (
    "r.action NOT IN (SELECT action FROM phone_actions)",
    "action",
    "lacks_its_file",
    "actions of phones",
)
_FOREIGN_TABLES = (
    "r.heads NOT IN (SELECT heads FROM foreign_tables)",
    *("heads", "lacks_its_file", "readings of tables"),
)
_CHANGED_OBJECTS = (
    # a work that was struck out is in the history alone
    f"""{_ITS_OBJECT} IS NOT NULL AND {_ITS_OBJECT} NOT IN (SELECT object FROM objects)
        AND {_ITS_OBJECT} NOT IN (
            SELECT key FROM resolved WHERE kind = 'objects' AND event = 'taken back'
        )""",
    *("earlier", *_OBJECTS[2:]),
)


def _table(
    form: Form,
    table: str,
    key: str | Sequence[str],
    order: str = "",
    *,
    source: str = _WHOLE_TABLE,
    shared: bool = True,
    astray: tuple[str, str, str, str] | None = None,
) -> ExportTable:
    """An export table; `key` may be names joined by commas, and is the order where none is given."""
    names = tuple(key.split(", ")) if isinstance(key, str) else tuple(key)
    return ExportTable(
        form=form,
        table=table,
        key=names,
        source=source,
        order=order or ", ".join(names),
        shared=shared,
        astray=astray,
    )


EXPORT_TABLES = (
    _table(csv_columns.SETTINGS, "settings", "setting", source=_SETTINGS),
    _table(csv_columns.PHASE_NAMES, "phases", "key", "position, phase"),
    _table(csv_columns.TECHNIQUE_NAMES, "techniques", "key", "technique", astray=_PHASES),
    _table(csv_columns.SPELLINGS, "spellings", "kind, spelling"),
    _table(csv_columns.PEOPLE, "people", "person"),
    _table(csv_columns.PEOPLE_SPELLINGS, "person_spellings", "spelling", "person, spelling", astray=_PEOPLE),
    _table(
        csv_columns.HELD_BACK,
        "held_back",
        "content, rank",
        "noticed_at, file, line, content, rank",
        shared=False,
    ),
    _table(csv_columns.DRAFTS, "drafts", "object", shared=False, astray=_OBJECTS),
    _table(csv_columns.UNSAVED, "unsaved", "what", shared=False),
    _table(csv_columns.IMPORTS, "imports", csv_columns.IMPORTS.names, "number", shared=False),
    _table(csv_columns.PHONE_ACTIONS, "phone_actions", "action", "received_at, number, action", shared=False),
    _table(
        csv_columns.PHONE_OUTCOMES,
        "phone_outcomes",
        "action",
        "settled_at, action",
        shared=False,
        astray=_ACTIONS,
    ),
    _table(
        csv_columns.IN_HAND, "spells_in_hand", "entry", "in_hand_since, entry", shared=False, astray=_OBJECTS
    ),
    _table(
        csv_columns.PINNED_RATES,
        "pinned_rates",
        csv_columns.PINNED_RATES.names,
        "phase, technique, pinned_on, withdrawn_on, rate, reason",
        shared=False,
        astray=_PINNED,
    ),
    _table(csv_columns.QUOTES, "quotes", "object, version", source=_QUOTES, astray=_VERSIONS),
    _table(csv_columns.QUOTED_OPTIONS, "quoted_options", "object, version, option", astray=_SAVED_QUOTES),
    _table(csv_columns.QUOTED_LINES, "quoted_lines", "object, version, option, place", astray=_SAVED_QUOTES),
    _table(csv_columns.ENDED_VERSIONS, "ended_versions", "object, version", astray=_VERSIONS),
    _table(csv_columns.FOREIGN_TABLES, "foreign_tables", "heads", shared=False),
    _table(
        csv_columns.FOREIGN_WORDS,
        "foreign_words",
        "heads, column_name, spelling",
        shared=False,
        astray=_FOREIGN_TABLES,
    ),
    _table(csv_columns.SPELLING_ORIGINS, "spelling_origins", "kind, spelling", shared=False),
    _table(
        csv_columns.HISTORY,
        "history",
        "kind, key, changed_at, changed_by, content",
        "number",
        source=_HISTORY,
        astray=_CHANGED_OBJECTS,
    ),
)


def export_table_of(form: Form) -> ExportTable | None:
    """The export table of a form; None for forms that have none."""
    return next((table for table in EXPORT_TABLES if table.form is form), None)
