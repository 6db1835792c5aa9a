"""The temporary tables by which one stage of a check hands over to the next: their columns, who makes them, who reads them.

They belong to one connection and last until the next check in it. `ingest.check` is the order in which they are made; a test holds the tables and who makes and reads them against the code.
`row` counts the rows of what is checked from 0.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stage:
    """One temporary table or view: its columns, and the modules that make and read it."""

    columns: str
    made_by: tuple[str, ...]
    read_by: tuple[str, ...] = ()


STAGES = {
    # rows as text
    "raw_rows": Stage("c0 … as written; of typed rows also row, of a file also at_once_ and the name of a column", ("rows", "csv_files")),
    "raw": Stage("row, c0 … as written", ("rows", "csv_files"), ("check", "rejects")),
    "cells": Stage("row, c0 … as meant, emptied (columns that say that there is nothing)", ("rows", "csv_files"), ("cells", "kept", "estimates", "quotes")),
    "row_lines": Stage("row, line", ("rows",), ("check", "rejects", "entries", "estimates", "drafts", "quotes", "judging")),
    # rows as values, with what was found
    "checked": Stage("row, emptied, the columns of the form", ("cells",), ("entries", "entries_resolved", "estimates", "keyed", "quotes")),
    "resolved": Stage(
        "row, the columns of the form with what follows from them",
        ("entries_resolved", "estimates", "keyed", "kept"), ("entries", "people", "row_status", "drafts", "quotes", "judging"),
    ),
    "faults": Stage("row, column_name, code, details", ("cells",), ("entries", "estimates", "keyed", "kept", "row_status", "check", "rejects", "quotes")),
    "warnings": Stage("row, column_name, code, details", ("cells",), ("entries", "estimates", "keyed", "kept", "check", "quotes")),
    "row_status": Stage("row, status: rejected, already held, held back; none: it will be stored", ("row_status",)),
    "corrections": Stage("row, entry: the key of what is held and will be corrected", ("row_status",), ("entries", "estimates", "keyed", "kept")),
    # time entries
    "zone_days": Stage("day, ahead_before, ahead_after, change_from, change_to, is_gap", ("clock",), ("entries_resolved", "export_time_entries")),
    "repeated": Stage("content that several rows without a name say", ("entries",)),
    "repeats": Stage("row, content, rank among equal rows", ("entries",)),
    "adopted": Stage("row, entry, unnamed: the name of the held entry that it names", ("entries",)),
    "doubtful": Stage("row, content, rank, candidates, candidate, resembles", ("entries",)),
    "sittings": Stage("row, person, started_at, ended_at: hands-on spells, held and new", ("entries",)),
    "overlapping": Stage("person: hash of the name", ("entries",)),
    "spells_to_be": Stage("id, entry, person, day, started_at, ended_at, hours, counted_hours, mode: spells as they will be", ("entries",)),
    "touched": Stage("person, day", ("counting",), ("recount_hours", "entries")),
    "recounted": Stage("id, counted_hours", ("recount_hours",), ("counting", "entries", "integrity")),
    # estimates
    "versions": Stage("object, version, row, what the version says, lines, held_approved_on, known_in_price, known_per_cent", ("estimates",)),
    "compared": Stage("object, version, row, lines, held_lines, held_approved_on, approved, same_lines, same_approval, same_tax, agrees, content", ("estimates",)),
    # phases, techniques, objects
    "once_named": Stage("row, word", ("keyed",)),
    "claimed": Stage("spelling", ("keyed",)),
    "laid": Stage("row, key and columns of the table as they will be, said_before, unchanged", ("keyed",)),
    # what an export carries besides
    "of_file": Stage("row, the columns of the form, turn among equal keys", ("kept",)),
    "of_store": Stage("the columns of the form, turn among equal keys", ("kept",)),
    "replaced": Stage("id: row id of what a new studio was planted with and the file says otherwise", ("kept",)),
    "settings_to_be": Stage("row, setting, value", ("kept",)),
    # beside the check
    "asked": Stage("content, rank", ("corrections",)),
    "local_spells": Stage("time entries with their readings of the studio's clock", ("export",), ("export_time_entries",)),
    # what phones sent
    "turn": Stage("spell", ("turn",)),
    "words": Stage("action, entry, spell, device, role, received_at, clock_off, outcome, settled_at, decided, waiting, word (by which words are ordered)", ("turn",), ("settling",)),
    "candidates": Stage("words of a turn that may be the last on their entry", ("turn",)),
    "overtaken": Stage("action, has_outcome: words that a later one makes idle", ("settling",)),
    "decided": Stage("words that the principal decides on", ("decisions",)),
    "to_go_back": Stage("entries that a device changed, with what they were", ("decisions",)),
    "to_leave_out": Stage("action: words of a device that are not settled, or wait for the principal", ("decisions",)),
}  # fmt: skip
"""By name. Besides, `read_` with the name of a column: what each text of it means, made and joined by `cells`."""
