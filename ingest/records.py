"""The six CSV forms: their columns, which must be there, and how each cell is read."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from ingest.errors import FileError
from ingest.notation import folded, nearest

MODES = ("hands_on", "attended", "unattended")
CHARGES = ("quoted", "extra", "own_cost")
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
    reading : name of the reader in `ingest.readings`.
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


def _columns(**readings: str) -> tuple[Column, ...]:
    """Columns from `name="reading"`; `*` marks a star, `!` a cell that must be filled, `~` private."""
    return tuple(Column(name=name, reading=mark.rstrip("*!~"), star="*" in mark, filled="!" in mark, private="~" in mark) for name, mark in readings.items())


PHASES = Form("phases", _columns(phase="new_phase*!", position="position*!", note="text"))
TECHNIQUES = Form(
    "techniques",
    _columns(
        technique="new_technique*!", phase="phase*!", unit="unit_or_none", mode="mode", condition="condition", cautions="cautions", aliases="words", note="text"
    ),
)
OBJECTS = Form(
    "objects",
    _columns(
        object="new_object*!", title="text", maker="text", kind="text", support="text", shape="shape", height_cm="side", width_cm="side",
        area_dm2="area", structure_condition="grade", paint_condition="grade", surface_condition="grade", received_on="day", due_on="day",
        finished_on="day", returned_from="new_object", commission="text", note="text", owner="text~", owner_address="text~",
    ),
)  # fmt: skip
ESTIMATES = Form(
    "estimates",
    _columns(
        object="object*!", version="version*!", made_on="day*!", approved_on="day", reason="text", price="amount", currency="currency",
        tax_in_price="yes_or_no", tax_per_cent="per_cent",
        phase="phase*", technique="technique*!", part="text", person="person", quantity="quantity", unit="unit", hours="estimate_hours",
        low_hours="estimate_hours", high_hours="estimate_hours", unattended_hours="estimate_hours", option="text", note="text",
    ),
)  # fmt: skip
TIME_ENTRIES = Form(
    "time entries",
    _columns(
        entry="text", object="object*", phase="phase*", technique="technique*!", part="text", person="person*!", started_at="instant",
        ended_at="instant", date="day", hours="hours", mode="mode", charge="charge", quantity="quantity", unit="unit", done="per_cent",
        discovery="yes_or_no", note="text",
    ),
)  # fmt: skip
MILESTONES = Form("milestones", _columns(object="object*!", phase="phase*", technique="technique", part="text", finished_on="day*!"))

# In the order in which they must be stored: each kind may name what an earlier one brings.
FORMS = (PHASES, TECHNIQUES, OBJECTS, ESTIMATES, TIME_ENTRIES, MILESTONES)


def _kept(kind: str, columns: str) -> Form:
    return Form(kind, tuple(Column(name=name.rstrip("?"), reading="text", star="?" not in name) for name in columns.split()))


# What an export writes beside the six forms, so that nothing is lost on the way out and in again (`ingest.kept`). Told by all of their columns, but for those (`?`) that exports of before had not.
SETTINGS = _kept("settings", "setting value")
PHASE_NAMES = _kept("phase names", "phase key position note retired_on")
TECHNIQUE_NAMES = _kept("technique names", "technique key phase unit mode condition cautions note retired_on")
SPELLINGS = _kept("spellings", "kind spelling written key")
PEOPLE = _kept("people", "person first_seen left_on")
PEOPLE_SPELLINGS = _kept("spellings of people", "spelling written person key")
ENTRY_CONTENTS = _kept("entry contents", "entry content_as_read content")
HELD_BACK = _kept("rows held back", "content rank resembles file line noticed_at said decided")
DRAFTS = _kept("drafts", "object begun_at kept_at said")
UNSAVED = _kept("unsaved", "what kept_at kept_by said")
IMPORTS = _kept("files brought in", "imported_at file kind stored corrected already_held held_back rejected")
PHONE_ACTIONS = _kept("actions of phones", "action phone number entry made_at clock_off received_at said device? role? logs_for?")
PHONE_OUTCOMES = _kept("outcomes of actions", "action outcome settled_at told")
IN_HAND = _kept("spells in hand", "entry object phase technique part person mode charge discovery note in_hand_since")
PINNED_RATES = _kept("pinned rates", "technique rate unit reason pinned_on pinned_by withdrawn_on")
QUOTES = _kept("saved quotes", "object version number as_of saved_at saved_by program works lines first_stage written letter")
QUOTED_OPTIONS = _kept("options of saved quotes", "object version option confidence promised_hours p10 p50 p80 p90 price currency stood_on")
QUOTED_LINES = _kept(
    "lines of saved quotes",
    "object version option place phase technique part p10 p50 p80 p90 promised_hours own_hours worked_hours begun rate rate_low rate_high unit pinned works",
)
ENDED_VERSIONS = _kept("versions that ended", "object version outcome ended_on reason")
HISTORY = _kept("history", "kind key event? changed_at changed_by reason earlier content")

# The order in which files of one call are stored. History comes last: what an entry once said must not make the entry itself seem held.
IN_ORDER = (
    SETTINGS, PHASE_NAMES, TECHNIQUE_NAMES, SPELLINGS, PEOPLE, PEOPLE_SPELLINGS, *FORMS, ENTRY_CONTENTS, HELD_BACK, DRAFTS, UNSAVED, IMPORTS,
    PHONE_ACTIONS, PHONE_OUTCOMES, IN_HAND, PINNED_RATES, QUOTES, QUOTED_OPTIONS, QUOTED_LINES, ENDED_VERSIONS, HISTORY,
)  # fmt: skip
KEPT_FORMS = tuple(form for form in IN_ORDER if form not in FORMS)
ESTIMATE_MARKS = frozenset({"version", "low_hours", "high_hours"})

# Columns that a rejects file carries before the row itself; skipped in silence when it comes back mended.
REJECT_COLUMNS = ("rejected_line", "rejected_column", "rejected_reason", "rejected_mend")


def header_name(text: str) -> str:
    """A header as it is compared: any case; spaces, hyphens and brackets for underscores, so that `Height (cm)` is `height_cm`."""
    return re.sub(r"\W+", "_", folded(text)).strip("_")


def form_of(header: Iterable[str]) -> Form:
    """The form told by a file's column names (already through `header_name`).

    Of the forms whose starred columns are all there, the one with the most; a file with `version`,
    `low_hours` or `high_hours` is an estimates file and never another.
    """
    names = set(header)
    if kept := [form for form in KEPT_FORMS if names.issuperset(form.stars)]:
        return max(kept, key=lambda form: len(form.stars))
    if names & ESTIMATE_MARKS:
        missing = [name for name in ESTIMATES.stars if name not in names]
        if missing:
            raise FileError(f"looks like estimates, but lacks {_columns_listed(missing)}", _nearest_headers(missing, names, ESTIMATES))
        return ESTIMATES
    fitting = [form for form in FORMS if names.issuperset(form.stars)]
    if fitting:
        told = max(fitting, key=lambda form: (len(form.stars), len(names.intersection(form.names))))
        likeliest = max(FORMS, key=lambda form: len(names.intersection(form.names)))
        # Time entries short of a column must not pass for techniques: what it looks like then is the better word.
        if len(names.intersection(likeliest.names)) < len(names.intersection(told.names)) + 2:
            return told
        missing = [name for name in likeliest.stars if name not in names]
        raise FileError(f"looks like {likeliest.kind}, but lacks {_columns_listed(missing)}", _nearest_headers(missing, names, likeliest))
    form = max(FORMS, key=lambda form: (len(names.intersection(form.stars)) / len(form.stars), len(names.intersection(form.names))))
    missing = [name for name in form.stars if name not in names]
    raise FileError(f"is none of the known forms; the nearest is {form.kind}, which needs {_columns_listed(missing)}", _nearest_headers(missing, names, form))


def _nearest_headers(missing: list[str], names: set[str], form: Form) -> str:
    strangers = sorted(names.difference(form.names))
    near = {name: nearest(name, {folded(stranger): stranger for stranger in strangers}) for name in missing}
    renames = [f'rename "{stranger}" to "{name}"' for name, stranger in near.items() if stranger]
    return f"Perhaps {' and '.join(renames)}." if renames else "Add it to the first row; the columns of each form are in the README."


def _columns_listed(names: list[str]) -> str:
    return f"the column{'s' if len(names) > 1 else ''} {_listed(names)}"


def _listed(names: list[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)
