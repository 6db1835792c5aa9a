"""Temporary tables by which a stage of a check hands its rows to the next: columns, makers and readers.

They belong to one connection and last until its next check. `ingest.importing.check` has the order in which
they are made; a test compares them with the code. `row` counts the rows of what is checked from 0.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stage:
    """One temporary table or view: its columns, and the modules that make and read it."""

    columns: str
    made_by: tuple[str, ...]
    read_by: tuple[str, ...] = ()


def _stage(columns: str, made_by: str, read_by: str = "") -> Stage:
    return Stage(columns, tuple(made_by.split()), tuple(read_by.split()))


STAGES = {
    # rows as text
    "raw_rows": _stage(
        "c0 … as written; of typed rows also row, of a file also at_once_ and the name of a column",
        "rows csv_reader",
    ),
    "table_cells": _stage("row, c0 … of a table that is no CSV file of ours", "rows"),
    "raw": _stage("row, c0 … as written", "rows csv_reader", "check rejects settled_rejects preview"),
    "cells": _stage(
        "row, c0 … as meant, emptied (columns that say that there is nothing)",
        "rows csv_reader",
        "cell_values estimates quote_drafts export_rows",
    ),
    "row_lines": _stage(
        "row, line",
        "rows",
        "check rejects settled_rejects estimates objects estimate_drafts verdicts entry_matching quote_lines"
        " declined_changes",
    ),
    # rows as values, with what was found
    "checked": _stage(
        "row, emptied, the columns of the form",
        "cell_values",
        "time_entries entries_resolved estimates quote_drafts milestones objects vocabulary_rows",
    ),
    "resolved": _stage(
        "row, the columns of the form with what follows from them",
        "entries_resolved estimates export_rows milestones objects vocabulary_rows",
        "time_entries check row_status estimate_drafts verdicts entry_matching entry_warnings"
        " estimate_versions estimate_warnings upserts entries_adopted entries_another_part"
        " entries_doubtful entries_said_otherwise entries_long_days entries_progress entries_stored_before"
        " estimate_features milestones_reopened objects_reopened quote_lines export_tables reconciliation"
        " technique_units_in_use version_gaps versions_compared versions_created versions_said_otherwise"
        " declined_changes staying_versions waiting_rows",
    ),
    "faults": _stage(
        "row, column_name, code, details",
        "cell_values",
        "time_entries estimates upserts row_status check rejects quote_drafts estimate_versions"
        " export_rows milestones vocabulary_rows version_gaps staying_versions",
    ),
    "given_faults": _stage("row, column_name, code, details: faults that came with the rows", "cell_values"),
    "warnings": _stage(
        "row, column_name, code, details",
        "cell_values",
        "time_entries upserts check quote_drafts export_rows",
    ),
    "row_status": _stage(
        "row, status: rejected, already held, held back; none: it will be stored",
        "row_status",
        "preview reconciliation counted_twice entries_said_otherwise declined_changes",
    ),
    "corrections": _stage(
        "row, entry: the key of what is held and will be corrected",
        "row_status",
        "time_entries upserts entry_matching entry_warnings estimate_versions export_rows preview"
        " entries_adopted entries_doubtful entries_progress",
    ),
    # time entries
    "zone_days": _stage(
        "day, ahead_before, ahead_after, change_from, change_to, is_gap",
        "timezones",
        "entries_resolved export_time_entries",
    ),
    "repeated": _stage("content that several rows without a name say", "entry_matching"),
    "repeats": _stage(
        "row, content, rank among equal rows",
        "entry_matching",
        "entry_warnings time_entries entries_doubtful entries_stored_before entries_said_otherwise"
        " reconciliation",
    ),
    "adopted": _stage(
        "row, entry, unnamed: the name of the held entry that it names", "entries_adopted", "entry_matching"
    ),
    "doubtful": _stage(
        "row, content, rank, candidates, candidate, resembles",
        "entry_matching",
        "entries_doubtful entries_said_otherwise",
    ),
    "said_otherwise": _stage(
        "row, entry: of rows that are held by other words",
        "entry_matching objects versions_said_otherwise",
        "entries_said_otherwise",
    ),
    "held_otherwise": _stage(
        "row, entry, content: of works and versions that are held by other words, and what is said of them"
        " now",
        "declined_changes",
    ),
    "sittings": _stage("row, person, started_at, ended_at: hands-on spells, held and new", "entry_warnings"),
    "overlapping": _stage("person: hash of the name", "entry_warnings"),
    "spells_to_be": _stage(
        "id, entry, person, day, started_at, ended_at, hours, counted_hours, mode: spells as they will be",
        "entry_warnings",
        "entries_long_days",
    ),
    "touched": _stage("person, day", "counted_hours", "recount_hours entries_long_days"),
    "recounted": _stage("id, counted_hours", "recount_hours", "counted_hours integrity entries_long_days"),
    # estimates
    "versions": _stage(
        "object, version, row, what the version says, lines, held_approved_on, known_in_price,"
        " known_per_cent",
        "versions_created",
        "estimates versions_compared",
    ),
    "compared": _stage(
        "object, version, row, lines, held_lines, held_approved_on, approved, same_lines, same_approval,"
        " same_tax, agrees, content",
        "versions_compared",
        "estimate_versions reconciliation",
    ),
    "versions_said_otherwise": _stage(
        "object, version, earlier: versions that are held by other words, and the key of that version",
        "versions_said_otherwise",
        "estimate_versions staying_versions",
    ),
    "moved_versions": _stage(
        "object, version: held, and of another work from now on", "versions_said_otherwise", "estimates"
    ),
    # phases, techniques, objects
    "once_named": _stage("row, word", "vocabulary_rows", "upserts"),
    "claimed": _stage("spelling", "vocabulary_rows"),
    "laid": _stage(
        "row, key and columns of the table as they will be, said_before, unchanged",
        "upserts",
        "reconciliation",
    ),
    # what an export carries besides
    "of_file": _stage("row, the columns of the form, turn among equal keys", "export_rows"),
    "of_store": _stage("the columns of the form, turn among equal keys", "export_rows"),
    "replaced": _stage(
        "id: row id of what a new studio was planted with and the file says otherwise", "export_rows"
    ),
    "settings_to_be": _stage("row, setting, value", "export_rows"),
    # beside the check
    "asked": _stage("content, rank", "corrections"),
    "local_spells": _stage(
        "time entries with their readings of the studio's clock", "export", "export_time_entries"
    ),
    # what phones sent
    "turn": _stage("spell", "turn_spells", "entry_versions spells_stored turn_actions"),
    "words": _stage(
        "action, entry, spell, device, role, received_at, clock_off, outcome, settled_at, decided, waiting,"
        " word (by which words are ordered)",
        "turn_actions",
        "apply_actions entry_versions turn_candidates",
    ),
    "candidates": _stage(
        "words of a turn that may be the last on their entry",
        "entry_versions turn_candidates",
        "tap_clock_offsets",
    ),
    "overtaken": _stage("action, has_outcome: words that a later one makes idle", "apply_actions"),
    "decided": _stage("words that the principal decides on", "device_decisions"),
    "to_go_back": _stage(
        "entries that a device changed, with what they were", "changes_to_go_back", "device_decisions"
    ),
    "to_leave_out": _stage(
        "action: words of a device that are not settled, or wait for the principal", "device_decisions"
    ),
}
"""By name. Besides, `read_` with the name of a column holds what each text of it means (see `cells`)."""
