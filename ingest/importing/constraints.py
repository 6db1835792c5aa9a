"""Constraints on values that the schema does not enforce, checked in files of an export and in the record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

from ingest import autosave
from ingest.faults import sentence
from ingest.importing.rejects import RejectedRow, Rejects
from ingest.schema import csv_columns
from ingest.sql import quoted
from ingest.tables import audit_log


@dataclass(frozen=True, slots=True)
class Constraint:
    """Something that a column cannot say: the SQL condition that finds it, and what is wrong with it, by its
    code and what it leaves to choose.
    """

    column: str
    condition: str
    code: str
    choices: str = ""

    @property
    def details(self) -> dict[str, object]:
        return {"choices": self.choices} if self.choices else {}

    @property
    def reason(self) -> str:
        return sentence(self.code, self.details)[0]


def _listed(words: Sequence[str]) -> str:
    return ", ".join(map(quoted, words))


def _empty(*columns: str) -> tuple[Constraint, ...]:
    return tuple(Constraint(name, f"trim({name}) = ''", "exported_empty") for name in columns)


def _no_day(*columns: str) -> tuple[Constraint, ...]:
    """A day or instant outside the centuries that days may be of; `infinity` is none."""
    return tuple(
        Constraint(name, f"NOT {name} BETWEEN '1900-01-01' AND '2200-12-31 23:59:59'", "exported_day")
        for name in columns
    )


def _no_hours(*columns: str) -> tuple[Constraint, ...]:
    return tuple(
        Constraint(name, f"NOT (isfinite({name}) AND {name} >= 0)", "exported_hours") for name in columns
    )


def _none_of(column: str, words: Sequence[str]) -> Constraint:
    return Constraint(column, f"{column} NOT IN ({_listed(words)})", "exported_none_of", ", ".join(words))


def _no_json(column: str, shape: str, only_where: str = "true") -> Constraint:
    """JSON of another shape than this: by `path:type` the type that all found there have; a path without `*`
    must be there.
    """
    wrong = " OR ".join(
        (
            f"NOT list_has_all([{quoted(kind)}], json_type({column}, {quoted(path)}))"
            if "*" in path
            else f"json_type({column}, {quoted(path)}) IS DISTINCT FROM {quoted(kind)}"
        )
        for path, _, kind in (part.partition(":") for part in shape.split())
    )
    return Constraint(column, f"({only_where}) AND ({wrong})", "exported_shape")


_ROW = [field.name for field in fields(RejectedRow)]
_EARLIER_ROW = [name for name in _ROW if name != "origin"]  # as it was kept before form 12
_REJECTS = [field.name for field in fields(Rejects)]
_REJECTED_ROWS = f"starts_with(what, {quoted(autosave.REJECTED_ROWS)})"
_NOT_ROWS = (
    f"json_keys(said->'rejects') IS DISTINCT FROM [{_listed(_REJECTS)}] OR NOT"
    f" list_has_all([[{_listed(_ROW)}], [{_listed(_EARLIER_ROW)}]], json_keys(said, '$.rejects.rows[*]'))"
    " OR json_array_length(said, '$.rejects.rows') IS DISTINCT FROM json_array_length(said, '$.cells')"
)

CONSTRAINTS: dict[str, tuple[Constraint, ...]] = {
    "phases": (
        *_empty("phase", "key"),
        Constraint("position", "position NOT BETWEEN 0 AND 10000", "exported_position"),
        *_no_day("retired_on"),
    ),
    "techniques": (
        *_empty("technique", "key"),
        _none_of("unit", csv_columns.UNITS),
        _none_of("mode", csv_columns.MODES),
        _none_of("condition", csv_columns.CONDITIONS),
        Constraint(
            "cautions",
            f"cautions <> '' AND NOT"
            f" list_has_all([{_listed(csv_columns.CAUTIONS)}], string_split(cautions, '|'))",
            "exported_other_word",
            ", ".join(csv_columns.CAUTIONS),
        ),
        *_no_day("retired_on"),
    ),
    "spellings": (_none_of("kind", ("phase", "technique")), *_empty("spelling", "written", "key")),
    "people": (*_empty("person"), *_no_day("first_seen", "left_on")),
    "person_spellings": _empty("spelling", "written", "person"),
    "held_back": (
        *_no_day("noticed_at"),
        _none_of("decided", ("new", "correction", "left out")),
        _no_json("said", "$:OBJECT"),
    ),
    "drafts": (
        *_no_day("begun_at", "kept_at"),
        _no_json(
            "said",
            """$.version:OBJECT $.version.*:VARCHAR $.lines:ARRAY $.lines[*]:OBJECT $.lines[*].*:VARCHAR
            $.kept_by:VARCHAR""",
        ),
    ),
    "unsaved": (
        *_no_day("kept_at"),
        _no_json("said", "$:OBJECT $.*:VARCHAR", only_where=f"what = {quoted(autosave.NEW_WORK)}"),
        _no_json(
            "said",
            "$.works:ARRAY $.works[*]:OBJECT $.works[*].*:VARCHAR $.phases:ARRAY $.phases[*]:VARCHAR"
            " $.person:VARCHAR $.when:VARCHAR",
            only_where=f"what = {quoted(autosave.FROM_MEMORY)}",
        ),
        _no_json("said", "$:ARRAY $[*]:VARCHAR", only_where=f"what = {quoted(autosave.SETTLED_ROWS)}"),
        _no_json(
            "said",
            """$.works:ARRAY $.works[*]:OBJECT $.works[*].object:VARCHAR $.works[*].described:OBJECT
            $.works[*].described.*:VARCHAR $.works[*].identified:OBJECT $.works[*].identified.*:VARCHAR
            $.works[*].lines:ARRAY $.works[*].lines[*]:OBJECT $.works[*].lines[*].*:VARCHAR
            $.works[*].costs:ARRAY $.works[*].costs[*]:OBJECT $.works[*].costs[*].*:VARCHAR
            $.works[*].left_out:OBJECT $.works[*].left_out.*:VARCHAR $.terms:OBJECT $.terms.*:VARCHAR
            $.letter:OBJECT $.letter.*:VARCHAR""",
            only_where=f"starts_with(what, {quoted(autosave.QUOTE)})",
        ),
        _no_json(
            "said",
            """$.cells:ARRAY $.cells[*]:ARRAY $.cells[*][*]:VARCHAR $.rejects.file:VARCHAR
            $.rejects.header:ARRAY $.rejects.header[*]:VARCHAR $.rejects.rows[*]:OBJECT
            $.rejects.rows[*].line:UBIGINT $.rejects.rows[*].cells:ARRAY""",
            only_where=_REJECTED_ROWS,
        ),
        Constraint("said", f"{_REJECTED_ROWS} AND ({_NOT_ROWS})", "exported_shape"),
    ),
    "imports": (
        *_no_day("imported_at"),
        Constraint(
            "stored", "least(stored, corrected, already_held, held_back, rejected) < 0", "exported_count"
        ),
    ),
    "phone_actions": (
        *_empty("action", "phone", "entry"),
        *_no_day("made_at", "received_at"),
        Constraint("clock_off", "NOT isfinite(clock_off)", "exported_seconds"),
        _no_json(
            "said",
            """$.state:VARCHAR $.person:VARCHAR $.row:OBJECT $.row.*:VARCHAR $.taps:OBJECT $.works:ARRAY""",
        ),
    ),
    "phone_outcomes": (
        *_empty("action"),
        _none_of("outcome", ("saved", "overtaken", "refused", "held back", "taken in", "left out")),
        *_no_day("settled_at"),
        _no_json("told", "$.faults:ARRAY $.remarks:ARRAY"),
    ),
    "spells": (_none_of("total", csv_columns.TOTALS),),
    "spells_in_hand": (
        *_empty("entry", "person"),
        _none_of("mode", csv_columns.MODES),
        _none_of("charge", csv_columns.CHARGES),
        *_no_day("in_hand_since"),
    ),
    "pinned_rates": (
        *_empty("reason"),
        # a pin is of a technique, in whatever phase, or of a phase as a whole
        Constraint("phase", "technique <> '' AND phase <> ''", "exported_both_names"),
        Constraint("rate", "NOT (isfinite(rate) AND rate > 0)", "exported_rate"),
        _none_of("unit", csv_columns.UNITS),
        *_no_day("pinned_on", "withdrawn_on"),
    ),
    "quotes": (
        *_no_day("as_of", "saved_at"),
        Constraint("works", "least(works, lines) < 0", "exported_count"),
        _no_json("written", "$:OBJECT", only_where="written IS NOT NULL"),
        _no_json("letter", "$:OBJECT", only_where="letter IS NOT NULL"),
    ),
    "quoted_options": (
        Constraint("confidence", "confidence NOT BETWEEN 1 AND 99", "exported_chance"),
        *_no_hours("promised_hours", "p10", "p50", "p80", "p90"),
        _no_json("stood_on", "$:OBJECT"),
    ),
    "quoted_lines": (
        *_no_hours("p10", "p50", "p80", "p90", "promised_hours", "own_hours", "worked_hours"),
        *_no_hours("rate", "rate_low", "rate_high"),
        _none_of("unit", csv_columns.UNITS),
        _no_json("works", "$:ARRAY $[*]:VARCHAR"),
    ),
    "ended_versions": (_none_of("outcome", ("declined", "withdrawn")), *_no_day("ended_on")),
    "foreign_tables": (
        *_empty("heads", "file"),
        *_no_day("kept_at"),
        _no_json(
            "reading",
            """$.rows:VARCHAR $.columns:OBJECT $.columns.*:OBJECT $.columns.*.*:VARCHAR $.not_read:ARRAY
            $.not_read[*]:VARCHAR $.sheets:ARRAY $.sheets[*]:VARCHAR $.filled_down:ARRAY
            $.filled_down[*]:VARCHAR $.left_out:ARRAY $.left_out[*]:OBJECT $.left_out[*].*:VARCHAR
            $.earlier[*]:OBJECT $.earlier[*].until:VARCHAR $.earlier[*].reading:OBJECT""",
            only_where="reading IS NOT NULL",
        ),
    ),
    "foreign_words": (
        *_empty("heads", "spelling", "written"),
        _none_of("column_name", ("object", "phase", "technique", "person")),
        *_no_day("kept_at"),
        _no_json(
            "means",
            """$.values:OBJECT $.values.*:VARCHAR $.new_title:VARCHAR $.left_out:BOOLEAN
            $.earlier[*]:OBJECT $.earlier[*].until:VARCHAR $.earlier[*].means.values:OBJECT""",
        ),
    ),
    "spelling_origins": (
        _none_of("kind", ("phase", "technique", "person")),
        *_empty("spelling", "file"),
        *_no_day("kept_at"),
    ),
    "history": (
        *_empty("kind", "key"),
        _none_of("event", audit_log.EVENTS),
        *_no_day("changed_at"),
        _no_json("earlier", "$:OBJECT"),
    ),
}
"""By table."""
