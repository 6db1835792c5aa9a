"""The six CSV forms: their columns, which must be there, and how each cell is read."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ingest.errors import FileError
from ingest.values.spelling import folded, nearest

MODES = ("hands_on", "attended", "unattended")
CHARGES = ("quoted", "extra", "own_cost")
TOTALS = ("day", "month", "year")  # the period within which hours of several days are dated
UNITS = ("dm2", "cm", "pcs")
SHAPES = ("rectangle", "oval", "round", "irregular")
CONDITIONS = ("structure", "paint", "surface")
CAUTIONS = ("solvent", "blade", "heat", "dust", "mould", "old_pigment", "repetitive", "lifting")

LONGEST_SPELL_HOURS = 16.0
LONGEST_UNATTENDED_HOURS = 60 * 24.0
LARGEST_QUANTITY = 1_000_000.0
LARGEST_ESTIMATE_HOURS = 100_000.0
LARGEST_SIDE_CM = 5_000.0
FAR_OFF = 50.0  # times what the record says an hour costs, beyond which an amount is asked about


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a form.

    Attributes
    ----------
    name : header of the column in a file.
    reading : name of the reader in `ingest.importing.cell_readers`.
    star : the column tells the kind and must be in the file.
    filled : its cells may not be empty.
    private : stays out of what is shared.
    """

    name: str
    reading: str
    star: bool = False
    filled: bool = False
    private: bool = False


@dataclass(frozen=True, slots=True)
class Form:
    """One kind of CSV file."""

    kind: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)

    @property
    def stars(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns if column.star)


def _form(kind: str, columns: str) -> Form:
    """Form of columns `name` or `name:reading`, marked `*` for a star, `!` where a cell must be filled, `~`
    for private.
    """
    marked = [(column.rstrip("*!~"), column) for column in columns.split()]
    return Form(
        kind,
        tuple(
            Column(
                name=text.partition(":")[0],
                reading=text.rpartition(":")[2],
                star="*" in column,
                filled="!" in column,
                private="~" in column,
            )
            for text, column in marked
        ),
    )


PHASES = _form("phases", "phase:new_phase*! position*! note:text")
TECHNIQUES = _form(
    "techniques",
    """
    technique:new_technique*! phase*! unit:unit_or_none mode condition cautions aliases:words
    note:text
    """,
)
OBJECTS = _form(
    "objects",
    """
    object:new_object*! title:text maker:text kind:text support:text shape height_cm:side
    width_cm:side area_dm2:area structure_condition:grade paint_condition:grade
    surface_condition:grade received_on:day due_on:day finished_on:day returned_from:new_object
    commission:text note:text remembered:yes_or_no owner:text~ owner_address:text~
    """,
)
ESTIMATES = _form(
    "estimates",
    """
    object*! version*! made_on:day*! approved_on:day reason:text price:amount currency
    tax_in_price:yes_or_no tax_per_cent:per_cent phase technique part:text person quantity unit
    hours:estimate_hours low_hours:estimate_hours high_hours:estimate_hours
    unattended_hours:estimate_hours option:text note:text
    """,
)
TIME_ENTRIES = _form(
    "time entries",
    """
    entry:text object* phase technique part:text person*! started_at:instant ended_at:instant
    date:day_or_period hours mode charge quantity unit done:per_cent discovery:yes_or_no total
    note:text
    """,
)
MILESTONES = _form("milestones", "object*! phase* technique part:text finished_on:day*!")

# In the order in which they must be stored: each kind may name what an earlier one brings.
FORMS = (PHASES, TECHNIQUES, OBJECTS, ESTIMATES, TIME_ENTRIES, MILESTONES)


def _export_form(kind: str, columns: str) -> Form:
    return Form(
        kind,
        tuple(
            Column(name=name.rstrip("?"), reading="text", star="?" not in name) for name in columns.split()
        ),
    )


# What an export writes beside the six forms, so that nothing is lost on the way out and in again
# (`ingest.importing.export_tables`). Told by all of their columns, but for those (`?`) that exports of before
# had not.
SETTINGS = _export_form("settings", "setting value")
PHASE_NAMES = _export_form("phase names", "phase key position note retired_on")
TECHNIQUE_NAMES = _export_form(
    "technique names", "technique key phase unit mode condition cautions note retired_on"
)
SPELLINGS = _export_form("spellings", "kind spelling written key")
PEOPLE = _export_form("people", "person first_seen left_on")
PEOPLE_SPELLINGS = _export_form("spellings of people", "spelling written person key")
ENTRY_CONTENTS = _export_form("entry contents", "entry content_as_read content")
HELD_BACK = _export_form("rows held back", "content rank resembles file line noticed_at said decided")
DRAFTS = _export_form("drafts", "object begun_at kept_at said")
UNSAVED = _export_form("unsaved", "what kept_at kept_by said")
IMPORTS = _export_form(
    "files brought in", "imported_at file kind stored corrected already_held held_back rejected"
)
PHONE_ACTIONS = _export_form(
    "actions of phones",
    "action phone number entry made_at clock_off received_at said device? role? logs_for?",
)
PHONE_OUTCOMES = _export_form("outcomes of actions", "action outcome settled_at told")
IN_HAND = _export_form(
    "spells in hand", "entry object phase technique part person mode charge discovery note in_hand_since"
)
PINNED_RATES = _export_form(
    "pinned rates", "technique rate unit reason pinned_on pinned_by withdrawn_on phase?"
)
QUOTES = _export_form(
    "saved quotes",
    "object version number as_of saved_at saved_by program works lines first_stage written letter",
)
QUOTED_OPTIONS = _export_form(
    "options of saved quotes",
    "object version option confidence promised_hours p10 p50 p80 p90 price currency stood_on",
)
QUOTED_LINES = _export_form(
    "lines of saved quotes",
    "object version option place phase technique part p10 p50 p80 p90 promised_hours own_hours worked_hours"
    " begun rate rate_low rate_high unit pinned works",
)
ENDED_VERSIONS = _export_form("versions that ended", "object version outcome ended_on reason")
FOREIGN_TABLES = _export_form("readings of tables", "heads reading draft file kept_at kept_by")
FOREIGN_WORDS = _export_form("words of tables", "heads column_name spelling written means kept_at kept_by")
SPELLING_ORIGINS = _export_form("origins of spellings", "kind spelling file kept_at kept_by")
HISTORY = _export_form("history", "kind key event? changed_at changed_by reason earlier content")

# The order in which files of one call are stored. History comes last: what an entry once said must not make
# the entry itself seem held.
IN_ORDER = (
    SETTINGS,
    PHASE_NAMES,
    TECHNIQUE_NAMES,
    SPELLINGS,
    PEOPLE,
    PEOPLE_SPELLINGS,
    *FORMS,
    ENTRY_CONTENTS,
    HELD_BACK,
    DRAFTS,
    UNSAVED,
    IMPORTS,
    PHONE_ACTIONS,
    PHONE_OUTCOMES,
    IN_HAND,
    PINNED_RATES,
    QUOTES,
    QUOTED_OPTIONS,
    QUOTED_LINES,
    ENDED_VERSIONS,
    FOREIGN_TABLES,
    FOREIGN_WORDS,
    SPELLING_ORIGINS,
    HISTORY,
)
EXPORT_FORMS = tuple(form for form in IN_ORDER if form not in FORMS)
ESTIMATE_MARKS = frozenset({"version", "low_hours", "high_hours"})

# Columns that a rejects file carries before the row itself; skipped in silence when it comes back mended.
REJECT_COLUMNS = ("rejected_line", "rejected_column", "rejected_reason", "rejected_mend")


def header_name(text: str) -> str:
    """A header as it is compared: any case; spaces, hyphens and brackets for underscores, so that `Height
    (cm)` is `height_cm`.
    """
    return re.sub(r"\W+", "_", folded(text)).strip("_")


def form_of(header: Iterable[str]) -> Form:
    """The form told by a file's column names (already through `header_name`).

    Of the forms whose starred columns are all there, the one with the most; a file with `version`,
    `low_hours` or `high_hours` is an estimates file and never another.
    """
    names = set(header)
    if exported := [form for form in EXPORT_FORMS if names.issuperset(form.stars)]:
        return max(exported, key=lambda form: len(form.stars))
    if names & ESTIMATE_MARKS:
        missing = [name for name in ESTIMATES.stars if name not in names]
        if missing:
            raise _lacks(ESTIMATES, missing, names)
        return not_misspelt(ESTIMATES, names)
    fitting = [form for form in FORMS if names.issuperset(form.stars)]
    if fitting:
        closest = max(fitting, key=lambda form: (len(form.stars), len(names.intersection(form.names))))
        likeliest = max(FORMS, key=lambda form: len(names.intersection(form.names)))
        # Time entries short of a column must not pass for techniques: what it looks like then is the better
        # word.
        if len(names.intersection(likeliest.names)) < len(names.intersection(closest.names)) + 2:
            return not_misspelt(closest, names)
        raise _lacks(likeliest, [name for name in likeliest.stars if name not in names], names)
    form = max(
        FORMS,
        key=lambda form: (
            len(names.intersection(form.stars)) / len(form.stars),
            len(names.intersection(form.names)),
        ),
    )
    missing = [name for name in form.stars if name not in names]
    raise FileError(
        f"is none of the known forms; the nearest is {form.kind}, which needs {_columns_listed(missing)}",
        _nearest_headers(missing, names, form),
    )


def _lacks(form: Form, missing: Sequence[str], names: set[str]) -> FileError:
    return FileError(
        f"looks like {form.kind}, but lacks {_columns_listed(missing)}",
        _nearest_headers(missing, names, form),
    )


def not_misspelt(form: Form, names: set[str]) -> Form:
    """The form, of a file whose lines may leave phase or technique out; raises `FileError` where a column is
    called nearly so, since without it all rows would be of whole phases or works.
    """
    missing = [name for name in ("phase", "technique") if name in form.names and name not in names]
    misspelt = [name for name, stranger in _near(missing, names, form).items() if stranger]
    if misspelt:
        raise _lacks(form, misspelt, names)
    return form


def _near(missing: Sequence[str], names: set[str], form: Form) -> dict[str, str | None]:
    strangers = {folded(stranger): stranger for stranger in sorted(names.difference(form.names))}
    return {name: nearest(name, strangers) for name in missing}


def _nearest_headers(missing: Sequence[str], names: set[str], form: Form) -> str:
    near = _near(missing, names, form)
    renames = [f'rename "{stranger}" to "{name}"' for name, stranger in near.items() if stranger]
    return (
        f"Perhaps {' and '.join(renames)}."
        if renames
        else "Add it to the first row; the columns of each form are in the Guide, under CSV files."
    )


def _columns_listed(names: Sequence[str]) -> str:
    return f"the column{'s' if len(names) > 1 else ''} " + ", ".join(f'"{name}"' for name in names)
