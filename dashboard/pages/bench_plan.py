"""Bench plan: when each work is ready, the queue, a new work, and the weeks ahead."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial

import pandas as pd
import streamlit as st

from dashboard.charts import plan as plan_chart
from dashboard.documents import plan_ical
from dashboard.formatting import counted, day, hours, plain, plain_weeks
from dashboard.services import plan_new_work
from dashboard.services.plan import COLUMNS, Plan
from dashboard.text import plan as plan_text
from dashboard.text.forecast import in_ten
from dashboard.ui import fields, layout, page_data, results
from ingest.errors import BenchHoursError
from ingest.studio.settings import write_settings
from ingest.values import absences
from ingest.values.absences import Absence

SHOWN, MOST_READ_OUT, WEEKS, MOST_OF_A_WEEK, MOST_HURTS = 12, 40, 12, 5, 6
_WORTH_TELLING_H = 0.5
_USUAL_HOURS, _USUAL_WAITING = "40", "0"


def body() -> None:
    plan = results.plan()
    layout.as_of(page_data.today())
    if plan.works.empty:
        _nothing(plan)
    else:
        _figures(plan)
        layout.say(plan_text.who(plan), *plan_text.apart(plan))
        _when_ready(plan)
        _queue(plan)
    _new_work(plan)
    _weeks(plan)
    _absences(plan)
    _take_along(plan)


def _nothing(plan: Plan) -> None:
    st.write(
        "No work with an estimate is on the bench. As soon as an estimate is approved, its work stands here:"
        " when it is ready, and what a new work would be promised for."
    )
    layout.say(plan_text.who(plan), *plan_text.apart(plan))
    layout.begin_at("To the works", "works")


def _figures(plan: Plan) -> None:
    late = plan.works["chance_late"] >= 0.5
    layout.figures(
        ("works in the plan", f"{len(plan.works)}"),
        ("works likely to be later than due", f"{int(late.sum())}", bool(late.any())),
        ("still to come, at even chance of each", f"{hours(plan.works['bench_p50'].sum())} h"),
        ("at the bench in an ordinary week", f"{hours(sum(item.weekly for item in plan.people))} h"),
    )


def _when_ready(plan: Plan) -> None:
    st.header("When they are ready")
    works = plan.works
    shown = works.head(SHOWN)
    labels = [
        f"{row['object']}: {row['leaves_p50']:%-d %b %Y}, 4 in 5 {row['leaves_p80']:%-d %b}"
        for row in shown.to_dict("records")
    ]
    more = f" {counted(len(works) - SHOWN, 'more work')} in the table." if len(works) > SHOWN else ""
    layout.say(
        "The line is when a work is ready 8 times in 10, the dot even chance; the upright tick is the"
        f" day it is due. In the order in which they are taken up.{more}"
    )
    layout.chart(
        plan_chart.ready(shown.assign(label=labels), pd.Timestamp(plan.first_day)),
        f"When works are ready: {'; '.join(labels[:MOST_READ_OUT])}.",
    )
    layout.table_of(
        "When works are ready",
        works,
        {
            "work": lambda row: page_data.bench_link(row["object"]),
            "ready, even chance": lambda row: f"{row['leaves_p50']:%-d %b %Y}",
            "due": lambda row: f"{row['due_on']:%-d %b %Y}" if pd.notna(row["due_on"]) else "–",
            "later than due": lambda row: in_ten(row["chance_late"]) if pd.notna(row["chance_late"]) else "–",
            "ready, 4 in 5": lambda row: f"{row['leaves_p80']:%-d %b %Y}",
            "to come, even chance, h": lambda row: hours(row["bench_p50"]),
            "4 in 5, h": lambda row: hours(row["bench_p80"]),
            "behind others": lambda row: plain_weeks(row["queue_days"]) if row["queue_days"] >= 1 else "–",
        },
        words=(0, 3),
    )
    layout.say(plan_text.HOW)


def _queue(plan: Plan) -> None:
    st.header("Where the queue hurts")
    hurts = plan_text.queue_hurts(plan)
    if hurts:
        layout.list_out(hurts[:MOST_HURTS])
        layout.say(
            f"And {counted(len(hurts) - MOST_HURTS, 'more work')}: see the table."
            if len(hurts) > MOST_HURTS
            else ""
        )
    else:
        st.write("Nowhere: no work is likely to be later than it is due.")
    codes = plan.works["object"].tolist()
    first = [code for code, by_hand in zip(codes, plan.works["first"], strict=True) if by_hand]
    shown_first = fields.remember_shown("put first", "put first", str(first))
    with st.form("put first"):
        chosen = st.multiselect(
            "Take up before all others, in this order",
            codes,
            default=first,
            key="put first",
            placeholder="No work",
        )
        if st.form_submit_button("Plan it so"):
            if shown_first != str(first):
                layout.refuse(
                    "Not changed: it was changed elsewhere since you opened it. Load the page again to see"
                    " how it is now."
                )
            else:
                _write_setting("put_first", "; ".join(chosen), "The plan follows that order.", "put first")


def _write_setting(
    setting: str, text: str, sentence: str, form: str, empty: Callable[[], None] = lambda: None
) -> None:
    """Change one setting, `empty` what was typed for it, and say so; or say why not."""
    try:
        with page_data.store().writing() as con:
            write_settings(con, {setting: text}, page_data.change("said on the bench plan"))
    except BenchHoursError as error:
        layout.refuse(f"Not done: {error}")
        return
    fields.forget_shown(form)
    empty()
    layout.done(sentence)


def _new_work(plan: Plan) -> None:
    st.header("What a new work would be promised for")
    with st.container(horizontal=True, key="choices"):
        hours_typed = st.text_input(
            plan_new_work.HOURS_OF_NEW,
            _USUAL_HOURS,
            key="new hours",
            help="As you write them: 40, 12.5, 1:30",
        )
        days_typed = st.text_input(plan_new_work.DAYS_OF_NEW, _USUAL_WAITING, key="new waiting")
    first = st.toggle("Taken up before all others", key="new first") if len(plan.works) else False
    try:
        hours_at_bench, days_alone = plan_new_work.read_new_work(hours_typed, days_typed)
        st.write(plain(plan_text.one_more(results.one_more(hours_at_bench, days_alone, first=first), first)))
    except BenchHoursError as error:
        layout.refuse(f"{error}")
    layout.say(
        plan_text.free_again(plan) if len(plan.works) else "",
        "Approved today. How far off its hours may be is as finished works were from their estimates;"
        " a quote of it says so more narrowly, from its own lines.",
    )
    layout.link("quote_a_work", "Quote a work")


def _weeks(plan: Plan) -> None:
    if plan.works.empty:
        return
    st.header("The weeks ahead")
    monday = pd.Timestamp(plan.first_day) - pd.Timedelta(days=plan.first_day.weekday())
    if not plan.days.loc[
        plan.days["day"] < monday + pd.Timedelta(weeks=1), "bench_hours"
    ].any():  # nothing of this week is left
        monday += pd.Timedelta(weeks=1)
    days = plan.days[(plan.days["day"] >= monday) & (plan.days["day"] < monday + pd.Timedelta(weeks=WEEKS))]
    ready = plan.works.groupby("leaves_p50")["object"].agg(", ".join)
    layout.say(
        "Hours that are planned for each day, on average over what may come: the darker, the more. A bar"
        " at the foot: something soaks, presses or dries alone. A dot: a work is ready, at even chance. A"
        " stroke: somebody is away."
    )
    layout.chart(
        plan_chart.weeks_ahead(days.assign(ready=days["day"].map(ready).fillna(""))),
        f"The next {WEEKS} weeks: {hours(days['hours'].sum())} h planned of"
        f" {hours(days['bench_hours'].sum())} h at the bench.",
    )
    _week_by_week(plan, monday, days)


def _week_by_week(plan: Plan, monday: pd.Timestamp, days: pd.DataFrame) -> None:
    week_of = days["day"] - pd.to_timedelta(days["day"].dt.day_of_week, "D")
    sums = days.groupby(week_of).agg(
        hours=("hours", "sum"),
        bench=("bench_hours", "sum"),
        away=("away", lambda those: ", ".join(dict.fromkeys(filter(None, those)))),
    )
    leaving = (
        plan.works.assign(
            week=plan.works["leaves_p50"] - pd.to_timedelta(plan.works["leaves_p50"].dt.day_of_week, "D")
        )
        .groupby("week")["object"]
        .agg(", ".join)
    )
    of_works = {str(week): inside for week, inside in plan.weeks.groupby("week")}
    rows = []
    for week, row in sums.iterrows():
        works = of_works.get(str(week), plan.weeks.head(0))
        rows.append(
            [
                f"{week:%-d %b %Y}",
                hours(row["bench"] - row["hours"]),
                leaving.get(week, "–"),
                ", ".join(
                    f"{row['object']} {hours(row['hours'])} h"
                    for row in works.head(MOST_OF_A_WEEK).to_dict("records")
                    if row["hours"] >= _WORTH_TELLING_H
                )
                or "–",
                ", ".join(row["object"] for row in works.to_dict("records") if row["waiting"] >= 0.5) or "–",
                hours(row["hours"]),
                row["away"] or "–",
            ]
        )
    layout.table(
        "The weeks ahead",
        ["week of", "free, h", "ready, even chance", "at the bench", "waits alone", "planned, h", "away"],
        rows,
        words=(0, 2, 3, 4, 6),
    )


def _absences(plan: Plan) -> None:
    st.header("Holidays and absences")
    every = absences.read_absences(page_data.settings().absences)
    people = [item.person for item in plan.people if item.person]
    if plan.absences:
        rows = [
            [day(absence.first), day(absence.last), absence.person or "the whole studio", absence.note]
            for absence in plan.absences
        ]
        layout.table(
            "Holidays and absences to come", ["first day", "last day", "who", "why"], rows, words=range(4)
        )
    else:
        st.write("None is said: the plan takes every week as an ordinary one, public holidays too.")
    turn = st.session_state.setdefault("absences added", 0)
    with st.form("absence"):
        with st.container(horizontal=True, key="choices absence", vertical_alignment="bottom"):
            first = fields.day_field("First day", key=f"absence first {turn}")
            last = fields.day_field("Last day (empty: the same)", key=f"absence last {turn}")
        person = (
            st.selectbox(
                "Who",
                ["", *people],
                format_func=lambda item: item or "the whole studio",
                key=f"absence person {turn}",
            )
            if people
            else ""
        )
        note = st.text_input("Why (may stay empty)", key=f"absence note {turn}")
        if st.form_submit_button("Add"):
            _add(every, first, last, person or "", note)
    if plan.absences:
        gone = st.selectbox(
            "Take one back",
            [absence.written for absence in plan.absences],
            index=None,
            placeholder="Choose one",
            key=f"absence gone {turn}",
        )
        if gone and st.button("Take it back"):
            _keep(
                [item for item in every if item.written != gone],
                "Taken back: the plan counts on those days again.",
            )
    layout.link("studio", "Hours at the bench of each person, days of the week", part="bench")


def _add(every: list[Absence], first: str, last: str, person: str, note: str) -> None:
    """Add an absence; `first` and `last` as they are typed, and an empty last day is the first."""
    try:
        first_day = fields.require_day("First day", first)
        last_day = fields.read_day("Last day", last) or first_day
        absence = absences.absence(first_day, last_day, person, " ".join(note.replace(";", ",").split()))
    except BenchHoursError as error:
        layout.refuse(f"Not added: {error} What you typed is still here.")
        return
    _keep(
        [*every, absence],
        f"{day(absence.first)} to {day(absence.last)}: {absence.person or 'the whole studio'} away. The plan"
        " keeps clear of it.",
        _empty_fields,
    )


def _empty_fields() -> None:
    st.session_state["absences added"] += 1


def _keep(those: list[Absence], sentence: str, empty: Callable[[], None] = lambda: None) -> None:
    _write_setting("absences", absences.written_absences(those), sentence, "absences", empty)


def _take_along(plan: Plan) -> None:
    if plan.works.empty and not plan.absences:
        return
    zone = page_data.settings().zone
    with st.container(horizontal=True):
        layout.download("The plan for a calendar (iCalendar)", partial(_ics, plan, zone), "bench-plan.ics")
        layout.download_frame("The plan as CSV", plan.works[list(COLUMNS)], "bench-plan.csv")
    layout.say("Both name works by their codes, and no person.")


def _ics(plan: Plan, zone: str) -> bytes:
    return plan_ical.as_icalendar(plan, zone, datetime.now(UTC))


layout.show("Bench plan", body)
