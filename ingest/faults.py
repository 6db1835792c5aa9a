"""Faults of cells and rows, by code: their sentences are made here and nowhere else.

A fault travels as its code and its details, texts and numbers as JSON carries them; the words are looked up
where somebody reads it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True, slots=True)
class Wording:
    """Templates (`str.format`) of a fault's sentences; their fields are its details.

    Attributes
    ----------
    reason : follows the value that has the fault, without a full stop.
    mend : what to do next, in sentences.
    """

    reason: str
    mend: str


def sentence(code: str, details: Mapping[str, object]) -> tuple[str, str]:
    """Reason and mend of a fault; raises `KeyError` on an unknown code or where a detail is missing. Details
    are put in as they are, braces and all.
    """
    wording = WORDINGS[code]
    return wording.reason.format_map(details), wording.mend.format_map(details)


def worded(faults: pd.DataFrame) -> pd.DataFrame:
    """The frame of faults (`code`, `details` as JSON) with their sentences, `reason` and `mend`."""
    sentences = {
        pair: sentence(pair[0], json.loads(pair[1]))
        for pair in set(zip(faults["code"], faults["details"], strict=True))
    }
    pairs = [sentences[pair] for pair in zip(faults["code"], faults["details"], strict=True)]
    return faults.assign(reason=[reason for reason, _ in pairs], mend=[mend for _, mend in pairs])


_OTHERS_LOG_ELSEWHERE = "This device logs for {person}; others log on theirs, or on the studio's pages."
_PRINCIPAL_DECIDES = "Nothing is lost: the principal takes it in, or leaves it out, under Bring in logs."
_NEAR = 'Did you mean "{near}"?'
_WHOLE_AGAIN = "a version comes in whole, so bring in all its rows again."
_STILL_USED = "Kept; take it back into use if it still is."
_LINE_NEVER_LESS = "A line does not become less done: mend the wrong one, or leave it empty."
_OFFSET_BEHIND = "Write the offset behind it, like +01:00, if it was the "
_KEEP_ONE = "Keep one of the two lines."
_EXPORTED = "Leave the files of an export as they are, or write it again."

WORDINGS: dict[str, Wording] = {
    # --- numbers, hours, days, times and sizes as they are written
    "not_a_number": Wording(
        "is not a number", "Write it like 12.5 or 12,5, without marks between thousands."
    ),
    "number_too_large": Wording("is not a number of any use", "Write it like 12.5 or 12,5."),
    "thousands_or_decimals": Wording("may be {thousands} or {fraction:g}", "Write {thousands} or {written}."),
    "not_a_whole_number": Wording("is not a whole number", "Write it like 2."),
    "not_hours": Wording("cannot be read as hours", "Write it like 1.5, 1:30, 1h30, 90 min or PT1H30M."),
    "day_or_month_first": Wording(
        "may be day first or month first",
        "Write it as year-month-day, or say once, under Studio, in which order this studio writes its dates.",
    ),
    "not_a_day": Wording("is not a day", "Write it as year-month-day, like 1999-12-31."),
    "not_in_the_calendar": Wording(
        "is no day of the calendar", "See the day and the month, and their order."
    ),
    "not_of_this_time": Wording(
        "is not a day of this time", "Write the year in four figures, like 2025-04-03."
    ),
    "not_a_day_with_time": Wording("is not a day with a time", "Write it like 2025-04-03 14:30."),
    "not_a_time": Wording("is not a time of day", "Write it like 14:30."),
    "neither_yes_nor_no": Wording("is neither yes nor no", "Write yes or no, or leave it empty."),
    "not_per_cent": Wording("is not between 0 and 100", "Write how far the line is, in per cent."),
    "not_a_currency": Wording("is not a currency of ISO 4217", "Write its three letters, like EUR or GBP."),
    "not_a_size": Wording("is not a size", "Write height and width, like 60 × 80 or 24 × 36 in."),
    # --- cells, as their column reads them
    "empty": Wording("is empty", "Fill it in."),
    "nul_byte": Wording("has a NUL byte in it", "Type the row again; the file may be damaged."),
    "unknown_object": Wording("is not a known object", "Add it first: under Works, or with an objects file."),
    "unknown_object_near": Wording("is not a known object", _NEAR),
    "unknown_phase": Wording("is not a known phase", "Add it first: under Studio, or with a phases file."),
    "unknown_phase_near": Wording("is not a known phase", _NEAR),
    "unknown_technique": Wording(
        "is not a known technique", "Add it first: under Studio, or with a techniques file."
    ),
    "unknown_technique_near": Wording("is not a known technique", _NEAR),
    "technique_in_doubt": Wording(
        "is taken for {technique}", "Kept; if {others} was meant, write its whole name."
    ),
    "not_one_of": Wording("is not a {kind}", "Write {choices}."),
    "out_of_range": Wording("cannot be", "Write a number of {unit} from {low:,.0f} to {high:,.0f}."),
    "not_above_zero": Wording("cannot be", "Write a number of {unit} above 0, at most {high:,.0f}."),
    "amount_out_of_range": Wording("cannot be", "Write a number of the currency from 0 to 1,000,000,000."),
    "whole_out_of_range": Wording("cannot be", "Write a whole number from {low} to {high}."),
    # --- cells of tables in other words than ours
    "meaning_not_given": Wording(
        "means nothing yet", "Say under Bring in logs what it means, then bring the file in again."
    ),
    "not_a_weekday": Wording("is not a day of the week", "Write it like Mon or Monday."),
    "not_from_to": Wording("is not a time from and to", "Write it like 9:00–12:30."),
    # --- works from memory
    "hours_against_phases": Wording(
        "does not agree with its phases, which come to {hours:g}",
        "Leave it empty, or mend the hours of the phases.",
    ),
    "kind_read_as": Wording("is read as {kinds}, wherever it stands", "Write more of it for another."),
    "kind_of_several": Wording("may be {kinds}", "Write more of it."),
    # --- one spell over several works
    "not_of_several_works": Wording(
        "cannot be said of several works at once",
        "Leave it empty, and say it of each work by correcting its entry.",
    ),
    "work_named_twice": Wording("names a work twice", "Name each work once."),
    "no_size_to_share_by": Wording(
        "has no size to share by",
        "Share it out equally or by shares of your own, or give the work its size under Works.",
    ),
    "not_a_share": Wording(
        "is no share", "Write a number above 0, like 1 or 2.5; a work without a share is left out."
    ),
    "times_or_hours_missing": Wording("is empty", "Give both times, or hours."),
    "never_on_the_clock_shared": Wording(
        "never was on the clock: it was put forward over this hour", "Write the time that the clock showed."
    ),
    # --- words of phones
    "not_whom_device_logs_for": Wording("is not whom this device logs for", _OTHERS_LOG_ELSEWHERE),
    "entry_of_somebody_else": Wording("says an entry of somebody else", _OTHERS_LOG_ELSEWHERE),
    "held_back_too_old": Wording(
        "it waits for the principal, as the entry lies more than {days} days back", _PRINCIPAL_DECIDES
    ),
    "held_back_made_elsewhere": Wording(
        "it waits for the principal, as several share this device and the entry was not made on it",
        _PRINCIPAL_DECIDES,
    ),
    "held_back_too_many": Wording(
        "it waits for the principal, as this device changed {most} other entries within a day",
        _PRINCIPAL_DECIDES,
    ),
    "left_out_by_principal": Wording(
        "the principal left it out", "Ask why, and say it anew if that is needed."
    ),
    # --- time entries
    "end_missing": Wording("is empty, but started_at is given", "Give both, or a date and hours."),
    "start_missing": Wording("is empty, but ended_at is given", "Give both, or a date and hours."),
    "day_missing": Wording("is empty", "Give the day of these hours."),
    "hours_missing": Wording("is empty", "Give the hours of this day."),
    "day_and_hours_missing": Wording(
        "is empty, and so are date and hours", "Give started_at and ended_at, or date and hours."
    ),
    "never_on_the_clock": Wording(
        "never was on the clock: it was put forward over this hour",
        "Write the time that the clock showed, or the offset behind it.",
    ),
    "end_not_after_start": Wording(
        "is not after the start", "If the spell ran past midnight, write the next day."
    ),
    "hours_against_clock": Wording(
        "does not agree with the clock, which says {clock_hours}",
        "Leave hours empty, or leave the clock times empty.",
    ),
    "not_the_day_of_the_start": Wording("is not the day on which the spell began", "Leave date empty."),
    "spell_too_long": Wording(
        "is more than 16 hours in one spell",
        "Split it into days, give the mode unattended if nobody stood by, or write yes under total if these"
        " are the hours of several days.",
    ),
    "total_with_clock": Wording(
        "is given, but so are clock times, which are of one spell",
        "Give date and hours in their place, or leave total empty.",
    ),
    "period_of_one_spell": Wording(
        "is no day, and total says that these are the hours of one",
        "Give the day, or leave total empty: hours of a month or a year are a total.",
    ),
    "entry_in_future": Wording("lies in the future", "Log it when it is done."),
    "object_missing": Wording(
        "is empty, but {phase} is work on an object", "Give the object, or take a phase of studio time."
    ),
    "object_and_phase_missing": Wording(
        "is empty, and so are phase and technique", "Give the object, or a phase of studio time."
    ),
    "other_unit": Wording(
        "is not the unit of {technique}, which is counted in {unit}",
        "Convert the quantity, or leave both empty.",
    ),
    "not_measured": Wording(
        "is given, but {technique} is not measured",
        "Leave quantity and unit empty, or give the technique a unit.",
    ),
    "whole_not_measured": Wording(
        "is given, but no technique: a phase as a whole is not measured",
        "Leave quantity and unit empty, or give the technique.",
    ),
    "part_of_no_phase": Wording(
        "is a part, and no phase is given", "Give the phase, or leave part empty for the work as a whole."
    ),
    "not_whole_pieces": Wording(
        "is not a whole number of pieces", "Count whole pieces; leave it empty until a piece is finished."
    ),
    "done_falls": Wording("is less than {earlier}, which the line had reached before", _LINE_NEVER_LESS),
    "done_above_later": Wording("is more than {later}, which is held for a later day", _LINE_NEVER_LESS),
    "entry_named_twice": Wording(
        "stands already in this file with other contents", "Give each entry its own name."
    ),
    "start_on_clock_twice": Wording(
        "was on the clock twice (it was put back); taken as the first time", f"{_OFFSET_BEHIND}second."
    ),
    "end_on_clock_twice": Wording(
        "was on the clock twice (it was put back); taken as the first time after the start",
        f"{_OFFSET_BEHIND}other.",
    ),
    "long_unattended": Wording("is more than 60 days unattended", "Kept; see that the end is right."),
    "retired_word": Wording("was retired from the vocabulary on {retired_on}", _STILL_USED),
    "spells_overlap": Wording(
        "overlaps another hands-on spell of {person}",
        "Both are kept and both count; see that the times are right.",
    ),
    "another_part": Wording(
        "leaves it on no line of the estimate of {object}, which has {technique} {parts}",
        "Kept, and counted as found on the way; if it is that work, give it that part.",
    ),
    "long_day": Wording("has {hours} hours of {person}", "Kept; see that the day is right."),
    # --- estimates
    "hours_and_quantity_missing": Wording(
        "is empty, and so is quantity", "A line needs hours or a quantity."
    ),
    "approved_before_made": Wording("is before the estimate was made", "Mend one of the two days."),
    "low_above_high": Wording("is more than high_hours", "Turn the two round."),
    "hours_outside_range": Wording("is outside low_hours to high_hours", "Mend one of the three."),
    "other_unit_estimated": Wording(
        "is not the unit of {technique}, which is counted in {unit}", "Convert the quantity."
    ),
    "not_whole_pieces_estimated": Wording("is not a whole number of pieces", "Count whole pieces."),
    "version_disagrees": Wording(
        "differs from another row of the same version", "Give all rows of a version the same {column}."
    ),
    "approval_disagrees": Wording(
        "differs from another row of the same version", "A version is approved on one day."
    ),
    "two_options_approved": Wording(
        "is approved beside another option of the same version",
        "Give approved_on to the rows of the one option that was taken.",
    ),
    "version_may_lack_line": Wording(
        "may lack line {line}, which cannot be read", f"Mend that line; {_WHOLE_AGAIN}"
    ),
    "version_has_fault": Wording(
        "has a fault in another of its rows (line {line})", f"Mend that row; {_WHOLE_AGAIN}"
    ),
    "version_gap": Wording(
        "leaves a gap below version {version} of {object}",
        "Number versions 1, 2, 3 …; bring in the earlier ones first or with it.",
    ),
    "lines_summed": Wording(
        "stands {times} times in version {version} of {object}; the hours are summed",
        "Give each its own part if they are different work.",
    ),
    "no_option_approved": Wording(
        "says that version {version} of {object} was approved, but of no option",
        "Kept; only the rows without an option count. Give approved_on to the rows of the option that was"
        " taken.",
    ),
    "price_far_off": Wording(
        "is {hourly} {currency} an hour for {hours} h, and the studio's rate is {rate} {currency}",
        "See whether a digit, or a mark between thousands, went astray.",
    ),
    "version_approved": Wording(
        "of {object} was approved on {approved_on}, and this file says otherwise",
        "An approved version stays; bring the change in as a new version.",
    ),
    "version_ended": Wording(
        "is of version {version} of {object}, which was {outcome} on {ended_on}",
        "Say under Estimate that it stands after all, and bring the file in again.",
    ),
    "version_quoted": Wording(
        "of {object} was saved from a quote, and this file says otherwise",
        "A quote stays as it was given; bring the change in as a new version.",
    ),
    "version_stands_elsewhere": Wording(
        "came in before as version {version} of {object}, which stands",
        "A version that was approved, ended, quoted or followed by another is not moved: leave the rows as"
        " they were, or bring them in as a new version.",
    ),
    "version_loses_lines": Wording(
        "of {object} held {held} lines and now has {lines}",
        "The earlier version is kept in the history; bring in all rows of a version together.",
    ),
    # --- vocabulary: phases and techniques
    "phase_in_use": Wording(
        "would make {phase} work on an object; entries in it without an object: {entries}",
        "Leave it at 0, and add a phase of its own for work on objects.",
    ),
    "position_shared": Wording("is the position of {other} too", "Kept; they stand side by side."),
    "unit_in_use": Wording(
        "would change the unit of {technique} from {unit}; entries measured in it: {entries}, lines of"
        " estimates: {lines}",
        "Give the new way of measuring a technique of its own, and retire the old one.",
    ),
    "mode_stays": Wording(
        "cannot be left without one", "Kept as it is held; write another mode to change it."
    ),
    "aliases_stay": Wording(
        "are not taken away by a file", "Kept as they are held; take them away under Studio."
    ),
    "spelling_becomes_word": Wording(
        "is no spelling of {word} any more, but a {kind} of its own",
        "What was logged by it stays with {word}.",
    ),
    "phase_or_spelling": Wording(
        "is another spelling of {word}: is that meant, or a phase of its own",
        'To change {word}, write "{word}". A phase of its own needs another name.',
    ),
    "technique_or_spelling": Wording(
        "is another spelling of {word}: is that meant, or a technique of its own",
        'To change {word}, write "{word}". For a technique of its own, write "{written}" among its aliases'
        " too.",
    ),
    "technique_or_spelling_typed": Wording(
        "is another spelling of {word}: is that meant, or a technique of its own",
        'To change {word}, write "{word}". For a technique of its own, write "{written}" among its other'
        " spellings too.",
    ),
    "once_its_name": Wording(
        "was once the name of {word}, and this would change it",
        'To change it, write "{word}". A {kind} of its own needs another name, as old files mean {word} by'
        " this one.",
    ),
    # --- vocabulary and objects
    "key_repeated": Wording("stands already on an earlier line of this file with other contents", _KEEP_ONE),
    "said_before": Wording(
        "says what an earlier version said; the later one stays",
        "Change it in the studio's own record if the earlier was right.",
    ),
    # --- objects
    "unknown_returned_object": Wording(
        "is not a known object", "Bring that object in first, or leave it empty."
    ),
    "returned_from_itself": Wording(
        "is the object itself", "A work that returns is a new object with a code of its own."
    ),
    "finished_before_received": Wording("is before the work was received", "Mend one of the two days."),
    "finished_in_future": Wording(
        "lies in the future", "Give the day once it has come; what is planned is due_on."
    ),
    "finish_opens_line": Wording(
        "is before the last entry ({last_day}), which opens the line again",
        "Kept; set it to that day or later if the work is finished.",
    ),
    "finish_opens_lines": Wording(
        "is before the last entry ({last_day}), which opens {lines} lines again",
        "Kept; set it to that day or later if the work is finished.",
    ),
    # --- milestones
    "milestone_in_future": Wording("lies in the future", "Set it once it is reached."),
    "finishes_no_line_of_phase": Wording(
        "finishes nothing yet: no line of {object} is in {phase}",
        "Kept; see that phase, technique and part are those of the line.",
    ),
    "finishes_no_line": Wording(
        "finishes nothing yet: {object} has no line", "Kept; see that the work is the one that is meant."
    ),
    "finishes_no_line_of_technique": Wording(
        "finishes nothing yet: no line of {object} is in {phase} with {technique}",
        "Kept; see that phase, technique and part are those of the line.",
    ),
    "milestone_opens_line": Wording(
        "is before the last entry ({last_day}), which opens the line again",
        "Kept; set it on that day or later if that work is finished.",
    ),
    "milestone_opens_lines": Wording(
        "is before the last entry ({last_day}), which opens {lines} lines again",
        "Kept; set it on that day or later if that work is finished.",
    ),
    # --- record kept: what an export carries beside the six forms
    "not_as_exported": Wording("is not as it was written out ({type})", _EXPORTED),
    "exported_empty": Wording("is empty", _EXPORTED),
    "exported_day": Wording("is no day of these centuries", _EXPORTED),
    "exported_hours": Wording("is no number of hours", _EXPORTED),
    "exported_both_names": Wording("stands beside a technique, which has it by itself", _EXPORTED),
    "exported_rate": Wording("is no number of hours above 0", _EXPORTED),
    "exported_seconds": Wording("is no number of seconds", _EXPORTED),
    "exported_chance": Wording("is no chance in 100", _EXPORTED),
    "exported_count": Wording("is a count below 0", _EXPORTED),
    "exported_position": Wording("is not from 0 to 10,000", _EXPORTED),
    "exported_none_of": Wording("is none of {choices}", _EXPORTED),
    "exported_other_word": Wording("has another word than {choices}", _EXPORTED),
    "exported_shape": Wording("is not what such a row says", _EXPORTED),
    "kept_repeated": Wording("stands already on an earlier line of this file", _KEEP_ONE),
    "held_otherwise": Wording(
        "is held otherwise here", "What is held stays; change it on its page if this is right."
    ),
    "setting_held_otherwise": Wording(
        "is held otherwise here", "What is held stays; say it under Studio if this is right."
    ),
    "lacks_its_file": Wording(
        "is of something that is not held", "Bring in the {file} of the same export with it."
    ),
    "lacks_an_earlier_file": Wording(
        "is of something that is not held", "Bring in the {file} of the same export with it, or first."
    ),
    "name_taken": Wording("names something else here", "Rename one of the two under Studio first."),
    "name_repeated": Wording("names something else on an earlier line of this file", _KEEP_ONE),
    "demo_only": Wording("marks an invented studio, and this one is not", "Leave it out."),
    "setting_refused": Wording("{what}", "{mend}"),
    "entry_changed_since": Wording(
        "is of an entry that is not held, or was changed since",
        "Bring in the time entries of the same export with it.",
    ),
    # --- lines of a file that are no rows
    "one_cell": Wording(
        "has 1 cell where the header has {expected}", "Add the missing cells, empty ones too."
    ),
    "too_few_cells": Wording(
        "has {cells} cells where the header has {expected}", "Add the missing cells, empty ones too."
    ),
    "too_many_cells": Wording(
        "has {cells} cells where the header has {expected}",
        "Put a cell that has the separator in it in quotes.",
    ),
    "quote_not_closed": Wording(
        "has a quote that is opened and not closed as it should",
        'Close the quote; write a quote inside a cell twice ("").',
    ),
    "row_too_long": Wording("is too long to be a row", "A row has at most {most:,} bytes."),
    "line_too_long": Wording(
        "is {length:,} characters long", "A row has at most {most:,}: is it the right file?"
    ),
    "unreadable_line": Wording("cannot be read ({message})", "Save the file again as CSV in UTF-8."),
}
"""By code, grouped by the form that finds the fault; a fault of several forms stands with the first."""
