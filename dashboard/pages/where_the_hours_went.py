"""Where the hours went: estimated against actual by phase, why they differ, since when, and on which works."""

from __future__ import annotations

from datetime import date
from functools import partial

import pandas as pd
import streamlit as st

from dashboard import frame, held, reading, tables
from dashboard.analysis.choosing import choose, periods, share_of
from dashboard.analysis.overruns import CAUSES, Comparison, by_half_year, by_phase, by_technique, by_work, compare, open_summary, summed, totals
from dashboard.charts import compared
from dashboard.giving import as_csv_text
from dashboard.sentences import ROUNDED, most_over, most_under, read_out, said_beside
from dashboard.shown import as_shown
from dashboard.words import counted, hours, plain, signed_hours

MOST = 8
EVERYTHING = "everything"
STATES = {EVERYTHING: None, "finished": True, "on the bench": False}


def body() -> None:
    con = held.store().cursor()
    as_of = held.today()
    held_now = reading.holdings(con)
    if not held_now["entries"]:
        _nothing_yet(held_now)
        return
    frame.as_of(as_of)
    if held.is_principal():
        frame.to_be_decided()
    lines, said = _chosen(as_of)
    comparison = compare(lines)
    phases = by_phase(comparison)
    frame.say(said)
    if phases.empty:
        _only_open(comparison, lines)
        return
    _figures(comparison, phases)
    st.header("Estimated and actual hours by phase")
    frame.say([
        f"The pale bar ending in a tick is what was estimated, the narrow bar what it took. Finished lines of {counted(comparison.works, 'work')}. "
        "Choose a bar, or a phase below, to look into it."
    ])  # fmt: skip
    chart = compared.estimated_against_actual(phases, "phase", choosing=True)
    st.altair_chart(chart, width="stretch", theme=None, key="bars", on_select=_bar_chosen, selection_mode="chosen", alt=read_out(phases, "phase"))
    _one_phase(comparison, list(phases["phase"]))
    st.header("Why they differ")
    st.altair_chart(compared.causes(phases, "phase", CAUSES), width="stretch", theme=None, alt=_causes_read_out(phases))
    st.header("The figures")
    rows = [[row["phase"], f"{row['works']}", *tables.sum_cells(row)] for _, row in phases.iterrows()]
    rows.append(["all phases", f"{comparison.works}", *tables.sum_cells(totals(phases))])
    st.html(tables.ledger("Hours by phase", ["phase", "works", *tables.SUM_HEADS], rows, foot=True))
    frame.say([*said_beside(comparison), ROUNDED])
    halves = by_half_year(comparison)
    st.header("By half-year")
    frame.say(["Lines by the half-year in which they were finished."])
    st.altair_chart(compared.estimated_against_actual(halves, "half_year"), width="stretch", theme=None, alt=read_out(halves, "half_year"))
    works, techniques = by_work(comparison), by_technique(comparison)
    _most_over_works(works)
    _most_over_techniques(techniques)
    _as_csv({"phases": phases, "half-years": halves, "works": works, "techniques": techniques, "lines": lines.drop(columns="position")})
    frame.remember_backup()


def _only_open(comparison: Comparison, lines: pd.DataFrame) -> None:
    """Where nothing is finished: how far the lines under way have come."""
    st.write(
        "What is finished has no estimate in hours to be held against."
        if lines["finished"].any()
        else "No line of these is finished yet, so no difference can be told in full. "
        f"A line is finished by a milestone of its own or of its phase{' (set it under Works)' if held.is_principal() else ''}, or when its work is finished."
    )
    phases = summed(comparison.open, ["position", "phase"]).sort_values("position", ignore_index=True)
    if len(phases):
        st.header("So far, on lines still open")
        frame.say(["The pale bar ending in a tick is what was estimated, the narrow bar what it took so far. What is not used yet is no saving."])
        st.altair_chart(compared.estimated_against_actual(phases, "phase"), width="stretch", theme=None, alt=read_out(phases, "phase"))
    frame.say(said_beside(comparison))
    works = by_work(comparison)
    if len(works):
        _most_over_works(works, "Works with lines over already")
        _as_csv({"phases": phases, "works": works, "lines": lines.drop(columns="position")})
        frame.remember_backup()


def _chosen(as_of: date) -> tuple[pd.DataFrame, list[str]]:
    """The lines that the choices leave, and what must be said of the choice."""
    everything, works = held.overruns(as_of), held.works(as_of)
    known = periods(everything, as_of)
    kinds = sorted(works["kind"].fillna("").unique())
    people = reading.people(held.store().cursor())["person"].tolist() if held.is_principal() else []  # hours of a person are that person's and the principal's
    with st.container(horizontal=True, key="choices"):
        period = _choice("Period", "period", {name: one.words for name, one in known.items()}, "all the time")
        kind = _choice("Kind of work", "kind", {kind: kind or "kind not said" for kind in kinds}, "every kind")
        state = st.selectbox("Works", list(STATES), key="works", bind="query-params", width=170)
        person = _choice("Worked on by", "person", {name: name for name in people}, "anybody") if people else None
    person_hours = reading.person_hours(held.store().cursor(), as_of, person) if person else None
    lines = choose(everything, works, period=known[period] if period else None, kind=kind, finished=STATES[state], person_hours=person_hours)
    said = []
    if period:
        said.append("A finished line belongs to the day on which it was finished, an open one to that of its last entry.")
    if person_hours is not None:
        said.append(
            f"Lines on which {person} has worked, each with all its hours and its whole estimate: {hours(share_of(lines, person_hours))} h "
            f"of {hours(lines['actual_hours'].sum())} h are {person}'s. For that person and the principal."
        )
    return lines, said


def _choice(label: str, key: str, words: dict[str, str], otherwise: str) -> str | None:
    """One filter, kept in the address; None: not chosen."""
    said = st.selectbox(label, [EVERYTHING, *words], format_func=lambda one: words.get(one, otherwise), key=key, bind="query-params", width=200)
    return None if said == EVERYTHING else said


def _bar_chosen() -> None:
    points = st.session_state["bars"]["selection"].get("chosen", [])
    st.session_state["phase"] = points[0]["phase"] if points else EVERYTHING


def _one_phase(comparison: Comparison, phases: list[str]) -> None:
    """What is inside one phase: its techniques, and the works in which it ran over."""
    phase = st.selectbox(
        "Look into a phase", [EVERYTHING, *phases], format_func=lambda one: "none" if one == EVERYTHING else one, key="phase", bind="query-params"
    )
    if phase == EVERYTHING:
        return
    inside = comparison.finished[comparison.finished["phase"] == phase]
    techniques = summed(inside, ["technique"]).sort_values("difference_hours", ascending=False, ignore_index=True)
    st.subheader(plain(f"{phase}: techniques"))
    st.html(
        tables.ledger(
            f"Techniques of {phase}",
            ["technique", "works", *tables.SUM_HEADS],
            [[row["technique"], f"{row['works']}", *tables.sum_cells(row)] for _, row in techniques.iterrows()],
        )
    )
    lines = inside.sort_values("difference_hours", ascending=False).head(MOST * 2)
    st.subheader(plain(f"{phase}: lines, the most over first"))
    st.html(
        tables.ledger(
            f"Lines of {phase}",
            ["work", "technique", "part", *tables.SUM_HEADS],
            [[held.work_link(row["object"]), row["technique"], row["part"], *tables.sum_cells(row)] for _, row in lines.iterrows()],
            words=range(3),
        )
    )
    if len(inside) > len(lines):
        frame.say([f"{len(lines)} of {counted(len(inside), 'line')}; all of them are in the CSV of lines below."])


def _figures(comparison: Comparison, phases: pd.DataFrame) -> None:
    everything = as_shown(totals(phases))
    still = open_summary(comparison)
    st.html(
        tables.figures([
            ("estimated, finished lines", f"{hours(everything['estimated_hours'])} h", False),
            ("actual", f"{hours(everything['actual_hours'])} h", False),
            ("over the estimate" if everything["difference_hours"] >= 0 else "under the estimate", f"{signed_hours(everything['difference_hours'])} h", everything["difference_hours"] >= 0.05),
            (f"already over on {counted(int(still['lines']), 'open line')}", f"{signed_hours(still['over_hours'])} h", still["over_hours"] >= 0.05),
        ])
    )  # fmt: skip
    st.write(plain(f"{most_over(phases)} {most_under(phases)}"))


def _most_over_works(works: pd.DataFrame, head: str = "Works that ran over most") -> None:
    st.header(head)
    over = works[works["difference_hours"] >= 0.05].head(MOST)
    if over.empty:
        st.write("No work of these is over its estimate.")
        return
    rows: list[list[tables.Cell]] = [
        [held.work_link(row["object"]), f"{counted(int(row['open_lines']), 'line')} open" if row["open_lines"] else "finished", *tables.sum_cells(row), hours(as_shown(row)["unused_hours"])]
        for _, row in over.iterrows()
    ]  # fmt: skip
    st.html(tables.ledger(head, ["work", "lines", *tables.SUM_HEADS, "not used yet, h"], rows, words=range(2)))
    frame.say(
        ["The difference of finished lines, and of open lines what they are over so far: estimated, and difference, less what is not used yet, is the actual."]
    )


def _most_over_techniques(techniques: pd.DataFrame) -> None:
    st.header("Techniques that ran over most")
    over = techniques[techniques["difference_hours"] >= 0.05].head(MOST)
    if over.empty:
        st.write("No technique of these ran over its estimate.")
        return
    rows = [[row["technique"], f"{row['works']}", *tables.sum_cells(row)] for _, row in over.iterrows()]
    st.html(tables.ledger("Techniques that ran over most", ["technique", "works", *tables.SUM_HEADS], rows))


def _as_csv(frames: dict[str, pd.DataFrame]) -> None:
    st.header("All this as CSV")
    frame.say(["Hours unrounded, works by their code, no names of people or owners."])
    with st.container(horizontal=True):
        for name, content in frames.items():
            st.download_button(name.capitalize(), partial(_csv, content), f"{name}.csv", "text/csv", on_click="ignore")


def _csv(content: pd.DataFrame) -> str:
    days = {column: content[column].dt.strftime("%Y-%m-%d") for column in content.select_dtypes("datetime").columns}
    return as_csv_text(content.assign(**days))


def _causes_read_out(sums: pd.DataFrame) -> str:
    parts = [
        f"{row['phase']}: " + ", ".join(f"{words} {signed_hours(row[name])} h" for name, words in CAUSES.items())
        for row in map(as_shown, sums.to_dict("records"))
    ]
    return "Why actual and estimated hours differ. " + "; ".join(parts) + "."


def _nothing_yet(held_now: dict[str, int]) -> None:
    if not held.is_principal():
        st.write("Nothing is logged yet. As soon as there are hours, this page says where they went.")
        return
    st.write("Nothing is logged yet. Hours come in as CSV files: a file of time entries needs the columns object, phase, technique and person, and either "
             "started_at and ended_at or date and hours.")  # fmt: skip
    if held_now["objects"]:
        st.write(f"{counted(held_now['objects'], 'work')} and {counted(held_now['versions'], 'estimate')} are here already; the hours are what is missing.")
    else:
        st.write("Begin with the works on your bench (Works), or bring in all the files you have (Bring in logs).")
    with st.container(horizontal=True):
        if st.button("Bring in logs", type="primary"):
            st.switch_page("pages/bring_in_logs.py")
        if not held_now["objects"] and st.button("Add the first work"):
            st.switch_page("pages/works.py", query_params={"add": "work", **held.same_studio()})
        frame.invite_to_invented()


frame.show("Where the hours went", body)
