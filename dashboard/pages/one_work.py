"""One work: where its hours went line by line, why, on which entries it rests, and its calendar."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard import correcting, fields, frame, held, prices, promise_sentences, reading, statement, tables
from dashboard.analysis.calendar import days_of_treatment, stretches
from dashboard.analysis.overruns import by_object, by_phase, compare, main_cause, summed, totals
from dashboard.charts import compared, treatment_calendar
from dashboard.giving import as_csv_text
from dashboard.sentences import ROUNDED, forgotten_parts, most_over, most_under, read_out, said_beside, state_of_work
from dashboard.shown import as_shown
from dashboard.words import amount, counted, day, hours, plain, signed_hours, text
from ingest.history import utc_now
from ingest.notation import day_in_words

SHOWN_ENTRIES = 40


def body() -> None:
    as_of = held.today()
    works = held.works(as_of)
    if works.empty and not held.is_principal():
        st.write("There is no work yet. As soon as there are works with hours, this page shows where those went.")
        return
    if works.empty:
        st.write("There is no work yet. Add the first one by hand, or bring in a file of objects.")
        with st.container(horizontal=True):
            if st.button("Add a work", type="primary"):
                st.switch_page("pages/works.py", query_params={"add": "work", **held.same_studio()})
            frame.invite_to_invented()
        return
    code = fields.choose_work(works["object"].tolist(), dict(zip(works["object"], works["title"].fillna(""), strict=True)) if held.is_principal() else {})
    if code is None:
        st.write(f"Choose one of {counted(len(works), 'work')}: those on the bench stand first.")
        return
    work = works[works["object"] == code].iloc[0]
    lines = held.overruns(as_of)
    lines = lines[lines["object"] == code].reset_index(drop=True)
    entries = reading.entries(held.store().cursor(), as_of, code)
    sums = by_object(lines)
    frame.say([state_of_work(work, sums.iloc[0] if len(sums) else None, as_of, utc_now())])
    if held.is_principal():
        _ways_on(code, finished=len(lines) > 0 and bool(lines["finished"].all()))
    if lines.empty:
        st.write(_why_no_lines(bool(work["versions"]), text(work["outcome"])))
        return
    _hours(lines)
    if held.is_principal():
        frame.say(_held_otherwise(code, sums.iloc[0], as_of))
    _lines(lines)
    _estimates(code, lines)
    _found(lines, entries)
    _apart(lines)
    _calendar(entries)
    _entries(code, entries)
    _statement(code, as_of)


def _held_otherwise(code: str, sums: pd.Series, as_of: date) -> list[str]:
    """Why another page shows another difference of this work, where it does."""
    con = held.store().cursor()
    approved, began = (one[one["object"] == code] for one in (reading.approved_promises(con, as_of), reading.promises(con, as_of)))
    return promise_sentences.held_otherwise(
        sums, approved.iloc[0] if len(approved) else None, began.iloc[0] if len(began) else None, finished=pd.notna(sums["lines_finished_on"])
    )


def _ways_on(code: str, *, finished: bool) -> None:
    with st.container(horizontal=True):
        st.page_link("pages/estimate.py", label="Its estimate", query_params={"object": code, **held.same_studio()})
        st.page_link("pages/works.py", label="Edit the work, set a milestone", query_params={"object": code, **held.same_studio()})
        if not finished:
            st.page_link("pages/on_the_bench.py", label="Where it will end", query_params={"object": code, **held.same_studio()})
        if finished:
            st.page_link("pages/promised_and_kept.py", label="What it taught", query_params={"object": code, **held.same_studio()})


def _why_no_lines(estimated: bool, outcome: str) -> str:
    if outcome:
        return f"Its estimate was {outcome}, so nothing is held against it{': quote it anew under Estimate' if held.is_principal() else ''}."
    if not held.is_principal():
        return "No line of it is approved or logged yet; its lines stand here then."
    if estimated:
        return "Its estimate has options, and none is approved yet: note under Estimate which one the owner took, and its lines stand here."
    return "Nothing is estimated or logged on it yet. Write its estimate, or bring in logs; its lines stand here then."


def _hours(lines: pd.DataFrame) -> None:
    comparison = compare(lines)
    touched = pd.concat([comparison.finished, comparison.open])
    if touched.empty:
        estimated = bool(lines["yardstick"].ne("none").any())
        st.write(f"It has no estimate{' in hours' if estimated else ''}: these are its hours, and there is nothing to hold them against.")
        frame.say(said_beside(comparison) if estimated else [])
        return
    phases = summed(touched, ["position", "phase"]).sort_values("position", ignore_index=True)
    st.html(tables.figures(_four_figures(phases)))
    st.header("Its phases")
    so_far = "" if comparison.open.empty else " so far; what is not used yet is no saving"
    frame.say([f"The pale bar ending in a tick is what was estimated, the narrow bar what it took{so_far}."])
    st.altair_chart(compared.estimated_against_actual(phases, "phase"), width="stretch", theme=None, alt=read_out(phases, "phase"))
    finished = by_phase(comparison)
    if len(finished):
        st.write(plain(f"{most_over(finished)} {most_under(finished)}"))
    frame.say(said_beside(comparison))


def _four_figures(phases: pd.DataFrame) -> list[tuple[str, str, bool]]:
    """Estimated, actual, difference, and of a finished work the main cause; of an open one what is not used yet: actual = estimated + difference − not used yet."""
    sums = as_shown(totals(phases))
    over = sums["difference_hours"] >= 0.05
    difference = f"{signed_hours(sums['difference_hours'])} h"
    if phases["open_lines"].sum():
        return [
            ("estimated", f"{hours(sums['estimated_hours'])} h", False), ("actual so far", f"{hours(sums['actual_hours'])} h", False),
            ("difference, on lines finished or over already", difference, over), ("not used yet on open lines", f"{hours(sums['unused_hours'])} h", False),
        ]  # fmt: skip
    words, part = main_cause(sums)
    last = (f"what {'added' if part > 0 else 'saved'} most: {words}", f"{signed_hours(part)} h", over)
    return [
        ("estimated", f"{hours(sums['estimated_hours'])} h", False), ("actual", f"{hours(sums['actual_hours'])} h", False), ("difference", difference, over),
        *([last] if abs(part) >= 0.05 else []),
    ]  # fmt: skip


def _lines(lines: pd.DataFrame) -> None:
    st.header("Its lines")
    shown = lines[(lines["yardstick"] == "none") | lines["estimated_hours"].notna() | (lines["actual_hours"] > 0) | lines["difference_hours"].isna()]
    rows: list[list[str] | str] = []
    for phase, inside in shown.groupby("phase", sort=False):
        rows.append(str(phase))
        rows += [[_joined(row["technique"], row["part"]), *tables.sum_cells(row), _quantities(row), _how_far(row)] for row in inside.to_dict("records")]
    st.html(tables.ledger("Lines of this work", ["line", *tables.SUM_HEADS, "quantity, estimated → actual", "how far"], rows, words=(0, 9)))
    if lines["yardstick"].ne("none").any():
        frame.say(["The four parts of each difference sum to it. An open line is never shown as a saving.", ROUNDED])


def _how_far(row: tables.Row) -> str:
    if row["finished"]:
        return "finished"
    done = row["done"]
    return f"{done:.0f} % done" if isinstance(done, float) and pd.notna(done) else "open" if row["entries"] else "not begun"


def _quantities(row: tables.Row) -> str:
    told = [amount(row[name], row["unit"]) for name in ("estimated_quantity", "actual_quantity")]
    return " → ".join(one or "?" for one in told) + (" (incomplete)" if row["quantity_incomplete"] else "") if any(told) else ""


def _estimates(code: str, lines: pd.DataFrame) -> None:
    st.header("First approved against latest")
    versions = reading.versions(held.store().cursor(), code)
    if versions.empty:
        st.write("No estimate yet.")
        return
    st.html(tables.versions(versions, prices.of_versions(versions, held.settings()) if held.is_principal() else None))
    frame.say(promise_sentences.apart(versions))
    first, latest = lines["first_approved_hours"], lines["estimated_hours"]
    if lines["yardstick"].iloc[0] != "approved":
        frame.say(["No version is approved: the latest made is the yardstick."])
    elif versions.loc[versions["approved_on"].notna(), "version"].nunique() < 2:
        frame.say(["One version is approved, so first and latest are the same."])
    else:
        moved = lines[(first.fillna(0) - latest.fillna(0)).abs() >= 0.05]
        frame.say([f"First approved {hours(first.sum())} h, latest approved {hours(latest.sum())} h; {counted(len(moved), 'line')} changed."])
        rows = [
            [row["phase"], row["technique"], row["part"], hours(row["first_approved_hours"]), hours(row["estimated_hours"]), hours(row["actual_hours"])]
            for row in moved.to_dict("records")
        ]
        if rows:
            st.html(tables.ledger("Lines that changed", ["phase", "technique", "part", "first approved, h", "latest, h", "actual, h"], rows, words=range(3)))


def _found(lines: pd.DataFrame, entries: pd.DataFrame) -> None:
    st.header("Found on the way")
    unforeseen = lines[(lines["unforeseen_hours"] > 0) & (lines["yardstick"] != "none")]
    noted = entries[entries["discovery"].fillna(False).astype(bool)]
    if unforeseen.empty and noted.empty:
        nothing_said = lines["yardstick"].eq("none").all()
        st.write("It has no estimate that could have foreseen anything." if nothing_said else "Nothing that the estimate did not foresee.")
        return
    rows = [[row["phase"], row["technique"], row["part"], hours(row["unforeseen_hours"])] for row in unforeseen.to_dict("records")]
    if rows:
        st.html(tables.ledger("Lines in no estimate", ["phase", "technique", "part", "hours in no estimate"], rows, words=range(3)))
    frame.say(forgotten_parts(lines))
    told = ["technique", "note"] if held.is_principal() else ["technique"]  # a note may name somebody
    frame.say([f"{day(row['day'])}: noted as found, {_joined(*(row[name] for name in told))}." for row in noted.to_dict("records")])


def _joined(*words: object) -> str:
    """What is said of some words, with commas."""
    return ", ".join(word for word in words if isinstance(word, str) and word)


def _apart(lines: pd.DataFrame) -> None:
    apart = lines[(lines["extra_hours"] > 0) | (lines["own_cost_hours"] > 0)]
    if apart.empty:
        return
    st.header("Apart from all this")
    rows = [[row["phase"], row["technique"], row["part"], hours(row["extra_hours"]), hours(row["own_cost_hours"])] for row in apart.to_dict("records")]
    st.html(tables.ledger("Hours apart", ["phase", "technique", "part", "extra, h", "own cost, h"], rows, words=range(3)))
    frame.say(["Extra was agreed and is charged on top; own cost is the studio's. Neither is an overrun."])


def _calendar(entries: pd.DataFrame) -> None:
    if entries.empty:
        return
    st.header("Its calendar")
    days = days_of_treatment(entries)
    waits = stretches(entries)
    waiting = (
        f"; a bar at the foot of a day is waiting ({counted(len(waits), 'unattended stretch', 'unattended stretches')}: elapsed time, no hours)"
        if len(waits)
        else ""
    )
    frame.say([
        f"Hours of each day, {hours(days['hours'].sum())} h on {counted(int((days['hours'] > 0).sum()), 'day')}{waiting}. Weeks with {'neither' if len(waits) else 'none'} are left out."
    ])  # fmt: skip
    first, last = days["day"].iloc[0], days["day"].iloc[-1]
    st.altair_chart(
        treatment_calendar.calendar(days),
        width="stretch",
        theme=None,
        alt=f"Calendar of the treatment from the week of {day(first)} to that of {day(last)}; the same days stand in the entries below.",
    )
    if len(waits):
        with st.expander("The unattended stretches"):
            rows = [[day(row["day"]), row["technique"], row["part"], f"{row['hours'] / 24:,.1f}"] for row in waits.to_dict("records")]
            st.html(tables.ledger("Unattended stretches", ["from", "technique", "part", "days elapsed"], rows, words=range(3)))


def _entries(code: str, entries: pd.DataFrame) -> None:
    st.header("The entries it rests on")
    if entries.empty:
        st.write("No hours are logged on it yet.")
    else:
        shown = entries.iloc[::-1]
        if len(shown) > SHOWN_ENTRIES and not st.toggle(f"Show all {len(shown):,} entries", key="all_entries"):
            shown = shown.head(SHOWN_ENTRIES)
        all_told = held.is_principal()
        heads = ["day", "technique", "hours", "quantity", "done, %", *(["person"] if all_told else []), "note"]
        rows = [_entry_cells(row, all_told=all_told) for row in shown.to_dict("records")]
        st.html(tables.ledger("Time entries, the latest first", heads, rows, words=(0, 1, *range(5, len(heads)))))
    if held.is_principal():
        correcting.place(code, entries)


def _entry_cells(row: tables.Row, *, all_told: bool) -> list[str]:
    """The cells of an entry; without its person and what was noted, for who sees no people."""
    about = [
        "" if row["charge"] == "quoted" else str(row["charge"]).replace("_", " "),
        "" if row["mode"] == "hands_on" else str(row["mode"]),
        "found on the way" if row["discovery"] is True else "",
        f"corrected {row['corrected']}×" if row["corrected"] else "",
        text(row["note"]) if all_told else "",
    ]
    spent = hours(row["counted_hours"]) if row["mode"] != "unattended" else f"({hours(row['hours'])} elapsed)"
    done: str = f"{row['done']:.0f}" if pd.notna(row["done"]) else ""
    quantity = amount(row["quantity"], row["unit"])
    whose = [str(row["person"])] if all_told else []
    return [day_in_words(row["day"], "%b"), _joined(row["technique"], row["part"]), spent, quantity, done, *whose, "; ".join(filter(None, about))]


def _statement(code: str, as_of: date) -> None:
    st.header("Treatment statement")
    frame.say(["Its dated hours, for the treatment report: the work by its code, no person and no owner named."])
    with_notes = held.is_principal() and st.checkbox("With the notes of the entries", help="Read them first: a note may name somebody.")
    con = held.store().cursor()
    dated = reading.dated_hours(con, as_of, code)
    dated = dated if with_notes else dated.drop(columns="note")
    page = statement.as_page(code, held.settings().studio, as_of, reading.area_dm2(con, code), dated, with_notes=with_notes)
    with st.container(horizontal=True):
        st.download_button("Statement to print", page, f"{code}-hours.html", "text/html", on_click="ignore")
        st.download_button("Statement as CSV", as_csv_text(dated.drop(columns="position")), f"{code}-hours.csv", "text/csv", on_click="ignore")


frame.show("One work", body)
