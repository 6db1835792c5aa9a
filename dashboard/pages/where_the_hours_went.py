"""Where the hours went: estimated against actual by phase, why they differ, when, and on which works."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard import queries
from dashboard.analysis.report.filters import choose, periods, share_of
from dashboard.analysis.report.overruns import (
    CAUSES,
    Comparison,
    by_half_year,
    by_phase,
    by_technique,
    by_work,
    compare,
    open_summary,
    summed,
    totals,
)
from dashboard.analysis.report.phase_names import overdue_works, promised_under_another
from dashboard.charts import overruns as overruns_chart
from dashboard.formatting import counted, hours, plain, signed_hours
from dashboard.text import html_blocks
from dashboard.text import remembered as remembered_text
from dashboard.text.overruns import (
    ROUNDED,
    alt_text,
    levels,
    most_over,
    most_under,
    named,
    remarks,
    two_names,
)
from dashboard.text.rounding import as_shown
from dashboard.ui import layout, page_data
from ingest.values.line_names import THE_WORK

MOST = 8
EVERYTHING = "everything"
STATES = {EVERYTHING: None, "finished": True, "on the bench": False}


def body() -> None:
    con = page_data.store().cursor()
    as_of = page_data.today()
    holdings = queries.holdings(con)
    if not holdings["entries"]:
        _nothing_yet(holdings)
        return
    layout.as_of(as_of)
    if page_data.is_principal():
        layout.link_to_decisions()
    lines, sentences = _chosen(as_of)
    comparison = compare(named(lines))
    phases = by_phase(comparison)
    layout.say(*sentences)
    if phases.empty:
        _only_open(comparison, lines, as_of)
        return
    _figures(comparison, phases)
    layout.section(
        "Estimated and actual hours by phase",
        "The pale bar ending in a tick is what was estimated, the narrow bar what it took. Finished"
        f" lines of {_works(comparison)}. Choose a bar, or a phase below, to look into it.",
    )
    chart = overruns_chart.estimated_against_actual(phases, "phase", choosing=True)
    layout.chart(chart, alt_text(phases, "phase"), key="bars", on_select=_bar_chosen, selection_mode="chosen")
    _phase_detail(comparison, list(phases["phase"]))
    st.header("Why they differ")
    layout.chart(overruns_chart.causes(phases, "phase", CAUSES), _causes_read_out(phases))
    st.header("The figures")
    rows = [[row["phase"], f"{row['works']}", *html_blocks.sum_cells(row)] for _, row in phases.iterrows()]
    rows.append(["all phases", f"{comparison.works}", *html_blocks.sum_cells(totals(phases))])
    layout.table("Hours by phase", ["phase", "works", *html_blocks.SUM_HEADS], rows, foot=True)
    layout.say(*levels(comparison.finished), *remarks(comparison), ROUNDED)
    _say_two_names(lines, as_of)
    halves = by_half_year(comparison)
    layout.section("By half-year", "Lines by the half-year in which they were finished.")
    layout.chart(overruns_chart.estimated_against_actual(halves, "half_year"), alt_text(halves, "half_year"))
    works, techniques = by_work(comparison), by_technique(comparison)
    _most_over_works(works)
    _most_over_techniques(techniques)
    _as_csv(
        {
            "phases": phases,
            "half-years": halves,
            "works": works,
            "techniques": techniques,
            "lines": lines.drop(columns="position"),
        }
    )
    layout.remind_of_backup()


def _works(comparison: Comparison) -> str:
    remembered = queries.remembered(page_data.store().cursor())
    return remembered_text.works_behind(
        comparison.works, len(remembered.intersection(comparison.finished["object"])), "work"
    )


def _only_open(comparison: Comparison, lines: pd.DataFrame, as_of: date) -> None:
    """Progress of lines under way, where nothing is finished."""
    st.write(
        "What is finished has no estimate in hours to be held against."
        if lines["finished"].any()
        else (
            "No line of these is finished yet, so no difference can be told in full. A line is finished by a"
            " milestone of its own or of its"
            " phase, or when its work is finished."
        )
    )
    if page_data.is_principal() and not lines["finished"].any():
        layout.link("works", "Set a milestone under Works")
    phases = summed(comparison.open, ["position", "phase"]).sort_values("position", ignore_index=True)
    if len(phases):
        layout.section(
            "So far, on lines still open",
            "The pale bar ending in a tick is what was estimated, the narrow bar what it took so far."
            " What is not used yet is no saving.",
        )
        layout.chart(overruns_chart.estimated_against_actual(phases, "phase"), alt_text(phases, "phase"))
    layout.say(*remarks(comparison))
    _say_two_names(lines, as_of)
    works = by_work(comparison)
    if len(works):
        _most_over_works(works, "Works with lines over already")
        _as_csv({"phases": phases, "works": works, "lines": lines.drop(columns="position")})
        layout.remind_of_backup()


def _say_two_names(lines: pd.DataFrame, as_of: date) -> None:
    """Of the works shown with all their lines, as what was promised may have been done in another period."""
    everything, works = page_data.overruns(as_of), page_data.works(as_of)
    of_works = everything[everything["object"].isin(set(lines["object"]))]
    pairs = promised_under_another(of_works, overdue_works(works, as_of))
    layout.say(*two_names(pairs, _titles()))


def _titles() -> dict[str, str]:
    """Titles of works by their codes; none on a device that sees works by their codes."""
    return page_data.titles(page_data.works(page_data.today())) if page_data.is_principal() else {}


def _work_heads(titles: dict[str, str]) -> list[str]:
    return ["work", "title"] if titles else ["work"]


def _work_cells(code: str, titles: dict[str, str]) -> list[html_blocks.Cell]:
    """A work in a row of a table, under those heads."""
    link = page_data.work_link(code)
    return [link, titles.get(code, "")] if titles else [link]


def _chosen(as_of: date) -> tuple[pd.DataFrame, list[str]]:
    """The lines that the filters leave, and sentences on the filters."""
    everything, works = page_data.overruns(as_of), page_data.works(as_of)
    known_periods = periods(everything, as_of)
    kinds = sorted(works["kind"].fillna("").unique())
    # hours of a person are that person's and the principal's
    people = queries.people(page_data.store().cursor())["person"].tolist() if page_data.is_principal() else []
    with st.container(horizontal=True, key="choices"):
        period = _choice(
            "Period", "period", {name: item.words for name, item in known_periods.items()}, "all the time"
        )
        kind = _choice(
            "Kind of work", "kind", {kind: kind or "kind not said" for kind in kinds}, "every kind"
        )
        state = st.selectbox("Works", list(STATES), key="works", bind="query-params", width=170)
        person = (
            _choice("Worked on by", "person", {name: name for name in people}, "anybody") if people else None
        )
        remembered = set(works.loc[works["remembered"].eq(True), "object"])
        if (
            remembered
            and st.selectbox(
                "Works from memory",
                ["counted", "left out"],
                key="from_memory",
                bind="query-params",
                width=170,
            )
            == "left out"
        ):
            everything = everything[~everything["object"].isin(remembered)]
    person_hours = queries.person_hours(page_data.store().cursor(), as_of, person) if person else None
    lines = choose(
        everything,
        works,
        period=known_periods[period] if period else None,
        kind=kind,
        finished=STATES[state],
        person_hours=person_hours,
    )
    sentences = [
        remembered_text.among(lines["object"].nunique(), len(remembered.intersection(lines["object"])))
    ]
    if period:
        sentences.append(
            "A finished line belongs to the day on which it was finished, an open one to that of its last"
            " entry."
        )
    if person_hours is not None:
        sentences.append(
            f"Lines on which {person} has worked, each with all its hours and its whole estimate:"
            f" {hours(share_of(lines, person_hours))} h of {hours(lines['actual_hours'].sum())} h are"
            f" {person}'s. For that person and the principal."
        )
    return lines, sentences


def _choice(label: str, key: str, words: dict[str, str], otherwise: str) -> str | None:
    """One filter, kept in the address; None: not chosen."""
    chosen = st.selectbox(
        label,
        [EVERYTHING, *words],
        format_func=lambda item: words.get(item, otherwise),
        key=key,
        bind="query-params",
        width=200,
    )
    return None if chosen == EVERYTHING else chosen


def _bar_chosen() -> None:
    points = st.session_state["bars"]["selection"].get("chosen", [])
    st.session_state["phase"] = points[0]["phase"] if points else EVERYTHING


def _phase_detail(comparison: Comparison, phases: list[str]) -> None:
    """The techniques of one phase, and its lines that ran over most."""
    phase = st.selectbox(
        "Look into a phase",
        [EVERYTHING, *phases],
        format_func=lambda item: "none" if item == EVERYTHING else item,
        key="phase",
        bind="query-params",
    )
    if phase == EVERYTHING:
        return
    inside = comparison.finished[comparison.finished["phase"] == phase]
    techniques = summed(inside, ["technique"]).sort_values(
        "difference_hours", ascending=False, ignore_index=True
    )
    if phase != THE_WORK:
        st.subheader(plain(f"{phase}: techniques"))
        layout.table(
            f"Techniques of {phase}",
            ["technique", "works", *html_blocks.SUM_HEADS],
            [
                [row["technique"], f"{row['works']}", *html_blocks.sum_cells(row)]
                for _, row in techniques.iterrows()
            ],
        )
    lines = inside.sort_values("difference_hours", ascending=False).head(MOST * 2)
    titles = _titles()
    work_heads = _work_heads(titles)
    st.subheader(plain(f"{phase}: lines, the most over first"))
    layout.table(
        f"Lines of {phase}",
        [*work_heads, "technique", "part", *html_blocks.SUM_HEADS],
        [
            [*_work_cells(row["object"], titles), row["technique"], row["part"], *html_blocks.sum_cells(row)]
            for _, row in lines.iterrows()
        ],
        words=range(len(work_heads) + 2),
    )
    if len(inside) > len(lines):
        layout.say(
            f"{len(lines)} of {counted(len(inside), 'line')}; all of them are in the CSV of lines below."
        )


def _figures(comparison: Comparison, phases: pd.DataFrame) -> None:
    everything = as_shown(totals(phases))
    still = open_summary(comparison)
    layout.figures(
        ("estimated, finished lines", f"{hours(everything['estimated_hours'])} h"),
        ("actual", f"{hours(everything['actual_hours'])} h"),
        (
            "over the estimate" if everything["difference_hours"] >= 0 else "under the estimate",
            f"{signed_hours(everything['difference_hours'])} h",
            everything["difference_hours"] >= 0.05,
        ),
        (
            f"already over on {counted(int(still['lines']), 'open line')}",
            f"{signed_hours(still['over_hours'])} h",
            still["over_hours"] >= 0.05,
        ),
    )
    st.write(plain(f"{most_over(phases)} {most_under(phases)}"))


def _most_over_works(works: pd.DataFrame, head: str = "Works that ran over most") -> None:
    st.header(head)
    over = works[works["difference_hours"] >= 0.05].head(MOST)
    if over.empty:
        st.write("No work of these is over its estimate.")
        return
    titles = _titles()
    work_heads = _work_heads(titles)
    rows: list[list[html_blocks.Cell]] = [
        [
            *_work_cells(row["object"], titles),
            f"{counted(int(row['open_lines']), 'line')} open" if row["open_lines"] else "finished",
            *html_blocks.sum_cells(row),
            hours(as_shown(row)["unused_hours"]),
        ]
        for _, row in over.iterrows()
    ]
    layout.table(
        head,
        [*work_heads, "lines", *html_blocks.SUM_HEADS, "not used yet, h"],
        rows,
        words=range(len(work_heads) + 1),
    )
    layout.say(
        "The difference of finished lines, and of open lines what they are over so far: estimated, and"
        " difference, less what is not used yet, is the actual."
    )


def _most_over_techniques(techniques: pd.DataFrame) -> None:
    st.header("Techniques that ran over most")
    over = techniques[techniques["difference_hours"] >= 0.05].head(MOST)
    if over.empty:
        st.write("No technique of these ran over its estimate.")
        return
    rows = [[row["technique"], f"{row['works']}", *html_blocks.sum_cells(row)] for _, row in over.iterrows()]
    layout.table("Techniques that ran over most", ["technique", "works", *html_blocks.SUM_HEADS], rows)


def _as_csv(frames: dict[str, pd.DataFrame]) -> None:
    layout.section("All this as CSV", "Hours unrounded, works by their code, no names of people or owners.")
    with st.container(horizontal=True):
        for name, content in frames.items():
            layout.download_frame(name.capitalize(), content, f"{name}.csv")


def _causes_read_out(sums: pd.DataFrame) -> str:
    parts = [
        f"{row['phase']}: "
        + ", ".join(f"{words} {signed_hours(row[name])} h" for name, words in CAUSES.items())
        for row in map(as_shown, sums.to_dict("records"))
    ]
    return "Why actual and estimated hours differ. " + "; ".join(parts) + "."


def _nothing_yet(holdings: dict[str, int]) -> None:
    if not page_data.is_principal():
        st.write("Nothing is logged yet. As soon as there are hours, this page says where they went.")
        return
    st.write(
        "Nothing is logged yet. Bring in what you have: a diary, a week sheet, any workbook, CSV file or"
        " calendar; log hours on the phone; or tell finished works from memory."
    )
    if holdings["objects"]:
        st.write(
            f"{counted(holdings['objects'], 'work')} and {counted(holdings['versions'], 'estimate')} are here"
            " already; the hours are what is missing."
        )
    else:
        st.write(
            "Begin with the works on your bench (Works), or bring in all the files you have (Bring in logs)."
            " Works that were finished before can be told from memory, and the first quotes rest on them."
        )
    with st.container(horizontal=True):
        if st.button("Bring in logs", type="primary"):
            st.switch_page("pages/bring_in_logs.py")
        if not holdings["objects"] and st.button("Add the first work"):
            layout.go_to("works", add="work")
        if st.button("Tell works from memory"):
            layout.go_to("works", add="from-memory")
        layout.invite_to_invented()


layout.show("Where the hours went", body)
